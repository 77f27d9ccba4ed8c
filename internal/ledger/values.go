package ledger

import (
	"math"
	"math/big"
	"strconv"
	"time"

	"thouwright/internal/quantity"
)

// ParseRaw undoes AppendEscaped; ok is false for a malformed escape.
func ParseRaw(s string) (raw []byte, ok bool) {
	raw = make([]byte, 0, len(s))
	for i := 0; i < len(s); i++ {
		if s[i] != '\\' {
			raw = append(raw, s[i])
			continue
		}
		if i+4 > len(s) || s[i+1] != 'x' {
			return nil, false
		}
		v, err := strconv.ParseUint(s[i+2:i+4], 16, 8)
		if err != nil {
			return nil, false
		}
		raw = append(raw, byte(v))
		i += 3
	}
	return raw, true
}

// The ends of what RFC 3339 can say.
var (
	firstWall = time.Date(0, 1, 1, 0, 0, 0, 0, time.UTC).UnixMicro()
	lastWall  = time.Date(9999, 12, 31, 23, 59, 59, 999999000, time.UTC).UnixMicro()
)

// TimeLayout is how times are written: RFC 3339 in UTC with microseconds.
const TimeLayout = "2006-01-02T15:04:05.000000Z"

// AppendTime writes a wall time by TimeLayout.
func AppendTime(b []byte, wall int64) []byte {
	return time.UnixMicro(min(max(wall, firstWall), lastWall)).UTC().AppendFormat(b, TimeLayout)
}

// AppendSeconds writes microseconds as seconds with six places.
func AppendSeconds(b []byte, us int64) []byte {
	u := uint64(us)
	if us < 0 {
		b = append(b, '-')
		u = -u
	}
	b = strconv.AppendUint(b, u/1e6, 10)
	return append(b, fraction(u%1e6)...)
}

// fraction is a point and the six digits of n < 1e6.
func fraction(n uint64) []byte {
	return []byte{'.',
		byte('0' + n/100000), byte('0' + n/10000%10), byte('0' + n/1000%10),
		byte('0' + n/100%10), byte('0' + n/10%10), byte('0' + n%10)}
}

// AppendNumber writes a computed number: twelve significant digits at most,
// as short as they go, never with an exponent. NaN and infinities are an empty
// field and anything below 1e-18 is 0. Twelve digits are far beyond any gauge,
// and they hide the last bits, in which processors with and without fused
// multiplication differ: a tape replayed on another machine gives the same row.
func AppendNumber(b []byte, v float64) []byte {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return b
	}
	if math.Abs(v) < 1e-18 {
		return append(b, '0')
	}
	var tmp [32]byte
	e := strconv.AppendFloat(tmp[:0], v, 'e', 11, 64) // -d.ddddddddddde-xx
	if e[0] == '-' {
		b, e = append(b, '-'), e[1:]
	}
	power := 0
	for _, c := range e[15:] {
		power = 10*power + int(c-'0')
	}
	if e[14] == '-' {
		power = -power
	}
	e[1] = e[0]
	digits := e[1:13]
	for digits[len(digits)-1] == '0' {
		digits = digits[:len(digits)-1]
	}
	// Up to 15 digits no other text of a float64 is as short.
	whole := power + 1 // of the digits stand before the point
	switch {
	case whole <= 0:
		b = append(b, "0."...)
		for range -whole {
			b = append(b, '0')
		}
		return append(b, digits...)
	case whole >= len(digits):
		b = append(b, digits...)
		for range whole - len(digits) {
			b = append(b, '0')
		}
		return b
	}
	b = append(append(b, digits[:whole]...), '.')
	return append(b, digits[whole:]...)
}

// Number is AppendNumber as a string.
func Number(v float64) string { return string(AppendNumber(nil, v)) }

// AppendMM writes a length in mm as the exact product of what the gauge sent
// and its unit; nothing for a unit that is no length.
func AppendMM(b []byte, v quantity.Decimal, u quantity.Unit) []byte {
	if !u.IsLength() {
		return b
	}
	f, _ := u.Exact() // every length has an exact factor
	if p, ok := v.Mul(f); ok {
		return p.Append(b)
	}
	return appendBig(b, v, f)
}

// appendBig is the exact product of decimals that do not fit 64 bits.
func appendBig(b []byte, v, f quantity.Decimal) []byte {
	p := new(big.Int).Mul(new(big.Int).SetUint64(v.Coef), new(big.Int).SetUint64(f.Coef))
	if v.Neg != f.Neg {
		b = append(b, '-')
	}
	scale := int(v.Scale) + int(f.Scale)
	digits := p.Append(nil, 10)
	switch {
	case scale <= 0:
		b = append(b, digits...)
		for ; scale < 0; scale++ {
			b = append(b, '0')
		}
		return b
	case len(digits) > scale:
		b = append(b, digits[:len(digits)-scale]...)
		b = append(b, '.')
		return append(b, digits[len(digits)-scale:]...)
	}
	b = append(b, '0', '.')
	for i := len(digits); i < scale; i++ {
		b = append(b, '0')
	}
	return append(b, digits...)
}
