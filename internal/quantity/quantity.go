package quantity

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
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
	s = strings.TrimSpace(tidy.Replace(s))
	i := numberEnd(s)
	v, err := ParseDecimal(s[:i])
	if err == nil && !v.Neg {
		if f, rest, ok := fraction(v, s[:i], s[i:]); ok {
			u, err := ParseUnit(rest)
			if err != nil {
				return Quantity{}, fmt.Errorf("%q: %w", s, err)
			}
			return Quantity{f, u}, nil
		}
	}
	if err != nil || strings.HasPrefix(s[i:], ",") {
		if strings.ContainsRune(s, ',') {
			return Quantity{}, fmt.Errorf("%q is not a quantity: write the decimals behind a point, as in 0.050 mm", s)
		}
		return Quantity{}, fmt.Errorf("%q is not a quantity: expected a number and a unit, such as 0.050 mm", s)
	}
	u, err := ParseUnit(s[i:])
	if err != nil {
		return Quantity{}, fmt.Errorf("%q: %w", s, err)
	}
	return Quantity{v, u}, nil
}

// tidy puts right what text processors and tablets make of a minus and of two or
// three points.
var tidy = strings.NewReplacer("−", "-", "…", "..")

// fraction reads the drawing's inch sizes: "1/32", "5 1/4", "1-1/4". whole is
// the number already read from word, rest what stands behind it. Only halves to
// 128ths: each is a finite decimal.
func fraction(whole Decimal, word, rest string) (v Decimal, after string, ok bool) {
	if strings.ContainsAny(word, ".eE+") {
		return v, "", false
	}
	num := word
	t := rest
	if t != "" && (t[0] == ' ' || t[0] == '-') {
		t = strings.TrimLeft(t[1:], " ")
		i := digitsEnd(t)
		num, t = t[:i], t[i:]
	} else {
		whole = Decimal{}
	}
	if num == "" || t == "" || t[0] != '/' {
		return v, "", false
	}
	t = t[1:]
	i := digitsEnd(t)
	n, err1 := strconv.ParseUint(num, 10, 32)
	d, err2 := strconv.ParseUint(t[:i], 10, 32)
	if err1 != nil || err2 != nil || d < 2 || d > 128 || d&(d-1) != 0 || whole.Coef > 1e6 {
		return v, "", false
	}
	for den := d; den > 1; den /= 2 { // n/2 = 5n/10
		n *= 5
		v.Scale++
		whole.Coef *= 10
	}
	v.Coef = whole.Coef + n
	for v.Coef%10 == 0 && v.Scale > 0 {
		v.Coef /= 10
		v.Scale--
	}
	return v, t[i:], true
}

func digitsEnd(s string) int {
	i := 0
	for i < len(s) && s[i] >= '0' && s[i] <= '9' {
		i++
	}
	return i
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
	from, to := sizes[q.Unit], sizes[u]
	if from == nil || to == nil || q.Unit.Kind() != u.Kind() {
		return nil, false
	}
	return r.Quo(r.Mul(r, from), to), true
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
