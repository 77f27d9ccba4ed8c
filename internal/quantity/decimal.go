// Package quantity holds numbers with units: exact decimals as a gauge sends
// them, the units of the trade, and ranges such as "0.009..0.050 mm". It is
// pure: no I/O, no clock.
package quantity

import (
	"errors"
	"math"
	"math/big"
	"math/bits"
	"strconv"
)

// Decimal is an exact decimal number, (-1)^Neg * Coef * 10^-Scale. It keeps the
// number of places and the sign of a zero, because "-0.0000" and "0" are not
// the same thing to have come from a gauge. The zero value is 0.
type Decimal struct {
	Coef  uint64
	Scale int8 // places after the point; negative for 12e3
	Neg   bool
}

// maxDigits is what a uint64 coefficient holds without overflow.
const maxDigits = 19

var (
	// ErrSyntax is returned for text that is no decimal number.
	ErrSyntax = errors.New("not a decimal number")
	// ErrRange is returned for a number with more digits than fit.
	ErrRange = errors.New("more than 19 digits")
)

// ParseDecimal reads an optional sign, digits, an optional point and an
// optional exponent. ".5" and "5." are numbers; "" and "." are not.
func ParseDecimal(s string) (Decimal, error) {
	var d Decimal
	i := 0
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		d.Neg = s[i] == '-'
		i++
	}
	digits, seen, point := 0, false, false
	for ; i < len(s); i++ {
		c := s[i]
		if c == '.' && !point {
			point = true
			continue
		}
		if c < '0' || c > '9' {
			break
		}
		seen = true
		if d.Coef != 0 || c != '0' {
			digits++
		}
		if digits > maxDigits || d.Coef > (math.MaxUint64-9)/10 {
			return Decimal{}, ErrRange
		}
		d.Coef = d.Coef*10 + uint64(c-'0')
		if point {
			if d.Scale == math.MaxInt8 {
				return Decimal{}, ErrRange
			}
			d.Scale++
		}
	}
	if !seen {
		return Decimal{}, ErrSyntax
	}
	if i < len(s) && (s[i] == 'e' || s[i] == 'E') {
		e, err := strconv.ParseInt(s[i+1:], 10, 8)
		if err != nil {
			return Decimal{}, ErrSyntax
		}
		sc := int(d.Scale) - int(e)
		if sc < math.MinInt8 || sc > math.MaxInt8 {
			return Decimal{}, ErrRange
		}
		d.Scale = int8(sc)
		return d, nil
	}
	if i != len(s) {
		return Decimal{}, ErrSyntax
	}
	return d, nil
}

var pow10 = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// Float returns the nearest float64. Up to 15 digits and 22 places the result
// is correctly rounded.
func (d Decimal) Float() float64 {
	v := float64(d.Coef)
	switch {
	case d.Scale > 22:
		v /= math.Pow(10, float64(d.Scale))
	case d.Scale >= 0:
		v /= pow10[d.Scale]
	case d.Scale >= -22:
		v *= pow10[-d.Scale]
	default:
		v *= math.Pow(10, float64(-d.Scale))
	}
	if d.Neg {
		return -v
	}
	return v
}

// Rat is the exact value as a fraction.
func (d Decimal) Rat() *big.Rat {
	n := new(big.Int).SetUint64(d.Coef)
	if d.Neg {
		n.Neg(n)
	}
	p := new(big.Int).Exp(big.NewInt(10), big.NewInt(max(int64(d.Scale), -int64(d.Scale))), nil)
	if d.Scale < 0 {
		return new(big.Rat).SetInt(n.Mul(n, p))
	}
	return new(big.Rat).SetFrac(n, p)
}

// IsZero tells whether the value is zero, whatever its places and sign.
func (d Decimal) IsZero() bool { return d.Coef == 0 }

// LastDigit is the value of one unit in the last place.
func (d Decimal) LastDigit() float64 { return Decimal{Coef: 1, Scale: d.Scale}.Float() }

// Mul multiplies exactly; ok is false where the product does not fit.
func (d Decimal) Mul(e Decimal) (p Decimal, ok bool) {
	hi, lo := bits.Mul64(d.Coef, e.Coef)
	sc := int(d.Scale) + int(e.Scale)
	if hi != 0 || sc < math.MinInt8 || sc > math.MaxInt8 {
		return Decimal{}, false
	}
	return Decimal{Coef: lo, Scale: int8(sc), Neg: d.Neg != e.Neg}, true
}

// Append writes the number in plain notation with a digit before the point,
// all its places, and a sign only when it is negative: "-0.0045".
func (d Decimal) Append(b []byte) []byte {
	if d.Neg {
		b = append(b, '-')
	}
	if d.Scale <= 0 {
		b = strconv.AppendUint(b, d.Coef, 10)
		if d.Coef != 0 {
			for i := d.Scale; i < 0; i++ {
				b = append(b, '0')
			}
		}
		return b
	}
	var tmp [20]byte
	n := strconv.AppendUint(tmp[:0], d.Coef, 10)
	places := int(d.Scale)
	if len(n) > places {
		b = append(b, n[:len(n)-places]...)
		b = append(b, '.')
		return append(b, n[len(n)-places:]...)
	}
	b = append(b, '0', '.')
	for i := len(n); i < places; i++ {
		b = append(b, '0')
	}
	return append(b, n...)
}

// String is Append as a string.
func (d Decimal) String() string { return string(d.Append(nil)) }

// MarshalText writes the plain notation.
func (d Decimal) MarshalText() ([]byte, error) { return d.Append(nil), nil }

// UnmarshalText reads what ParseDecimal reads.
func (d *Decimal) UnmarshalText(b []byte) (err error) {
	*d, err = ParseDecimal(string(b))
	return err
}
