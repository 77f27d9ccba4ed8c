package drivers

import (
	"fmt"

	"thouwright/internal/ledger"
)

// whyGarbled says where the first message of an example that should not be
// garbled stops to fit, or what its check bytes should be; "" where there is none.
func (d *Driver) whyGarbled(e *Example, want []string) (why string) {
	n := 0
	d.runWith(e, false, func(v *Value) {
		unwanted := v.Fault == ledger.Garbled && (n >= len(want) || want[n] != "garbled")
		n++
		switch {
		case !unwanted || why != "":
		case v.Reason == NoFit:
			why = d.Explain(v.Raw)
		case d.check != nil: // or what is left of its frame where one of fixed length did not fit
			why = d.explainCheck(v.Raw)
		}
	})
	if why != "" {
		why = ": " + why
	}
	return why
}

// Explain says up to where a message that fits no pattern fits the one that it
// fits best, and what that one expects next.
func (d *Driver) Explain(frame []byte) string {
	dec := d.NewDecoder()
	best, next, which := -1, "", 0
	for k := range d.lines {
		l := &d.lines[k]
		if l.ignore {
			continue
		}
		for n := len(l.ops); n >= 0; n-- {
			dec.caps = dec.caps[:0]
			dec.left = looks(frame)
			dec.place, dec.from, dec.to, dec.checkAt = 0, -1, -1, -1
			end := dec.match(l.ops[:n], frame, min(dec.data, len(frame)))
			if end < 0 {
				continue
			}
			if end <= best {
				break
			}
			best, which, next = end, k, "the end of the message"
			if rest := append(l.ops[n:len(l.ops):len(l.ops)], l.tail...); len(rest) > 0 {
				next = rest[0].name()
			}
			break
		}
	}
	if best < 0 {
		return "no pattern fits its beginning " + shortly(frame)
	}
	which++
	for k := range d.lines[:which] {
		if d.lines[k].ignore {
			which--
		}
	}
	return fmt.Sprintf("pattern %d fits up to %s, then expects %s and finds %s", which, shortly(frame[:best]), next, shortly(frame[best:]))
}

// explainCheck says what the check bytes of a message should have been, "" where
// they are not what is wrong.
func (d *Driver) explainCheck(frame []byte) string {
	dec := d.NewDecoder()
	for k := range d.lines {
		dec.left, dec.wrong, dec.caps = looks(frame), false, dec.caps[:0]
		if dec.fits(&d.lines[k], frame); dec.wrong {
			x := dec.failed
			return fmt.Sprintf("the check bytes are %s, and [check] gives %s over %s", shortly(x.got), shortly(d.check.appendTo(nil, x.sum)), shortly(x.over))
		}
	}
	return ""
}

func shortly(b []byte) string {
	if len(b) == 0 {
		return "nothing"
	}
	more := ""
	if len(b) > 40 {
		b, more = b[:40], "…"
	}
	return `"` + ledger.Escaped(b) + `"` + more
}

// name is what an element of a pattern is called there.
func (o *op) name() string {
	switch o.kind {
	case opByte:
		return shortly([]byte{o.c})
	case opLit:
		return shortly(o.lit)
	case opBlank:
		return "a blank"
	case opOptional:
		return "[ ]"
	}
	for name, kind := range fieldNames {
		if kind == o.kind {
			return "{" + name + "}"
		}
	}
	return "something else"
}
