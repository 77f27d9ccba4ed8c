package drivers

import (
	"fmt"
	"time"

	"thouwright/internal/form"
	"thouwright/internal/ledger"
	"thouwright/internal/port"
	"thouwright/internal/quantity"
)

// compiler turns a form into a Driver. It implements tables.
type compiler struct {
	f       *driverForm
	lines   form.Lines
	d       *Driver
	numbers map[string]*number
	tables  map[opKind]map[string]*words // by kind and style
	check1  *check
	anyFold bool
}

const (
	mostMessages = 64
	mostWords    = 512
)

func compile(name, file string, text []byte, f *driverForm, lines form.Lines) (*Driver, error) {
	d := &Driver{
		Name: name, About: f.About, File: file, Text: append([]byte(nil), text...),
		Line: DefaultLine, DTR: f.DTR, RTS: f.RTS,
		Silence: DefaultSilence, Gap: DefaultGap, holds: f.UnitHolds,
	}
	c := &compiler{f: f, lines: lines, d: d, numbers: map[string]*number{}, tables: map[opKind]map[string]*words{}, anyFold: f.AnyCase}
	for _, step := range []func() error{c.head, c.checkBytes, c.framing, c.wordTables, c.numberStyles, c.messages, c.poll, c.examples} {
		if err := step(); err != nil {
			return nil, err
		}
	}
	return d, nil
}

func (c *compiler) head() (err error) {
	f, d := c.f, c.d
	if f.Line != "" {
		if _, err := ParseLine(f.Line); err != nil {
			return wrongAt([]any{"line"}, "= %v", err)
		}
		d.Line = f.Line
	}
	var ok bool
	if d.Sends, ok = ledger.ParseSends(f.Sends); !ok {
		return wrongAt([]any{"sends"}, "= %q; expected stream, change or press", f.Sends)
	}
	if err := c.duration([]any{"silence"}, f.Silence, &d.Silence); err != nil {
		return err
	}
	if err := c.duration([]any{"gap"}, f.Gap, &d.Gap); err != nil {
		return err
	}
	if d.Unit, err = quantity.ParseUnit(f.Unit); err != nil {
		return wrongAt([]any{"unit"}, "= %v", err)
	}
	if err := c.sieve(); err != nil {
		return err
	}
	if f.Step != "" {
		q, err := quantity.ParseQuantity(f.Step)
		if err != nil || q.Value.Coef == 0 || q.Value.Neg {
			return wrongAt([]any{"step"}, "= %q; expected the least change the gauge shows, such as 0.0005", f.Step)
		}
		if q.Unit != quantity.None && q.Unit != d.Unit {
			return wrongAt([]any{"step"}, "= %q has another unit than unit = %q; give the step in the stream's unit", f.Step, d.Unit)
		}
		d.Step = q.Value
	}
	d.NoSniff = f.Sniff != nil && !*f.Sniff
	switch f.Otherwise {
	case "", "garbled":
	case "ignore":
		d.drop = true
	default:
		return wrongAt([]any{"otherwise"}, "= %q; expected garbled (what fits no pattern is shown as garbled) or ignore", f.Otherwise)
	}
	return nil
}

func (c *compiler) duration(path []any, s string, to *time.Duration) error {
	if s == "" {
		return nil
	}
	v, err := time.ParseDuration(s)
	if err != nil || v <= 0 || v > time.Hour {
		return wrongAt(path, "= %q; expected a time such as 200ms or 3s", s)
	}
	*to = v
	return nil
}

// stringsOf reads a string or a list of strings.
func stringsOf(v any) ([]string, error) {
	switch v := v.(type) {
	case nil:
		return nil, nil
	case string:
		return []string{v}, nil
	case []any:
		var all []string
		for _, x := range v {
			s, ok := x.(string)
			if !ok {
				return nil, fmt.Errorf("holds %v; expected text in quotes", x)
			}
			all = append(all, s)
		}
		return all, nil
	}
	return nil, fmt.Errorf("= %v; expected text in quotes, or a list of them", v)
}

