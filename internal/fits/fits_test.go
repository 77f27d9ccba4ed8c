package fits

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// published reads a CSV of testdata/reference; it must hold at least min rows.
func published(t *testing.T, name string, min int) (head map[string]int, rows [][]string) {
	t.Helper()
	f, err := os.Open("../../testdata/reference/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	head = map[string]int{}
	for i, h := range all[0] {
		head[h] = i
	}
	if len(all)-1 < min {
		t.Fatalf("%s holds %d rows, expected at least %d", name, len(all)-1, min)
	}
	return head, all[1:]
}

func num(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestPublishedFits checks complete limit pairs: deviations, limits of size and
// clearances (sources and how verified: in the file).
func TestPublishedFits(t *testing.T) {
	col, rows := published(t, "iso286_pairs.csv", 102)
	for _, r := range rows {
		name := r[col["nominal_mm"]] + " " + r[col["fit"]]
		f, err := Parse(name)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		ei, es, _ := f.Hole.Deviations(f.Nominal)
		si, ss, _ := f.Shaft.Deviations(f.Nominal)
		hl, hh, _ := f.HoleLimits()
		sl, sh, _ := f.ShaftLimits()
		least, greatest, ok := f.Clearance()
		for _, x := range []struct {
			col string
			got float64
		}{
			{"hole_ES_um", es}, {"hole_EI_um", ei}, {"shaft_es_um", ss}, {"shaft_ei_um", si},
			{"hole_max_mm", hh}, {"hole_min_mm", hl}, {"shaft_max_mm", sh}, {"shaft_min_mm", sl},
			{"min_clearance_um", least * 1000}, {"max_clearance_um", greatest * 1000},
		} {
			want := num(t, r[col[x.col]])
			// The file prints mm to four places, so half a µm of JS shows whole.
			if !ok || math.Abs(x.got-want) > 1e-6 {
				t.Errorf("%s: %s is %v, published %v", name, x.col, x.got, want)
			}
		}
		if f.Kind() != r[col["type"]] {
			t.Errorf("%s: kind %s, published %s", name, f.Kind(), r[col["type"]])
		}
		if f.String() != name {
			t.Errorf("%s prints as %s", name, f)
		}
	}
}

func TestErrorsSayWhy(t *testing.T) {
	for in, want := range map[string]string{
		"32":          "no tolerance class",
		"H7/g6":       "nominal size",
		"32 h7/g6":    "both shafts",
		"32 H7/G6":    "both holes",
		"32 H7/g6/k6": "more than two",
		"32 Q7":       "no position",
		"32 H19":      "1 to 18",
		"32 H0":       "IT01 and IT0",
		"501 H7":      "up to 500",
		"0 H7":        "above 0",
		"12 v6":       "nothing for v from over 10 to 14",
		"0.8 a9":      "up to 1 mm",
		"0.8 B9":      "up to 1 mm",
		"0.8 H14":     "up to 1 mm",
		"32 j9":       "js has all",
		"32 J5":       "JS has all",
		"32 K9":       "up to 3 mm only",
		"32 P2":       "begin at IT3",
		"32 lbf H7":   "tolerance class",
		"12 CD8":      "nothing for CD",
	} {
		_, err := Parse(in)
		if err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("Parse(%q) says %v, expected a line with %q", in, err, want)
		}
	}
}

func TestSpellings(t *testing.T) {
	for in, want := range map[string]string{
		"32H7/g6": "32 H7/g6", " ⌀32 H7 / g6 ": "32 H7/g6", "32 mm H7-g6": "32 H7/g6", "32 g6/H7": "32 H7/g6",
		"1.25 in H7": "31.75 H7", "Ø6.5 Js7": "6.5 JS7", "20 m6": "20 m6", "20 mm m6": "20 m6",
		"1.02 in H7": "25.908 H7",
	} {
		f, err := Parse(in)
		if err != nil || f.String() != want {
			t.Errorf("Parse(%q) = %v, %v; expected %s", in, f, err, want)
		}
	}
}

// anyFit draws from every class the standard has.
func anyClass(t *rapid.T, nominal float64, hole bool) Class {
	var all []Class
	each(nominal, hole, 1, 18, func(c Class, _, _ float64) { all = append(all, c) })
	return rapid.SampledFrom(all).Draw(t, "class")
}

func TestProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		nominal := float64(rapid.IntRange(1, 5000).Draw(t, "tenths")) / 10
		h, s := anyClass(t, nominal, true), anyClass(t, nominal, false)
		f, err := New(nominal, h, s)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Parse(f.String())
		if err != nil || again != f {
			t.Fatalf("%s reads back as %v, %v", f, again, err)
		}
		least, greatest, _ := f.Clearance()
		hi, _ := Tolerance(nominal, h.Grade)
		si, _ := Tolerance(nominal, s.Grade)
		if math.Abs((greatest-least)*1000-hi-si) > 1e-6 {
			t.Fatalf("%s: the clearance varies by %v µm, the tolerances sum to %v", f, (greatest-least)*1000, hi+si)
		}
		// Backwards: the class is among those its own limits give.
		for _, c := range []Class{h, s} {
			lo, hi, _ := c.Limits(nominal)
			found := false
			for _, m := range MatchClass(nominal, lo, hi, c.IsHole()) {
				found = found || m == c
			}
			if !found {
				t.Fatalf("%s at %v is not found from its limits", c, nominal)
			}
		}
	})
}

