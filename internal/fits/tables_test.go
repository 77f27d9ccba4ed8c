package fits

import (
	"math"
	"strconv"
	"testing"
)

// mean is the geometric mean of a row's sizes; the first row's begins at 1 mm.
func mean(t table, i int) float64 { return math.Sqrt(math.Max(t.over[i], 1) * t.upto[i]) }

// TestGradesFollowTheirFormula checks the typed table against the formula it was
// made from: i = 0.45 D^(1/3) + 0.001 D, IT5 to IT18 multiples of it (ISO 286-1,
// Annex A; from memory). The standard rounds, by up to 4.5 % above 6 mm.
func TestGradesFollowTheirFormula(t *testing.T) {
	multiple := []float64{7, 10, 16, 25, 40, 64, 100, 160, 250, 400, 640, 1000, 1600, 2500}
	n := 0
	for row := range grades.upto {
		if grades.over[row] < 6 {
			continue
		}
		d := mean(grades, row)
		i := 0.45*math.Cbrt(d) + 0.001*d
		for k, m := range multiple {
			got := grades.cells[row]["IT"+strconv.Itoa(5+k)]
			if want := m * i; math.Abs(got-want) > math.Max(0.045*want, 0.7) {
				t.Errorf("IT%d up to %v mm is %v, the formula gives %.1f", 5+k, grades.upto[row], got, want)
			}
			n++
		}
	}
	if n != 11*14 {
		t.Errorf("%d cells checked", n)
	}
}

// TestShaftsFollowTheirFormulas checks the typed deviations against the formulas
// of ISO 286-1 (from memory), which the standard rounds: by less than 5 % over
// 30 mm, more below.
func TestShaftsFollowTheirFormulas(t *testing.T) {
	it := func(d float64, g int) float64 { v, _ := Tolerance(d, g); return v }
	formulas := map[string]func(d, size float64) float64{
		"a": func(d, s float64) float64 {
			if s <= 120 {
				return -(265 + 1.3*d)
			}
			return -3.5 * d
		},
		"b": func(d, s float64) float64 {
			if s <= 160 {
				return -(140 + 0.85*d)
			}
			return -1.8 * d
		},
		"c": func(d, _ float64) float64 {
			return -(95 + 0.8*d)
		},
		"d":  func(d, _ float64) float64 { return -16 * math.Pow(d, 0.44) },
		"e":  func(d, _ float64) float64 { return -11 * math.Pow(d, 0.41) },
		"f":  func(d, _ float64) float64 { return -5.5 * math.Pow(d, 0.41) },
		"g":  func(d, _ float64) float64 { return -2.5 * math.Pow(d, 0.34) },
		"m":  func(_, s float64) float64 { return it(s, 7) - it(s, 6) },
		"n":  func(d, _ float64) float64 { return 5 * math.Pow(d, 0.34) },
		"t":  func(d, s float64) float64 { return it(s, 7) + 0.63*d },
		"u":  func(d, s float64) float64 { return it(s, 7) + d },
		"v":  func(d, s float64) float64 { return it(s, 7) + 1.25*d },
		"x":  func(d, s float64) float64 { return it(s, 7) + 1.6*d },
		"y":  func(d, s float64) float64 { return it(s, 7) + 2*d },
		"z":  func(d, s float64) float64 { return it(s, 7) + 2.5*d },
		"za": func(d, s float64) float64 { return it(s, 8) + 3.15*d },
		"zb": func(d, s float64) float64 { return it(s, 9) + 4*d },
		"zc": func(d, s float64) float64 { return it(s, 10) + 5*d },
	}
	// d to g and m, n are formed over the main ranges of sizes, not the halves
	// and thirds of them in which a to c and r to zc stand.
	wide := map[string]bool{"d": true, "e": true, "f": true, "g": true, "n": true}
	n := 0
	for row := range shafts.upto {
		if shafts.over[row] < 30 {
			continue
		}
		size := shafts.upto[row]
		for l, f := range formulas {
			got, ok := shafts.cells[row][l]
			if !ok {
				continue
			}
			d := mean(shafts, row)
			if wide[l] {
				g, _ := grades.row(size)
				d = mean(grades, g)
			}
			want := f(d, size)
			if math.Abs(got-want) > math.Max(1, 0.05*math.Abs(want)) {
				t.Errorf("%s up to %v mm is %v, the formula gives %.1f", l, size, got, want)
			}
			n++
		}
	}
	if n < 300 {
		t.Errorf("%d cells checked", n)
	}
}

// TestHolesMirrorShafts: the two typed tables agree cell by cell, and Delta is
// the difference of the grades.
func TestHolesMirrorShafts(t *testing.T) {
	n := 0
	for row := range holes.upto {
		size := holes.upto[row]
		for column, got := range holes.cells[row] {
			var want float64
			switch {
			case column == "over_mm", column == "upto_incl_mm", column[0] == 'J':
				continue
			case len(column) > 5 && column[:5] == "Delta":
				g, _ := strconv.Atoi(column[8:])
				if size > 3 {
					a, _ := Tolerance(size, g)
					b, _ := Tolerance(size, g-1)
					want = a - b
				}
			case column[:1] == "N" && column == "N_above_IT8":
				if size <= 3 {
					want = -4
				}
			default:
				letter := column[:1]
				if len(column) == 2 {
					letter = column
				}
				l := lower(letter)
				if l == "k" {
					l = "k_IT4_7"
				}
				es, ok := shafts.cells[row][l]
				if !ok {
					t.Errorf("%s up to %v mm has no shaft %s", column, size, l)
					continue
				}
				want = -es
			}
			n++
			if got != want && !(got == 0 && want == 0) {
				t.Errorf("%s up to %v mm is %v, the shafts give %v", column, size, got, want)
			}
		}
	}
	if n < 700 {
		t.Errorf("%d cells compared", n)
	}
}
