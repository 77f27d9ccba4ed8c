package drivers

import (
	"bytes"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

type opKind uint8

const (
	opByte     opKind = iota // one literal byte
	opLit                    // literal bytes
	opBlank                  // one blank or more
	opBlanks                 // any number of blanks
	opDigits                 // digits that mean nothing here
	opLetters                // letters
	opWord                   // a run of bytes without blanks
	opDashes                 // "-----", "--.---"
	opSkip                   // anything, up to what follows
	opAny                    // exactly n bytes
	opOptional               // [ ... ]
	opItems                  // {items}: item, between, item, ...
	opCheck                  // check bytes
	opFrom                   // the check bytes are taken over what follows …
	opTo                     // … up to here
	opValue                  // from here on: what is captured
	opSign
	opPlaces
	opUnit
	opChannel
	opStatus
	opNote
	numKinds
)

// op is one element of a pattern. Matching is greedy and never goes back
// (except that an optional part that fails is left out), so its cost is bounded
// by the frame's length and what a pattern means can be read from left to right.
type op struct {
	kind  opKind
	n     int // width in bytes, 0 free
	c     byte
	stop  byte // a free field ends before it; 0 nothing
	fold  bool
	needs bool // of [ ]: it cannot match nothing
	lead  bool // of several values: this kind stands before its value
	last  bool // no value stands behind it
	later bool // of check bytes: what they are taken over stands behind them
	vals  int  // of [ ]: the values in it
	lit   []byte
	num   *number
	words *words
	sub   []op // of [ ] and {items}
	sep   []op // between items
	check *check
}

// capture is what a field found.
type capture struct {
	kind     opKind
	lead     bool
	after    bool // stands behind the last value although its kind leads
	from, to int
	v, step  quantity.Decimal
	m        *meaning
	at       int // which {value} of the pattern it is, or the one that follows it: a missing one counts
}

// line is one [[message]]: a pattern and what it means as a whole.
type line struct {
	ops      []op
	tail     []op // the part that ends with the check bytes, all of fixed width: found from the frame's end
	tailLen  int
	values   int // {value}s in it; 0 where it only sets unit or channel, or is a fault
	many     bool
	ignore   bool
	fault    ledger.Fault
	note     []byte
	unit     quantity.Unit
	channel  []byte
	channels [][]byte
	pressed  bool
	later    *check // its check bytes stand before what they are taken over
	simple   bool   // one value and at most a unit: the plain drivers
	bare     bool   // simple, and a plain number alone fits it
}

// fits matches a whole frame and tells whether it does.
func (d *Decoder) fits(l *line, frame []byte) bool {
	head := frame
	d.place, d.from, d.to, d.checkAt = 0, -1, -1, -1
	if l.tail != nil {
		n := len(frame) - l.tailLen
		if n < d.data {
			return false
		}
		head = frame[:n]
	}
	e := d.match(l.ops, head, d.data)
	if e < 0 || e < len(head) && !d.onlyPadding(head[e:]) {
		return false
	}
	if l.tail != nil && d.match(l.tail, frame, len(head)) != len(frame) {
		return false
	}
	return d.checkAt < 0 || d.verify(l.later, frame, d.checkAt) >= 0
}

// verify compares the check bytes at i and tells where they end, -1 where they
// are none or wrong enough for the frame not to count.
func (d *Decoder) verify(k *check, b []byte, i int) int {
	to := i
	if d.to >= 0 {
		to = d.to
	}
	over := k.covered(b, d.data, to)
	if d.from >= 0 {
		over = b[min(d.from, to):to]
	}
	sum := k.kind.sum(over)
	e, right := k.compare(b, i, sum)
	if e >= 0 && !right {
		d.failed = failedCheck{b[i:e], over, sum}
		if d.wrong = true; k.wrong == wrongGarbled {
			return -1
		}
	}
	return e
}

// failedCheck is what was found for check bytes, what they are taken over, and
// the sum of that.
type failedCheck struct {
	got, over []byte
	sum       uint16
}

// match runs ops on b from i and returns where they end, -1 if they do not
// fit. Captures are appended to d.caps.
func (d *Decoder) match(ops []op, b []byte, i int) int {
	for k := range ops {
		o := &ops[k]
		switch o.kind {
		case opByte:
			if i >= len(b) || b[i] != o.c {
				return -1
			}
			i++
		case opLit:
			if !hasAt(b, i, o.lit, o.fold) {
				return -1
			}
			i += len(o.lit)
		case opBlank:
			j := skipBlanks(b, i)
			if j == i {
				return -1
			}
			i = j
		case opBlanks:
			i = skipBlanks(b, i)
		case opDigits, opLetters, opWord, opDashes:
			from := i
			if i = run(o, b, i); i < 0 {
				return -1
			}
			d.left -= i - from
		case opAny:
			if i += o.n; i > len(b) {
				return -1
			}
		case opSkip:
			if k == len(ops)-1 {
				return len(b)
			}
			n, place, e := len(d.caps), d.place, -1
			for ; i <= len(b); i++ {
				if d.left--; d.left < 0 {
					return -1
				}
				if e = d.match(ops[k+1:k+2], b, i); e >= 0 {
					break
				}
				d.caps, d.place = d.caps[:n], place
			}
			if e < 0 {
				return -1
			}
			d.caps, d.place = d.caps[:n], place // the element is matched again by the loop
		case opOptional:
			if i == len(b) && o.needs {
				d.place += o.vals
				continue
			}
			n, place := len(d.caps), d.place
			if e := d.match(o.sub, b, i); e >= 0 {
				i = e
			} else {
				d.caps, d.place = d.caps[:n], place+o.vals
			}
		case opItems:
			if i = d.items(o, b, i); i < 0 {
				return -1
			}
		case opCheck:
			if o.later {
				if d.checkAt, i = i, i+o.check.width(); i > len(b) {
					return -1
				}
				continue
			}
			if i = d.verify(o.check, b, i); i < 0 {
				return -1
			}
		case opFrom:
			d.from = i
		case opTo:
			d.to = i
		case opValue:
			if i = d.value(o, b, i); i < 0 {
				return -1
			}
		default:
			if i = d.field(o, b, i); i < 0 {
				return -1
			}
		}
	}
	return i
}

// mostLooks bounds the looking for what follows a {skip}, for each byte of a
// frame: how often it is looked for, and the bytes of runs that were read in
// vain. A pattern looks once at each byte for each {skip}; a file whose words look
// through the line again, at each byte of it, could cost a second for every frame.
const mostLooks = 512

// looks is what a frame may cost.
func looks(frame []byte) int { return mostLooks * (len(frame) + 1) }

// mostItems bounds the readings of one frame.
const mostItems = 64

func (d *Decoder) items(o *op, b []byte, i int) int {
	if i = d.match(o.sub, b, i); i < 0 {
		return -1
	}
	for k := 1; k < mostItems; k++ {
		n, place, e := len(d.caps), d.place, i
		if len(o.sep) > 0 {
			e = d.match(o.sep, b, i)
		}
		if e >= 0 {
			e = d.match(o.sub, b, e)
		}
		if e <= i {
			d.caps, d.place = d.caps[:n], place
			break
		}
		i = e
	}
	return i
}

// run matches a run of bytes of one class, or exactly o.n of them.
func run(o *op, b []byte, i int) int {
	start := i
	if o.kind == opDashes {
		return dashes(b, i)
	}
	for i < len(b) && (o.n == 0 || i-start < o.n) {
		c := b[i]
		ok := false
		switch o.kind {
		case opDigits:
			ok = c-'0' <= 9
		case opLetters:
			ok = lower(c) >= 'a' && lower(c) <= 'z'
		default:
			ok = c > ' ' && (o.stop == 0 || c != o.stop)
		}
		if !ok {
			break
		}
		i++
	}
	if i == start || o.n > 0 && i-start != o.n {
		return -1
	}
	return i
}

// dashes matches what a display shows instead of digits: two dashes or more,
// with points, blanks or commas among them.
func dashes(b []byte, i int) int {
	n, end := 0, -1
	for ; i < len(b); i++ {
		switch b[i] {
		case '-', '_':
			n++
			end = i + 1
		case '.', ',', ' ':
			if n == 0 {
				return -1
			}
		default:
			if n < 2 {
				return -1
			}
			return end
		}
	}
	if n < 2 {
		return -1
	}
	return end
}

// blankOnly tells a frame that holds nothing. A NUL is something: a line whose
// parity is wrong reads as NUL, and to skip it would make 1.234 of 1.2345.
func blankOnly(b []byte) bool {
	for _, c := range b {
		if c != ' ' && c != '\t' && c != '\r' && c != '\n' {
			return false
		}
	}
	return true
}

// trimEnd cuts a line end that a frame of fixed length carries.
func trimEnd(b []byte) []byte { return bytes.TrimRight(b, "\r\n") }
