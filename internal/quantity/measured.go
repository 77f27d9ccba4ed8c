package quantity

import (
	"fmt"
	"strings"
)

// Measured is a value with its expanded uncertainty (95 %), as it stands in a
// report: "0.031 ± 0.004 mm". HasU95 is false where only the value is given.
type Measured struct {
	Quantity
	U95    Decimal // in Unit
	HasU95 bool
}

// signs are the ways to write plus or minus, longest first.
var signs = []string{"+/-", "±", "+-"}

// ParseMeasured reads "0.031 ± 0.004 mm", "0.031 mm ± 4 um" (the value's unit is
// kept), "0.031 +- 0.004 mm", "0.031 +/- 0.004 mm" and a plain quantity.
func ParseMeasured(s string) (Measured, error) {
	for _, sign := range signs {
		left, right, ok := strings.Cut(s, sign)
		if !ok {
			continue
		}
		v, err := ParseQuantity(left)
		if err != nil {
			return Measured{}, err
		}
		u, err := ParseQuantity(right)
		if err != nil {
			return Measured{}, err
		}
		if u.Value.Neg {
			return Measured{}, fmt.Errorf("%q: the uncertainty behind %s is negative", s, sign)
		}
		switch {
		case v.Unit == None:
			v.Unit = u.Unit
		case u.Unit == None || u.Unit == v.Unit:
		default:
			r, ok := u.Rat(v.Unit)
			if !ok {
				return Measured{}, fmt.Errorf("%q: give the value and its uncertainty in one unit", s)
			}
			d, err := FromRat(r)
			if err != nil {
				return Measured{}, fmt.Errorf("%q: give the value and its uncertainty in one unit: %w", s, err)
			}
			u.Value = d
		}
		return Measured{v, u.Value, true}, nil
	}
	v, err := ParseQuantity(s)
	return Measured{Quantity: v}, err
}

// String writes what ParseMeasured reads.
func (m Measured) String() string {
	if !m.HasU95 {
		return m.Quantity.String()
	}
	s := m.Value.String() + " ± " + m.U95.String()
	if m.Unit != None {
		s += " " + m.Unit.String()
	}
	return s
}

// MarshalText writes String.
func (m Measured) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText reads what ParseMeasured reads.
func (m *Measured) UnmarshalText(b []byte) (err error) {
	*m, err = ParseMeasured(string(b))
	return err
}
