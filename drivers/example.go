package drivers

import (
	"fmt"
	"strings"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// Example is one of a file's own: bytes, and the readings they must give.
type Example struct {
	About  string
	Chunks [][]byte // between two of them lies a pause longer than any of the driver's timeouts for frames
	Gives  []string // "03: 0.0123 mm (hold)", "over", "garbled"
	Opened bool     // the port was opened in mid-stream
	line   int
}

func (c *compiler) examples() error {
	for i, f := range c.f.Examples {
		at := []any{"example", i, "bytes"}
		e := Example{About: f.About, Gives: f.Gives, Opened: f.Opened, line: c.lines.At("example", i)}
		texts, err := stringsOf(f.Bytes)
		if err != nil {
			return wrongAt(at, "%v", err)
		}
		if len(texts) == 0 {
			return wrongAt(at, `is missing; expected the bytes as sent, such as bytes = "+0.0123<CR>"`)
		}
		for _, s := range texts {
			b, err := parseBytes(s)
			if err != nil {
				return wrongAt(at, "= %v", err)
			}
			e.Chunks = append(e.Chunks, b)
		}
		c.d.Examples = append(c.d.Examples, e)
	}
	return nil
}

// CheckExamples runs the file's own examples, whole and byte by byte. Each
// mistake is one line; a file without an example is one.
func (d *Driver) CheckExamples() (errs []error) {
	if len(d.Examples) == 0 {
		return []error{fmt.Errorf("%s: has no [[example]]; add bytes the gauge sent and the readings they give", d.File)}
	}
	for i := range d.Examples {
		e := &d.Examples[i]
		want := make([]string, len(e.Gives))
		for k, g := range e.Gives {
			want[k] = strings.Join(strings.Fields(g), " ")
		}
		for _, single := range []bool{false, true} {
			got := d.run(e, single)
			if strings.Join(got, " | ") == strings.Join(want, " | ") {
				continue
			}
			how := ""
			if single {
				how = " (fed byte by byte)"
			}
			errs = append(errs, fmt.Errorf("%s:%d: example %d%s gives [%s]; expected [%s]%s", d.File, e.line, i+1, how, strings.Join(got, ", "), strings.Join(want, ", "), d.whyGarbled(e, want)))
			break
		}
	}
	return errs
}

// run is what an example's bytes give.
func (d *Driver) run(e *Example, single bool) (got []string) {
	d.runWith(e, single, func(v *Value) { got = append(got, d.Show(v)) })
	return got
}

func (d *Driver) runWith(e *Example, single bool, emit func(*Value)) {
	dec := d.NewDecoder()
	if e.Opened {
		dec.Opened(0)
	}
	pause := 2 * max(dec.patience(), Quiet.Microseconds())
	at := int64(1)
	for _, chunk := range e.Chunks {
		if single {
			for i := range chunk {
				dec.Feed(chunk[i:i+1], at, emit)
			}
		} else {
			dec.Feed(chunk, at, emit)
		}
		at += pause
	}
	if d.frame.idle > 0 || len(e.Chunks) > 1 {
		dec.Expire(at, emit)
	}
}

// Show writes a reading as an example's gives does: channel, value and unit,
// fault, note: "03: 0.0123 mm (hold)".
func (d *Driver) Show(v *Value) string {
	var b []byte
	if len(v.Channel) > 0 {
		b = append(append(b, v.Channel...), ':', ' ')
	}
	if v.HasVal {
		b = v.Value.Append(b)
		u := v.Unit
		if u == quantity.None {
			u = d.Unit
		}
		if u != quantity.None {
			b = append(append(b, ' '), u.String()...)
		}
	}
	if v.Fault != ledger.NoFault {
		if v.HasVal {
			b = append(b, ' ')
		}
		b = append(b, v.Fault.String()...)
	}
	if len(v.Flags) > 0 {
		b = append(append(append(b, " ("...), v.Flags...), ')')
	}
	return string(b)
}
