package quantity

import (
	"fmt"
	"math"
	"strings"
)

// Range is a permitted or expected interval; an end that is not set is open.
type Range struct {
	Low, High       Decimal
	HasLow, HasHigh bool
	Unit            Unit
}

// ParseRange reads "0.009..0.050 mm", "..0.050 mm" and "0.009.. mm"; also
// "0.009 mm..0.050 mm".
func ParseRange(s string) (Range, error) {
	var r Range
	bad := func(why string) (Range, error) {
		return Range{}, fmt.Errorf("%q is not a range: %s; expected 0.009..0.050 mm, ..0.050 mm or 0.009.. mm", s, why)
	}
	low, rest, ok := strings.Cut(strings.TrimSpace(tidy.Replace(s)), "..")
	if !ok {
		return bad("no '..' in it")
	}
	end := func(text string) (Quantity, bool, error) {
		if text = strings.TrimSpace(text); text == "" {
			return Quantity{}, false, nil
		}
		if i := numberEnd(text); i == 0 { // only a unit: the open end of "0.009.. mm"
			u, err := ParseUnit(text)
			return Quantity{Unit: u}, false, err
		}
		q, err := ParseQuantity(text)
		return q, true, err
	}
	lo, hasLow, err := end(low)
	if err != nil || low != "" && !hasLow {
		return bad(fmt.Sprintf("%q is no number", strings.TrimSpace(low)))
	}
	hi, hasHigh, err := end(rest)
	if err != nil {
		return bad(err.Error())
	}
	if lo.Unit != None && hi.Unit != None && lo.Unit != hi.Unit {
		return bad("its ends have different units")
	}
	r = Range{Low: lo.Value, High: hi.Value, HasLow: hasLow, HasHigh: hasHigh, Unit: hi.Unit}
	if r.Unit == None {
		r.Unit = lo.Unit
	}
	if !r.HasLow && !r.HasHigh {
		return bad("both ends are open")
	}
	if r.HasLow && r.HasHigh && r.Low.Float() > r.High.Float() {
		return bad("the lower end is above the upper")
	}
	return r, nil
}

// In is the range's ends in unit u; open ends are -Inf and +Inf. A range
// without a unit is taken to be in u.
func (r Range) In(u Unit) (low, high float64, err error) {
	low, high = math.Inf(-1), math.Inf(1)
	if r.HasLow {
		if low, err = (Quantity{r.Low, r.Unit}).In(u); err != nil {
			return 0, 0, err
		}
	}
	if r.HasHigh {
		if high, err = (Quantity{r.High, r.Unit}).In(u); err != nil {
			return 0, 0, err
		}
	}
	return low, high, nil
}

// IsZero tells whether the range was never set.
func (r Range) IsZero() bool { return !r.HasLow && !r.HasHigh }

// String writes what ParseRange reads.
func (r Range) String() string {
	var b []byte
	if r.HasLow {
		b = r.Low.Append(b)
	}
	b = append(b, ".."...)
	if r.HasHigh {
		b = r.High.Append(b)
	}
	if r.Unit != None {
		b = append(append(b, ' '), r.Unit.String()...)
	}
	return string(b)
}

// MarshalText writes String.
func (r Range) MarshalText() ([]byte, error) { return []byte(r.String()), nil }

// UnmarshalText reads what ParseRange reads.
func (r *Range) UnmarshalText(b []byte) (err error) {
	*r, err = ParseRange(string(b))
	return err
}
