package drivers

import (
	"math"

	"thouwright/internal/quantity"
)

// number is how a value is written: [number] of a driver file.
type number struct {
	before, after bool // where a sign may stand
	required      bool // it must
	signs         *words
	plainSigns    bool // + and - only
	point, comma  bool // decimal marks
	needPoint     bool // whole numbers are none
	decimals      int8 // implied places of a number without a mark; -1 none
	fractions     bool
	exponent      bool
	hex           bool
	binary        bool // bytes of a whole number
	bcd           bool // two digits in a byte
	lowFirst      bool // of several bytes, or pairs of hex digits, the low one first
	bits          int  // two's complement of a hex or binary number; 0 unsigned
	group         byte // between thousands; 0 nothing
	sixties       int  // how many parts of sixty follow the degrees
	scale         quantity.Decimal
	scaled        bool
	faults        *words // words that stand in the place of a number
	plain         bool   // none of all that but an optional sign in front
}

// settle is called once all keys are set.
func (n *number) settle() {
	n.plain = n.before && !n.after && !n.required && n.plainSigns && n.decimals < 0 &&
		!n.fractions && !n.exponent && !n.hex && !n.packed() && !n.scaled && !n.needPoint && n.faults == nil &&
		n.group == 0 && n.sixties == 0
}

// parsePlain is parse for plain numbers of at most 18 digits, which cannot
// overflow. end is -1 for all else, and parse decides.
func (n *number) parsePlain(b []byte, i int) (v quantity.Decimal, end int) {
	for i < len(b) && isBlank(b[i]) {
		i++
	}
	if i < len(b) && (b[i] == '-' || b[i] == '+') {
		v.Neg = b[i] == '-'
		i = skipBlanks(b, i+1)
	}
	start, mark := i, -1
	for ; i < len(b); i++ {
		c := b[i]
		if k := c - '0'; k <= 9 {
			v.Coef = v.Coef*10 + uint64(k)
		} else if mark < 0 && (c == '.' && n.point || c == ',' && n.comma) {
			mark = i
		} else {
			break
		}
	}
	digits := i - start
	if mark >= 0 {
		digits--
		v.Scale = int8(i - mark - 1)
	}
	if digits == 0 || digits > 18 {
		return v, -1
	}
	return v, i
}

// isBlank tells the bytes that pad a field.
func isBlank(c byte) bool { return c == ' ' || c == '\t' }

func skipBlanks(b []byte, i int) int {
	for i < len(b) && isBlank(b[i]) {
		i++
	}
	return i
}

// parse reads a number at i. end is -1 where there is none. step is the worth
// of its last digit.
func (n *number) parse(d *Decoder, b []byte, i int) (v, step quantity.Decimal, end int) {
	if n.packed() {
		return n.parsePacked(b, i)
	}
	i = skipBlanks(b, i)
	signed := false
	if n.before && i < len(b) {
		if n.plainSigns {
			if c := b[i]; c == '-' || c == '+' {
				v.Neg, signed = c == '-', true
				i = skipBlanks(b, i+1)
			}
		} else if m, e := n.signs.find(d, b, i); e >= 0 {
			v.Neg, signed = m.neg, true
			i = skipBlanks(b, e)
		}
	}
	if n.required && !signed && !n.after {
		return v, step, -1
	}
	if n.hex {
		if i = n.parseHex(&v, b, i); i < 0 {
			return v, step, -1
		}
	} else {
		start, mark, groups := i, -1, 0
		coef, big := uint64(0), uint64(0)
		for i < len(b) && i-start <= mostDigits {
			c := b[i]
			if k := c - '0'; k <= 9 {
				big |= coef
				coef = coef*10 + uint64(k)
				i++
				continue
			}
			if mark < 0 && (c == '.' && n.point || c == ',' && n.comma) {
				mark = i
				i++
				continue
			}
			if c == n.group && c != 0 && mark < 0 && i > start && thousand(b, i+1) {
				groups++
				i++
				continue
			}
			break
		}
		if i-start > mostDigits {
			return v, step, -1
		}
		digits := i - start - groups
		if mark >= 0 {
			digits--
			v.Scale = int8(min(i-mark-1, math.MaxInt8))
			if i-mark-1 > math.MaxInt8 {
				return v, step, -1
			}
		}
		if digits == 0 || n.needPoint && mark < 0 {
			return v, step, -1
		}
		// One more multiplication could have overflowed only above this.
		if big > (math.MaxUint64-9)/10 {
			return v, step, -1
		}
		v.Coef = coef
		if digits > 19 && !fewDigits(b[start:i]) {
			return v, step, -1
		}
		step = quantity.Decimal{Coef: 1, Scale: v.Scale}
		if n.sixties > 0 {
			if i, step = n.parts(&v, b, i); i < 0 || mark >= 0 {
				return v, step, -1
			}
			mark = i
		}
		if n.fractions && mark < 0 {
			if i, step = fraction(&v, b, i); i < 0 {
				return v, step, -1
			}
			mark = i
		}
		if n.exponent && i < len(b) && (b[i] == 'e' || b[i] == 'E') {
			if i = exponent(&v, b, i); i < 0 {
				return v, step, -1
			}
			step.Scale = v.Scale
		}
		if mark < 0 && n.decimals >= 0 {
			v.Scale += n.decimals
			step.Scale = v.Scale
		}
	}
	if n.hex {
		if n.decimals >= 0 {
			v.Scale = n.decimals
		}
		step = quantity.Decimal{Coef: 1, Scale: v.Scale}
	}
	if n.after && !signed {
		j := skipBlanks(b, i)
		if m, e := n.signs.find(d, b, j); e >= 0 {
			v.Neg, signed = m.neg, true
			i = e
		}
		if n.required && !signed {
			return v, step, -1
		}
	}
	if n.scaled {
		var ok, ok2 bool
		if v, ok = v.Mul(n.scale); !ok {
			return v, step, -1
		}
		if step, ok2 = step.Mul(n.scale); !ok2 {
			return v, step, -1
		}
		step.Neg = false
	}
	return v, step, i
}

