package fits

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

// sheet is one of the published tables of ISO 286-1 as typed for the tests (their
// sources stand in them): rows of nominal sizes and the columns by name.
type sheet struct {
	col  map[string]int
	rows [][]string
}

func readSheet(t *testing.T, name string, min int) sheet {
	col, rows := published(t, name, min)
	for _, r := range rows {
		if !strings.HasPrefix(r[col["source"]], "ISO 286-1:2010 Table") {
			t.Errorf("%s: row %v lacks its source", name, r)
		}
	}
	return sheet{col, rows}
}

// at is one cell; ok is false where the standard leaves it empty.
func (s sheet) at(t *testing.T, size float64, column string) (um float64, ok bool) {
	for _, r := range s.rows {
		if size > num(t, r[s.col["over_mm"]]) && size <= num(t, r[s.col["upto_incl_mm"]]) {
			text := r[s.col[column]]
			if text == "" {
				return 0, false
			}
			return num(t, text), true
		}
	}
	t.Fatalf("no row for %v mm", size)
	return 0, false
}

// zone is a class's limit deviations at a size, in µm.
type zone struct{ lower, upper float64 }

// derived works the limits of every class out from the published tables by the
// rules in the standard's text, written a second time here. An absent class is
// not in the map.
func derived(t *testing.T, grades, holes, shafts sheet, size float64) map[string]zone {
	z := map[string]zone{}
	it := func(g int) float64 { v, _ := grades.at(t, size, "IT"+strconv.Itoa(g)); return v }
	for g := 1; g <= 18; g++ {
		if g >= 14 && size <= 1 {
			continue // Table 1: IT14 to IT18 are not used up to 1 mm
		}
		n, w := strconv.Itoa(g), it(g)
		upTo := func(c string, um float64) { z[c+n] = zone{um - w, um} }
		from := func(c string, um float64) { z[c+n] = zone{um, um + w} }
		z["js"+n], z["JS"+n] = zone{-w / 2, w / 2}, zone{-w / 2, w / 2}
		for _, c := range []string{"a", "b", "c", "cd", "d", "e", "ef", "f", "fg", "g", "h"} {
			es, ok := shafts.at(t, size, c)
			if !ok || size <= 1 && (c == "a" || c == "b") {
				continue
			}
			upTo(c, es)
			ei := -es
			if typed, has := holes.col[strings.ToUpper(c)]; has && typed >= 0 { // cd, ef, fg stand in the shafts' table only
				ei, _ = holes.at(t, size, strings.ToUpper(c))
			}
			from(strings.ToUpper(c), ei)
		}
		jColumn := map[int]string{5: "j56", 6: "j56", 7: "j7", 8: "j8"}[g]
		if jColumn != "" {
			if ei, ok := shafts.at(t, size, jColumn); ok {
				from("j", ei)
			}
		}
		if g >= 6 && g <= 8 {
			if es, ok := holes.at(t, size, "J"+n); ok {
				upTo("J", es)
			}
		}
		ei, _ := shafts.at(t, size, "k_IT4_7")
		if g < 4 || g > 7 {
			ei = 0
		}
		from("k", ei)
		for _, c := range []string{"m", "n", "p", "r", "s", "t", "u", "v", "x", "y", "z", "za", "zb", "zc"} {
			if ei, ok := shafts.at(t, size, c); ok {
				from(c, ei)
			}
		}
		delta := math.NaN() // finer than IT3 these positions are not used
		if g >= 3 && g <= 8 {
			delta, _ = holes.at(t, size, "Delta_IT"+n)
		}
		for _, c := range []string{"K", "M", "N", "P", "R", "S", "T", "U", "V", "X", "Y", "Z", "ZA", "ZB", "ZC"} {
			column, last := c, 7
			if c <= "N" {
				column, last = c+"_base_to_IT8", 8
			}
			if g <= last {
				es, ok := holes.at(t, size, column)
				switch {
				case !ok || math.IsNaN(delta):
				case c == "M" && g == 6 && size > 250 && size <= 315:
					upTo(c, -9)
				default:
					upTo(c, es+delta)
				}
				continue
			}
			switch c {
			case "K":
				if size <= 3 {
					upTo(c, 0)
				}
			case "M", "N":
				if es, ok := holes.at(t, size, c+"_above_IT8"); ok && !(c == "N" && size <= 1) {
					upTo(c, es)
				}
			default:
				if es, ok := holes.at(t, size, c); ok {
					upTo(c, es)
				}
			}
		}
	}
	return z
}

// TestEveryPublishedLimit compares each class at each step of sizes with what the
// published tables give, and says where one has a class that the other lacks;
// then every pair on the hole and on the shaft basis.
func TestEveryPublishedLimit(t *testing.T) {
	grades := readSheet(t, "iso286_grades.csv", 13)
	holes, shafts := readSheet(t, "iso286_holes.csv", 25), readSheet(t, "iso286_shafts.csv", 25)
	limits, pairs := 0, 0
	sizes := []float64{1}
	for _, r := range holes.rows {
		over, upto := num(t, r[holes.col["over_mm"]]), num(t, r[holes.col["upto_incl_mm"]])
		sizes = append(sizes, over+0.001, (over+upto)/2, upto)
	}
	for _, size := range sizes {
		want := derived(t, grades, holes, shafts, size)
		for _, letter := range letters {
			for _, l := range []string{letter, lower(letter)} {
				for g := 1; g <= 18; g++ {
					c := Class{l, g}
					z, there := want[c.String()]
					lo, up, err := c.Deviations(size)
					switch {
					case there != (err == nil):
						t.Errorf("%s at %v mm: published %v, ours says %v", c, size, there, err)
					case there && (lo != z.lower || up != z.upper):
						t.Errorf("%s at %v mm: %v..%v µm, published %v..%v", c, size, lo, up, z.lower, z.upper)
					}
					if there {
						limits++
					}
				}
			}
		}
		for basis := 5; basis <= 11; basis++ {
			h, s := Class{"H", basis}, Class{"h", basis}
			for name, z := range want {
				c, err := ParseClass(name)
				if err != nil {
					t.Fatal(err)
				}
				hole, shaft, hz, sz := h, c, want[h.String()], z
				if c.IsHole() {
					hole, shaft, hz, sz = c, s, z, want[s.String()]
				}
				f, err := New(size, hole, shaft)
				least, greatest, _ := f.Clearance()
				if err != nil || math.Abs(least*1000-(hz.lower-sz.upper)) > 1e-6 || math.Abs(greatest*1000-(hz.upper-sz.lower)) > 1e-6 {
					t.Errorf("%v %s/%s: clearance %v..%v mm (%v), published %v..%v µm", size, hole, shaft, least, greatest, err, hz.lower-sz.upper, hz.upper-sz.lower)
				}
				pairs++
			}
		}
	}
	t.Logf("%d limits and %d pairs at %d sizes", limits, pairs, len(sizes))
	if limits < 40_000 || pairs < 300_000 {
		t.Errorf("only %d limits and %d pairs compared", limits, pairs)
	}
}
