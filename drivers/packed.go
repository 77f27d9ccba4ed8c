package drivers

import (
	"strings"

	"thouwright/internal/quantity"
)

// packed tells numbers that are bytes and no text.
func (n *number) packed() bool { return n.binary || n.bcd }

func (n *number) base() string {
	if n.bcd {
		return `"bcd"`
	}
	return "256"
}

// parsePacked reads a number that is the whole of b from i on.
func (n *number) parsePacked(b []byte, i int) (v, step quantity.Decimal, end int) {
	if b = b[i:]; len(b) == 0 || len(b) > 9 {
		return v, step, -1
	}
	for k := range b {
		c := b[k]
		if n.lowFirst {
			c = b[len(b)-1-k]
		}
		switch {
		case n.bcd && (c>>4 > 9 || c&15 > 9):
			return v, step, -1
		case n.bcd:
			v.Coef = v.Coef*100 + uint64(c>>4)*10 + uint64(c&15)
		case v.Coef >= 1<<50:
			return v, step, -1
		default:
			v.Coef = v.Coef<<8 | uint64(c)
		}
	}
	if !n.complement(&v) {
		return v, step, -1
	}
	v.Scale = max(n.decimals, 0)
	step = quantity.Decimal{Coef: 1, Scale: v.Scale}
	if n.scaled {
		var ok1, ok2 bool
		v, ok1 = v.Mul(n.scale)
		step, ok2 = step.Mul(n.scale)
		if step.Neg = false; !ok1 || !ok2 {
			return v, step, -1
		}
	}
	return v, step, i + len(b)
}

// complement makes a two's complement of so many bits a number with a sign.
func (n *number) complement(v *quantity.Decimal) bool {
	if n.bits == 0 {
		return true
	}
	if v.Coef >= 1<<n.bits {
		return false
	}
	if v.Coef >= 1<<(n.bits-1) {
		v.Coef, v.Neg = 1<<n.bits-v.Coef, !v.Neg
	}
	return true
}

// thousand tells whether exactly three digits stand at i.
func thousand(b []byte, i int) bool {
	for k := i; k < i+3; k++ {
		if k >= len(b) || !isDigit(b[k]) {
			return false
		}
	}
	return i+3 >= len(b) || !isDigit(b[i+3])
}

// parts reads the minutes (and seconds) behind degrees and makes one number of
// all, in the last of them.
func (n *number) parts(v *quantity.Decimal, b []byte, i int) (end int, step quantity.Decimal) {
	step = quantity.Decimal{Coef: 1}
	if v.Coef > 1<<20 {
		return -1, step
	}
	for k := 0; k < n.sixties; k++ {
		j := i
		for j < len(b) && (isBlank(b[j]) || strings.IndexByte(":'dD\xB0\xC2", b[j]) >= 0) {
			j++
		}
		part, e := smallInt(b[:min(len(b), j+2)], j)
		if j == i || e == j || part > 59 {
			return -1, step
		}
		v.Coef, i = v.Coef*60+part, e
	}
	if i < len(b) && (b[i] == '.' && n.point || b[i] == ',' && n.comma) {
		for i++; i < len(b) && isDigit(b[i]); i++ {
			if v.Scale++; v.Scale > 6 {
				return -1, step
			}
			v.Coef = v.Coef*10 + uint64(b[i]-'0')
		}
		step.Scale = v.Scale
	}
	if i < len(b) && (b[i] == '\'' || b[i] == '"') {
		i++
	}
	return i, step
}
