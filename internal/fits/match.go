package fits

import (
	"math"
	"sort"
)

// tight is how far in mm two limits may differ and still be the same: half of
// the smallest unit the tables print.
const tight = 0.00005

// MatchClass finds the classes whose limits of size at the nominal size are
// just these (mm), to 0.05 µm. hole chooses holes or shafts.
func MatchClass(nominal, low, high float64, hole bool) []Class {
	var found []Class
	each(nominal, hole, 1, 18, func(c Class, lo, hi float64) {
		if math.Abs(lo-low) <= tight && math.Abs(hi-high) <= tight {
			found = append(found, c)
		}
	})
	return found
}

// each calls f with every class the standard has at this size.
func each(nominal float64, hole bool, from, to int, f func(c Class, low, high float64)) {
	for _, l := range letters {
		if !hole {
			l = lower(l)
		}
		for g := from; g <= to; g++ {
			c := Class{l, g}
			if lo, hi, err := c.Limits(nominal); err == nil {
				f(c, lo, hi)
			}
		}
	}
}

func lower(s string) string {
	b := []byte(s)
	for i := range b {
		b[i] |= 0x20
	}
	return string(b)
}

// Match is a fit found for a range of clearances.
type Match struct {
	Fit       Fit
	Preferred bool    // one of the fits ISO 286-1, Annex B recommends (list from memory)
	Used      float64 // how much of the permitted range the fit uses, 0 to 1
}

// preferred are the recommended fits of ISO 286-1:2010, Annex B, hole basis and
// shaft basis. From memory.
var preferred = func() map[string]bool {
	m := map[string]bool{}
	for hole, list := range map[string][]string{
		"H6": {"g5", "h5", "js5", "k5", "m5", "n5", "p5"}, "H7": {"f6", "g6", "h6", "js6", "k6", "m6", "n6", "p6", "r6", "s6", "t6", "u6", "x6"},
		"H8": {"d8", "e7", "e8", "f7", "f8", "h7", "h8", "js7", "k7", "m7", "s7", "u7"}, "H9": {"d8", "e8", "f8", "h8"},
		"H10": {"b9", "c9", "d9", "e9", "h9"}, "H11": {"b11", "c11", "d10", "h10"},
		"G6": {"h5"}, "JS6": {"h5"}, "K6": {"h5"}, "M6": {"h5"}, "N6": {"h5"}, "P6": {"h5"},
		"F7": {"h6"}, "G7": {"h6"}, "JS7": {"h6"}, "K7": {"h6"}, "M7": {"h6"}, "N7": {"h6"}, "P7": {"h6"}, "R7": {"h6"}, "S7": {"h6"}, "T7": {"h6"}, "U7": {"h6"}, "X7": {"h6"},
		"E8": {"h7", "h8", "h9"}, "F8": {"h7", "h9"}, "D9": {"h8", "h9"}, "E9": {"h8", "h9"}, "F9": {"h8", "h9"}, "B11": {"h9"}, "C10": {"h9"}, "D10": {"h9"},
	} {
		for _, shaft := range list {
			m[hole+"/"+shaft] = true
		}
	}
	return m
}()

// Matches finds the fits on the hole basis (H) and on the shaft basis (h),
// grades 5 to 11, whose whole clearance range lies within least..greatest (mm;
// either may be infinite). Recommended fits come first, then those that use
// most of the range and so are cheapest to make.
func Matches(nominal, least, greatest float64) []Match {
	var found []Match
	try := func(hole, shaft Class) {
		// A shaft is made as fine as its hole or one or two grades finer.
		if d := hole.Grade - shaft.Grade; d < 0 || d > 2 {
			return
		}
		f, err := New(nominal, hole, shaft)
		if err != nil {
			return
		}
		lo, hi, _ := f.Clearance()
		if lo < least-tight || hi > greatest+tight {
			return
		}
		m := Match{Fit: f, Preferred: preferred[hole.String()+"/"+shaft.String()]}
		if w := greatest - least; w > 0 && !math.IsInf(w, 0) {
			m.Used = math.Min(1, (hi-lo)/w)
		}
		found = append(found, m)
	}
	for basis := 5; basis <= 11; basis++ {
		each(nominal, false, 5, 11, func(c Class, _, _ float64) { try(Class{"H", basis}, c) })
		each(nominal, true, 5, 11, func(c Class, _, _ float64) {
			if c.Letters != "H" { // H/h was tried above
				try(c, Class{"h", basis})
			}
		})
	}
	sort.SliceStable(found, func(i, j int) bool {
		a, b := found[i], found[j]
		if a.Preferred != b.Preferred {
			return a.Preferred
		}
		if a.Used != b.Used {
			return a.Used > b.Used
		}
		// Reamers come in H, so the hole basis first (common practice, no source).
		return a.Fit.Hole.Letters == "H" && b.Fit.Hole.Letters != "H"
	})
	return found
}
