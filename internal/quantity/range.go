package quantity

import (
	"fmt"
	"math"
	"math/big"
	"strings"
)

// Quantity is an exact number with its unit.
type Quantity struct {
	Value Decimal
	Unit  Unit
}

// ParseQuantity reads "0.050 mm", "2 thou", "1.2 N*m", "30". A number without
// a unit has the unit None.
func ParseQuantity(s string) (Quantity, error) {
	s = strings.TrimSpace(s)
	i := numberEnd(s)
	v, err := ParseDecimal(s[:i])
	if err != nil {
		return Quantity{}, fmt.Errorf("%q is not a quantity: expected a number and a unit, such as 0.050 mm", s)
	}
	u, err := ParseUnit(s[i:])
	if err != nil {
		return Quantity{}, fmt.Errorf("%q: %w", s, err)
	}
	return Quantity{v, u}, nil
}

// numberEnd is the index behind the number s begins with.
func numberEnd(s string) int {
	i := 0
	for i < len(s) {
		c := s[i]
		switch {
		case c >= '0' && c <= '9', c == '.', (c == '+' || c == '-') && i == 0:
			i++
		case (c == 'e' || c == 'E') && i > 0 && i+1 < len(s) && expDigits(s[i+1:]):
			i++
			for i < len(s) && (s[i] == '+' || s[i] == '-' || s[i] >= '0' && s[i] <= '9') {
				i++
			}
			return i
		default:
			return i
		}
	}
	return i
}

func expDigits(s string) bool {
	if s != "" && (s[0] == '+' || s[0] == '-') {
		s = s[1:]
	}
	return s != "" && s[0] >= '0' && s[0] <= '9'
}

// In is the quantity's value in unit u, the nearest float64 wherever both units
// have exact factors (1.02 in is 25.908 mm, not 25.907999999999998). A quantity
// without a unit is taken to be in u.
func (q Quantity) In(u Unit) (float64, error) {
	if q.Unit == None || q.Unit == u {
		return q.Value.Float(), nil
	}
	if r, ok := q.Rat(u); ok {
		f, _ := r.Float64()
		if f == 0 && q.Value.Neg {
			f = math.Copysign(0, -1)
		}
		return f, nil
	}
	return Convert(q.Value.Float(), q.Unit, u)
}

// Rat is the quantity's exact value in unit u; ok is false where the units
// differ in kind, one of them has no exact factor, or they have an offset.
func (q Quantity) Rat(u Unit) (r *big.Rat, ok bool) {
	r = q.Value.Rat()
	if q.Unit == None || q.Unit == u {
		return r, true
	}
	from, ok1 := q.Unit.Exact()
	to, ok2 := u.Exact()
	if !ok1 || !ok2 || q.Unit.Kind() != u.Kind() {
		return nil, false
	}
	return r.Quo(r.Mul(r, from.Rat()), to.Rat()), true
}

// String writes "0.050 mm".
func (q Quantity) String() string {
	if q.Unit == None {
		return q.Value.String()
	}
	return q.Value.String() + " " + q.Unit.String()
}

// MarshalText writes String.
func (q Quantity) MarshalText() ([]byte, error) { return []byte(q.String()), nil }

// UnmarshalText reads what ParseQuantity reads.
func (q *Quantity) UnmarshalText(b []byte) (err error) {
	*q, err = ParseQuantity(string(b))
	return err
}

// Range is a permitted or expected interval; an end that is not set is open.
type Range struct {
	Low, High       Decimal
	HasLow, HasHigh bool
	Unit            Unit
}

// ParseRange reads "0.009..0.050 mm", "..0.050 mm" and "0.009.. mm".
func ParseRange(s string) (Range, error) {
	var r Range
	bad := func(why string) (Range, error) {
		return Range{}, fmt.Errorf("%q is not a range: %s; expected 0.009..0.050 mm, ..0.050 mm or 0.009.. mm", s, why)
	}
	low, rest, ok := strings.Cut(strings.TrimSpace(s), "..")
	if !ok {
		return bad("no '..' in it")
	}
	low, rest = strings.TrimSpace(low), strings.TrimSpace(rest)
	var err error
	if low != "" {
		if r.Low, err = ParseDecimal(low); err != nil {
			return bad(fmt.Sprintf("%q is no number", low))
		}
		r.HasLow = true
	}
	i := numberEnd(rest)
	if high := rest[:i]; high != "" {
		if r.High, err = ParseDecimal(high); err != nil {
			return bad(fmt.Sprintf("%q is no number", high))
		}
		r.HasHigh = true
	}
	if r.Unit, err = ParseUnit(rest[i:]); err != nil {
		return bad(err.Error())
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