func (c *compiler) fold() bool { return c.anyFold }

func (c *compiler) checkStyle() (*check, error) {
	if c.check1 == nil {
		return nil, fmt.Errorf("has {check} but the file has no [check] table")
	}
	if c.check1.afterEnd {
		return nil, fmt.Errorf("has {check} though check.after_end says that it stands behind the end bytes; leave it out of the pattern")
	}
	return c.check1, nil
}

func (c *compiler) messages() error {
	f := c.f
	if f.Pattern != "" {
		f.Messages = append([]formMessage{{Pattern: f.Pattern}}, f.Messages...)
	}
	if len(f.Messages) == 0 {
		return wrongAt(nil, `has no pattern; expected pattern = "{value}{unit}" or a [[message]] with one`)
	}
	if len(f.Messages)+len(f.Ignore) > mostMessages {
		return wrongAt(nil, "has %d patterns; expected at most %d", len(f.Messages)+len(f.Ignore), mostMessages)
	}
	for i, s := range f.Ignore {
		ops, err := (&patternParser{text: s, in: c}).parse()
		if err != nil {
			return wrongAt([]any{"ignore"}, "entry %d %v", i+1, err)
		}
		c.d.lines = append(c.d.lines, line{ops: ops, ignore: true})
	}
	checked := false
	for i := range f.Messages {
		path := []any{"message", i}
		if f.Pattern != "" {
			if path = []any{"pattern"}; i > 0 {
				path = []any{"message", i - 1}
			}
		}
		l, err := c.message(&f.Messages[i], path)
		if err != nil {
			return err
		}
		walk(append(l.ops[:len(l.ops):len(l.ops)], l.tail...), func(o *op) {
			checked = checked || o.kind == opCheck
			c.d.frame.packed = c.d.frame.packed || o.num != nil && o.num.packed()
		})
		c.d.lines = append(c.d.lines, l)
		n := l.values
		if l.many {
			n *= mostItems
		}
		if n > c.d.most {
			c.d.most = n
		}
	}
	// Any bytes fit bare bytes; and what is dropped or masked may be the very
	// marks of a wrong line setting.
	if f := &c.d.frame; f.packed && c.check1 == nil && len(f.start) == 0 || c.d.sieve != nil {
		c.d.NoSniff = true
	}
	c.lineEnds()
	c.d.most = max(1, min(c.d.most, mostItems*4))
	if c.check1 != nil && !c.check1.afterEnd && !checked {
		return wrongAt([]any{"check"}, "is never used; write {check} into the pattern where the check bytes stand, or after_end = true")
	}
	return nil
}

