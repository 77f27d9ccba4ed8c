package fits

import (
	"fmt"
	"strings"

	"thouwright/internal/quantity"
)

// Fit is a nominal size with a hole class, a shaft class or both: "32 H7/g6",
// "32 H7", "32 g6". Parse makes only fits the standard has.
type Fit struct {
	Nominal     float64 // mm
	Hole, Shaft Class   // the zero Class where not given

	hole, shaft [2]float64 // limits of size, mm
}

// Parse reads "32 H7/g6", "32H7/g6", "⌀32 mm H7" and "1.25 in H7/g6". Without a
// unit the nominal size is in mm. Upper case is the hole, lower case the shaft,
// whichever stands first.
func Parse(s string) (Fit, error) {
	bad := func(why string) (Fit, error) {
		return Fit{}, fmt.Errorf("%q is not a fit: %s; expected 32 H7/g6, 32 H7 or 32 g6", s, why)
	}
	t := strings.TrimSpace(s)
	for _, sign := range []string{"⌀", "Ø", "ø", "∅"} {
		t = strings.TrimPrefix(t, sign)
	}
	t = strings.TrimSpace(t)
	end := 0
	for end < len(t) && (t[end] >= '0' && t[end] <= '9' || t[end] == '.') {
		end++
	}
	if end == 0 {
		return bad("it does not begin with the nominal size")
	}
	unit, rest := quantity.MM, strings.TrimSpace(t[end:])
	if word, after, ok := strings.Cut(rest, " "); ok {
		// "mm" is a unit although m6 is a class: a unit has no digit.
		if u, err := quantity.ParseUnit(word); err == nil && u.IsLength() && !strings.ContainsAny(word, "0123456789") {
			unit, rest = u, strings.TrimSpace(after)
		}
	}
	d, err := quantity.ParseDecimal(t[:end])
	if err != nil {
		return bad(fmt.Sprintf("%q is no number", t[:end]))
	}
	nominal, err := quantity.Quantity{Value: d, Unit: unit}.In(quantity.MM)
	if err != nil {
		return bad(err.Error())
	}
	words := strings.FieldsFunc(rest, func(r rune) bool { return r == '/' || r == '-' || r == ' ' })
	if len(words) == 0 {
		return bad("no tolerance class stands behind the size")
	}
	if len(words) > 2 {
		return bad("more than two tolerance classes")
	}
	var hole, shaft Class
	for _, w := range words {
		c, err := ParseClass(w)
		if err != nil {
			return bad(err.Error())
		}
		to, kind := &shaft, "shafts (lower case)"
		if c.IsHole() {
			to, kind = &hole, "holes (upper case)"
		}
		if !to.IsZero() {
			return bad(fmt.Sprintf("%s and %s are both %s", *to, c, kind))
		}
		*to = c
	}
	return New(nominal, hole, shaft)
}

// New is the fit of two classes at a nominal size in mm; one of them may be the
// zero Class.
func New(nominal float64, hole, shaft Class) (Fit, error) {
	f := Fit{Nominal: nominal, Hole: hole, Shaft: shaft}
	var err error
	if hole.IsZero() && shaft.IsZero() {
		return Fit{}, fmt.Errorf("a fit needs a hole class, a shaft class or both")
	}
	if !hole.IsZero() {
		if f.hole[0], f.hole[1], err = hole.Limits(nominal); err != nil {
			return Fit{}, err
		}
	}
	if !shaft.IsZero() {
		if f.shaft[0], f.shaft[1], err = shaft.Limits(nominal); err != nil {
			return Fit{}, err
		}
	}
	return f, nil
}

// IsPair tells whether hole and shaft are both given, so that there is a
// clearance.
func (f Fit) IsPair() bool { return !f.Hole.IsZero() && !f.Shaft.IsZero() }

// HoleLimits are the hole's limits of size in mm; ok is false without a hole.
func (f Fit) HoleLimits() (low, high float64, ok bool) {
	return f.hole[0], f.hole[1], !f.Hole.IsZero()
}

// ShaftLimits are the shaft's limits of size in mm; ok is false without a shaft.
func (f Fit) ShaftLimits() (low, high float64, ok bool) {
	return f.shaft[0], f.shaft[1], !f.Shaft.IsZero()
}

// Clearance is the least and the greatest clearance in mm, negative for
// interference; ok is false unless hole and shaft are both given.
func (f Fit) Clearance() (least, greatest float64, ok bool) {
	if !f.IsPair() {
		return 0, 0, false
	}
	return round(f.hole[0] - f.shaft[1]), round(f.hole[1] - f.shaft[0]), true
}

// SizeLimits are the limits of size in mm of a single class; ok is false for a
// pair, which has two sizes.
func (f Fit) SizeLimits() (low, high float64, ok bool) {
	if f.IsPair() {
		return 0, 0, false
	}
	if f.Hole.IsZero() {
		return f.shaft[0], f.shaft[1], true
	}
	return f.hole[0], f.hole[1], true
}

// Permitted is what a check compares with, in mm: the clearance of a pair, the
// size limits of a single class.
func (f Fit) Permitted() (low, high float64) {
	if low, high, ok := f.Clearance(); ok {
		return low, high
	}
	low, high, _ = f.SizeLimits()
	return low, high
}

// Kind is "clearance", "interference" or "transition" for a pair, "hole" or
// "shaft" for a single class. A least clearance of zero is still a clearance
// fit, a greatest of zero an interference fit (ISO 286-1, 3.3).
func (f Fit) Kind() string {
	least, greatest, ok := f.Clearance()
	switch {
	case !ok && f.Shaft.IsZero():
		return "hole"
	case !ok:
		return "shaft"
	case least >= 0:
		return "clearance"
	case greatest <= 0:
		return "interference"
	}
	return "transition"
}

// String writes "32 H7/g6".
func (f Fit) String() string {
	s := trim(f.Nominal) + " "
	if f.IsPair() {
		return s + f.Hole.String() + "/" + f.Shaft.String()
	}
	return s + f.Hole.String() + f.Shaft.String()
}

// round takes away what float64 subtraction adds, to 0.1 nm.
func round(mm float64) float64 { return sum(mm, 0) }
