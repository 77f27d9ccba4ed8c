package sums

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"thouwright/internal/metal"
	"thouwright/internal/quantity"
)

// published reads a CSV of testdata/reference, which must hold at least min rows;
// the first is the head.
func published(t *testing.T, file string, min int) (col map[string]int, rows [][]string) {
	t.Helper()
	f, err := os.Open("../../testdata/reference/" + file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(all)-1 < min {
		t.Fatalf("%s holds %d rows, expected %d", file, len(all)-1, min)
	}
	col = map[string]int{}
	for i, h := range all[0] {
		col[h] = i
	}
	return col, all[1:]
}

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s is %v, published %v", what, got, want)
	}
}

// TestPublishedSums types the line of every row and looks for what its source
// prints (the source and how it was verified stand in the row): Lamé's press
// fits, expansion, ISO 370's roundings, the lash of 49 CFR 393.209 and 570.7.
func TestPublishedSums(t *testing.T) {
	for file, min := range map[string]int{"press.csv": 14, "expansion.csv": 15, "iso370.csv": 16, "lash.csv": 29} {
		col, rows := published(t, file, min)
		for _, r := range rows {
			at := func(name string) string { return r[col[name]] }
			words := shellWords(at("line"))
			s, ok := Find(words[0])
			if !ok {
				t.Fatalf("%s: no sum %q", file, words[0])
			}
			in, o, err := s.ParseArgs(words[1:])
			if err != nil {
				t.Fatalf("%s: %s: %v", file, at("line"), err)
			}
			a, err := s.Run(in, o.Unit)
			if err != nil {
				t.Fatalf("%s: %s: %v", file, at("line"), err)
			}
			got := result(t, a, at("result"))
			what := at("id") + ", " + at("line") + ": " + at("result") + " (" + at("source") + ")"
			if at("end") == "text" {
				if got.Text != at("expected") {
					t.Errorf("%s is %s, published %s", what, got.Text, at("expected"))
				}
				continue
			}
			value, ok := map[string]float64{"value": got.Value, "low": got.Low, "high": got.High}[at("end")]
			if !ok {
				t.Fatalf("%s: %q is neither value, low, high nor text", file, at("end"))
			}
			from := got.Unit
			if from.IsLength() && got.Exact == nil {
				from = quantity.MM
			}
			to, err := quantity.ParseUnit(at("unit"))
			if err != nil {
				t.Fatal(err)
			}
			value, err = quantity.Convert(value, from, to)
			want, err1 := strconv.ParseFloat(at("expected"), 64)
			tolerance, err2 := strconv.ParseFloat(at("tolerance"), 64)
			if err != nil || err1 != nil || err2 != nil {
				t.Fatalf("%s: %v, %v, %v", what, err, err1, err2)
			}
			if !(math.Abs(value-want) <= tolerance) {
				t.Errorf("%s is %v %s, published %v", what, value, to, want)
			}
		}
	}
}

// TestEveryMaterialHasASource: the coefficient of each metal stands in
// expansion.csv.
func TestEveryMaterialHasASource(t *testing.T) {
	col, rows := published(t, "expansion.csv", 15)
	seen := map[string]bool{}
	for _, r := range rows {
		s, _ := Find("warm")
		in, _, err := s.ParseArgs(shellWords(r[col["line"]])[1:])
		if err != nil {
			t.Fatal(err)
		}
		seen[in["housing-material"][0]] = true
	}
	for _, name := range metal.Names() {
		if !seen[name] {
			t.Errorf("%s has no published coefficient", name)
		}
	}
}

// TestLashBetweenRows: a wheel between two rows takes the smaller, stricter one;
// in mm too.
func TestLashBetweenRows(t *testing.T) {
	for wheel, want := range map[string]float64{"14 in": 2, "17 in": 2, "17.9 in": 2, "457 mm": 2.25, "483 mm": 2.375, "19.5 in": 2.375, "26 in": 2.75} {
		a := must(t, "lash", "--chain 'play 1 deg' --wheel '"+wheel+"'")
		near(t, wheel, result(t, a, "limit_393_209").Value/25.4, want, 1e-12)
	}
}