func (c *compiler) message(f *formMessage, path []any) (l line, err error) {
	at := func(k string) []any {
		if len(path) == 1 {
			return path
		}
		return append(append([]any{}, path...), k)
	}
	say := func(k string, err error) (line, error) { return l, wrongAt(at(k), "%v", err) }
	p := &patternParser{text: f.Pattern, in: c}
	if f.Pattern == "" {
		return say("pattern", fmt.Errorf(`is missing; expected such as pattern = "{value}{unit}"`))
	}
	if f.Between != "" && f.Item == "" {
		return say("between", fmt.Errorf("needs an item: it is what stands between two items"))
	}
	if f.Item != "" {
		if p.item, err = (&patternParser{text: f.Item, in: c}).parse(); err != nil {
			return say("item", err)
		}
		if p.sep, err = (&patternParser{text: f.Between, in: c}).parse(); err != nil {
			return say("between", err)
		}
	}
	if l.ops, err = p.parse(); err != nil {
		return say("pattern", err)
	}
	if l.later, err = marks(l.ops); err != nil {
		return say("pattern", err)
	}
	stops(l.ops, nil)
	lead(l.ops)
	l.cutTail()
	l.simple = l.tail == nil
	items := 0
	walk(l.ops, func(o *op) {
		switch o.kind {
		case opValue:
			l.values++
		case opItems:
			items++
			l.many = true
		}
		l.simple = l.simple && (o.kind < opOptional && o.kind != opSkip || o.kind == opOptional || o.kind == opValue || o.kind == opUnit)
	})
	always := 0 // values that cannot be missing
	for i := range l.ops {
		if l.ops[i].kind == opValue {
			always++
		}
	}
	l.simple = l.simple && l.values == 1 && always == 1 && !l.many
	if items > 1 || f.Item != "" && items == 0 {
		return say("pattern", fmt.Errorf("has {items} %d times; expected once where there is an item", items))
	}
	if l.values > mostItems {
		return say("pattern", fmt.Errorf("has %d values; expected at most %d", l.values, mostItems))
	}
	var ok bool
	if l.fault, ok = ledger.ParseFault(f.Fault); !ok {
		return say("fault", fmt.Errorf("= %q%s; expected one of %s", f.Fault, didYouMean(f.Fault, faultNames), listOf(faultNames)))
	}
	if l.unit, err = quantity.ParseUnit(f.Unit); err != nil {
		return say("unit", fmt.Errorf("= %w", err))
	}
	l.ignore, l.pressed = f.Ignore, f.Pressed
	if f.Note != "" {
		l.note = []byte(f.Note)
		l.simple = false
	}
	if l.bare = l.simple && l.tail == nil && l.ops[0].kind == opValue && l.ops[0].n == 0 && l.ops[0].num.plain && c.d.frame.single && len(c.d.frame.start) == 0; l.bare {
		for _, o := range l.ops[1:] {
			l.bare = l.bare && o.kind == opOptional && o.needs
		}
	}
	if f.Channel != "" {
		l.channel = []byte(f.Channel)
	}
	for _, ch := range f.Channels {
		l.channels = append(l.channels, []byte(ch))
	}
	if len(l.channels) > 0 && !l.many && len(l.channels) != l.values {
		return say("channels", fmt.Errorf("names %d channels for %d values in the pattern", len(l.channels), l.values))
	}
	if l.values == 0 && !l.ignore && l.fault == ledger.NoFault && l.unit == quantity.None && l.channel == nil {
		useful := false
		walk(l.ops, func(o *op) {
			useful = useful || o.kind == opUnit || o.kind == opChannel || o.kind == opStatus
		})
		if !useful {
			return say("pattern", fmt.Errorf(`has no {value}; expected one, or fault = "…", or ignore = true`))
		}
	}
	return l, nil
}

// lineEnds finds out whether CR and LF around a frame are only what is left of
// its line end (a file that says <CR> for a gauge that sends CR LF), which no
// pattern asks for.
func (c *compiler) lineEnds() {
	to := &c.d.frame
	to.trim = len(to.ends) > 0 && len(to.start) == 0 && to.tail == 0 && to.rawCheck == 0
	for i := range c.d.lines {
		l := &c.d.lines[i]
		walk(append(l.ops[:len(l.ops):len(l.ops)], l.tail...), func(o *op) {
			for _, b := range append([]byte{o.c}, o.lit...) {
				to.trim = to.trim && b != '\r' && b != '\n'
			}
		})
	}
}

// cutTail splits off the end of a pattern from its check bytes on, so that a
// number before them cannot take their digits for its own.
func (l *line) cutTail() {
	n, width := len(l.ops), 0
	for k := len(l.ops) - 1; k >= 0; k-- {
		switch o := &l.ops[k]; o.kind {
		case opByte:
			width++
		case opLit:
			width += len(o.lit)
		case opAny:
			width += o.n
		case opFrom, opTo:
		case opCheck:
			if o.check.text == asDecimal {
				return
			}
			width += o.check.width()
			n = k
		default:
			k = -1
		}
		if n < len(l.ops) {
			l.tail, l.ops, l.tailLen = l.ops[n:], l.ops[:n], width
			return
		}
	}
}

var faultNames = []string{"over", "under", "no-signal", "low-battery", "error", "garbled"}

// ParseLine reads line settings such as "9600 8N1", as a driver file and a
// bench do.
func ParseLine(s string) (port.Settings, error) { return port.ParseSettings(s) }