// mostDigits bounds a number with its padding, as the width of a field is bounded:
// a pattern that looks for one at each byte of a long line would read the line
// as often as it has bytes.
const mostDigits = 64

// fewDigits tells whether a long run of digits is only padded with zeros.
func fewDigits(b []byte) bool {
	n := 0
	for _, c := range b {
		if c >= '1' && c <= '9' || n > 0 && c == '0' {
			n++
		}
	}
	return n <= 19
}

// fraction reads the rest of "1 13/64", "1-13/64" or "13/64" where v holds the
// first number, and makes it an exact decimal. Only denominators that divide a
// power of ten are exact; the trade's are powers of two.
func fraction(v *quantity.Decimal, b []byte, i int) (end int, step quantity.Decimal) {
	step = quantity.Decimal{Coef: 1}
	whole, top := v.Coef, uint64(0)
	j := i
	switch {
	case j < len(b) && b[j] == '/':
		whole, top = 0, v.Coef
	case j+1 < len(b) && (isBlank(b[j]) || b[j] == '-'):
		if b[j] == '-' {
			j++
		} else {
			j = skipBlanks(b, j)
		}
		k := j
		if top, j = smallInt(b, j); j == k || j >= len(b) || b[j] != '/' {
			return i, step // a whole number
		}
	default:
		return i, step
	}
	bottom, k := smallInt(b, j+1)
	if k == j+1 || bottom == 0 || top > 1<<20 {
		return -1, step
	}
	// scale up until the denominator divides
	unit, places := uint64(1), int8(0)
	for unit%bottom != 0 {
		if places == 15 {
			return -1, step
		}
		unit *= 10
		places++
	}
	w, ok := quantity.Decimal{Coef: whole}.Mul(quantity.Decimal{Coef: unit})
	if !ok || w.Coef > math.MaxUint64/2 || top > math.MaxUint64/4/unit {
		return -1, step
	}
	v.Coef, v.Scale = w.Coef+top*(unit/bottom), places
	return k, quantity.Decimal{Coef: unit / bottom, Scale: places}
}

// smallInt reads up to seven digits.
func smallInt(b []byte, i int) (v uint64, end int) {
	for k := 0; i < len(b) && b[i]-'0' <= 9 && k < 7; k++ {
		v = v*10 + uint64(b[i]-'0')
		i++
	}
	return v, i
}

// exponent reads "E-02" at i and shifts v's point.
func exponent(v *quantity.Decimal, b []byte, i int) (end int) {
	i++
	neg := false
	if i < len(b) && (b[i] == '+' || b[i] == '-') {
		neg = b[i] == '-'
		i++
	}
	e, k := smallInt(b, i)
	if k == i || e > 99 {
		return -1
	}
	s := int(v.Scale)
	if neg {
		s += int(e)
	} else {
		s -= int(e)
	}
	if s > math.MaxInt8 || s < math.MinInt8 {
		return -1
	}
	v.Scale = int8(s)
	return k
}

func (n *number) parseHex(v *quantity.Decimal, b []byte, i int) (end int) {
	start := i
	for i < len(b) {
		k, ok := hexDigit(b[i])
		if !ok {
			break
		}
		if v.Coef >= 1<<58 {
			return -1
		}
		v.Coef = v.Coef<<4 | uint64(k)
		i++
	}
	if i == start {
		return -1
	}
	if n.lowFirst {
		if (i-start)%2 != 0 {
			return -1
		}
		low := uint64(0)
		for k := start; k < i; k += 2 {
			low = low<<8 | v.Coef&0xFF
			v.Coef >>= 8
		}
		v.Coef = low
	}
	if !n.complement(v) {
		return -1
	}
	return i
}

func hexDigit(c byte) (byte, bool) {
	switch {
	case c >= '0' && c <= '9':
		return c - '0', true
	case c >= 'A' && c <= 'F':
		return c - 'A' + 10, true
	case c >= 'a' && c <= 'f':
		return c - 'a' + 10, true
	}
	return 0, false
}