// TestSameFitOnBothBases: where the rule with Delta holds, H n/p n-1 and
// P n/h n-1 have the same clearances (ISO 286-1, 4.3.2.5); M6 from 250 to 315 mm
// is the standard's own exception.
func TestSameFitOnBothBases(t *testing.T) {
	n := 0
	for _, l := range []string{"F", "G", "K", "M", "N", "P", "R", "S", "T", "U", "X", "ZC"} {
		for g := 5; g <= 7; g++ {
			for _, d := range shafts.upto {
				if d <= 3 && l > "J" {
					continue // no Delta there
				}
				a, err1 := New(d, Class{"H", g}, Class{lower(l), g - 1})
				b, err2 := New(d, Class{l, g}, Class{"h", g - 1})
				if err1 != nil || err2 != nil {
					if (err1 == nil) != (err2 == nil) {
						t.Errorf("%v %s%d: %v, %v", d, l, g, err1, err2)
					}
					continue
				}
				n++
				a1, a2, _ := a.Clearance()
				b1, b2, _ := b.Clearance()
				same := math.Abs(a1-b1) < 1e-9 && math.Abs(a2-b2) < 1e-9
				if exception := l == "M" && g == 6 && d > 250 && d <= 315; same == exception {
					t.Errorf("%s gives %v..%v, %s gives %v..%v", a, a1, a2, b, b1, b2)
				}
			}
		}
	}
	if n < 500 {
		t.Errorf("only %d pairs compared", n)
	}
}

func TestMatches(t *testing.T) {
	found := Matches(32, 0.009, 0.050)
	if len(found) == 0 || found[0].Fit.String() != "32 H7/g6" || !found[0].Preferred {
		t.Fatalf("9..50 µm at 32 mm: %v", found)
	}
	rapid.Check(t, func(t *rapid.T) {
		nominal := float64(rapid.IntRange(2, 500).Draw(t, "nominal"))
		a := rapid.Float64Range(-0.3, 0.3).Draw(t, "least")
		b := a + rapid.Float64Range(0, 0.3).Draw(t, "width")
		for _, m := range Matches(nominal, a, b) {
			lo, hi, _ := m.Fit.Clearance()
			if lo < a-tight || hi > b+tight {
				t.Fatalf("%s has %v..%v, outside %v..%v", m.Fit, lo, hi, a, b)
			}
		}
	})
}

// FuzzParse: never a panic, and what is read prints as something that reads the
// same.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"32 H7/g6", "1.25 in H7", "⌀6.5js5", "500ZC18", "0.00001 mm H1-k8"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		fit, err := Parse(s)
		if err != nil {
			return
		}
		again, err := Parse(fit.String())
		if err != nil || again.String() != fit.String() {
			t.Fatalf("%q reads as %s, which reads as %v, %v", s, fit, again, err)
		}
	})
}
