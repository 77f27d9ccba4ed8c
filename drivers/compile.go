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

func (c *compiler) checkBytes() error {
	f := c.f.Check
	if f == nil {
		return nil
	}
	k := &check{lowFirst: f.LowFirst, withStart: f.WithStart, withEnd: f.WithEnd, afterEnd: f.AfterEnd, skip: f.Skip}
	var names []string
	for i := range checkKinds {
		names = append(names, checkKinds[i].name)
		if checkKinds[i].name == f.Kind {
			k.kind = &checkKinds[i]
		}
	}
	if k.kind == nil {
		return wrongAt([]any{"check", "kind"}, "= %q%s; expected one of %s", f.Kind, didYouMean(f.Kind, names), listOf(names))
	}
	if err := c.checkParameters(k, f); err != nil {
		return err
	}
	switch f.As {
	case "raw", "":
	case "hex":
		k.text = asHex
	case "decimal":
		k.text = asDecimal
	case "digit":
		k.text = asDigit
	case "nibbles":
		k.text = asNibbles
	default:
		return wrongAt([]any{"check", "as"}, "= %q; expected raw (bytes), hex, digit, nibbles or decimal (text)", f.As)
	}
	switch f.Wrong {
	case "garbled", "":
	case "drop":
		k.wrong = wrongDrop
	case "keep":
		k.wrong = wrongKeep
	default:
		return wrongAt([]any{"check", "wrong"}, "= %q; expected garbled, drop or keep", f.Wrong)
	}
	if f.Skip < 0 || f.Skip > 64 {
		return wrongAt([]any{"check", "skip"}, "= %d; expected 0 to 64 bytes", f.Skip)
	}
	if k.lowFirst && (!k.kind.wide || k.text == asDecimal || k.text == asDigit) {
		return wrongAt([]any{"check", "low_first"}, "is for two check bytes (or their hex), of which one must come first; leave it out")
	}
	if k.text == asDecimal && k.afterEnd {
		return wrongAt([]any{"check", "as"}, `= "decimal" together with after_end: decimal text has no fixed width; use hex or raw, or let the end bytes stand after the check`)
	}
	if k.withEnd && !k.afterEnd {
		return wrongAt([]any{"check", "with_end"}, "= true needs after_end = true: the end bytes can count only where the check stands behind them")
	}
	c.check1, c.d.check = k, k
	return nil
}

// checkParameters overrides those of the kind.
func (c *compiler) checkParameters(k *check, f *formCheck) error {
	kind := *k.kind
	for _, p := range []struct {
		key string
		v   *int64
		to  *uint16
	}{{"poly", f.Poly, &kind.poly}, {"init", f.Init, &kind.init}, {"out", f.Out, &kind.out}} {
		if p.v == nil {
			continue
		}
		most := int64(0xFF)
		if kind.wide {
			most = 0xFFFF
		}
		if *p.v < 0 || *p.v > most {
			return wrongAt([]any{"check", p.key}, "= %d; expected 0 to 0x%X for %s", *p.v, most, kind.name)
		}
		if p.key == "poly" && kind.how != howCRC {
			return wrongAt([]any{"check", p.key}, "is for CRC kinds only, not for %s", kind.name)
		}
		*p.to = uint16(*p.v)
	}
	if f.Reflected != nil {
		kind.reflected = *f.Reflected
	}
	for _, p := range []struct {
		key string
		v   int64
		to  *uint16
	}{{"mask", f.Mask, &kind.mask}, {"modulo", f.Modulo, &kind.modulo}, {"add", f.Add, &kind.add}} {
		most := int64(0xFF)
		if kind.wide {
			most = 0xFFFF
		}
		if p.v < 0 || p.v > most {
			return wrongAt([]any{"check", p.key}, "= %d; expected 0 to 0x%X for %s", p.v, most, kind.name)
		}
		if p.v > 0 {
			*p.to = uint16(p.v)
		}
	}
	k.kind = &kind
	return nil
}

func (c *compiler) framing() (err error) {
	f, to := &c.f.Frame, &c.d.frame
	at := func(k string) []any { return []any{"frame", k} }
	if to.start, err = parseBytes(f.Start); err != nil {
		return wrongAt(at("start"), "= %v", err)
	}
	if w, ok := bareName(f.Start); ok {
		return wrongAt(at("start"), "= %q is the letters themselves; write %s for the control character", f.Start, w)
	}
	ends, err := stringsOf(f.End)
	if err != nil {
		return wrongAt(at("end"), "%v", err)
	}
	for _, s := range ends {
		b, err := parseBytes(s)
		if err != nil {
			return wrongAt(at("end"), "= %v", err)
		}
		if w, ok := bareName(s); ok {
			return wrongAt(at("end"), "= %q is the letters themselves; write %s for the control characters", s, w)
		}
		if len(b) == 0 || len(b) > 16 {
			return wrongAt(at("end"), "= %q; expected 1 to 16 bytes, such as <CR>", s)
		}
		to.ends = append(to.ends, b)
	}
	if len(to.start) > 16 {
		return wrongAt(at("start"), "is %d bytes long; expected at most 16", len(to.start))
	}
	var idle time.Duration
	if err := c.duration(at("idle"), f.Idle, &idle); err != nil {
		return err
	}
	to.idle = idle.Microseconds()
	if f.Max < 0 || f.Max > mostMax {
		return wrongAt(at("max"), "= %d; expected the longest frame in bytes, 1 to %d", f.Max, mostMax)
	}
	if to.max = f.Max; to.max == 0 {
		to.max = defaultMax
	}
	if f.Length < 0 || f.Length > mostMax {
		return wrongAt(at("length"), "= %d; expected the length of a whole frame in bytes, 1 to %d", f.Length, mostMax)
	}
	to.length = f.Length
	if err := c.counted(f, to); err != nil {
		return err
	}
	if to.length > 0 && len(to.ends) > 0 {
		return wrongAt(at("length"), `together with end: say one of them (a line end inside a frame of fixed length can stand in the pattern)`)
	}
	if to.length > 0 && to.length <= len(to.start) {
		return wrongAt(at("length"), "= %d; expected more than the %d start bytes, which count", to.length, len(to.start))
	}
	if to.idle > 0 && len(to.ends) > 0 {
		return wrongAt(at("idle"), `together with end: say one of them`)
	}
	if to.length == 0 && to.countAt == 0 && to.idle == 0 && len(to.ends) == 0 {
		to.ends = [][]byte{{'\r'}, {'\n'}}
	}
	if k := c.check1; k != nil {
		if k.afterEnd {
			if len(to.ends) == 0 {
				return wrongAt([]any{"check", "after_end"}, "= true needs end bytes in [frame]")
			}
			to.tail = k.width()
		} else if k.text == asRaw && len(to.ends) > 0 {
			to.rawCheck = k.width()
		}
	}
	c.soleEnds()
	return nil
}

// soleEnds finds out whether frames are ended by single bytes only. <CR><LF>
// beside <CR> and <LF> adds nothing: a frame without a byte in it is no frame.
func (c *compiler) soleEnds() {
	to := &c.d.frame
	one := map[byte]bool{}
	for _, e := range to.ends {
		if len(e) == 1 {
			one[e[0]] = true
		}
	}
	var kept [][]byte
	for _, e := range to.ends {
		all := true
		for _, b := range e {
			all = all && one[b]
		}
		if len(e) == 1 || !all {
			kept = append(kept, e)
		}
	}
	to.ends = kept
	to.single = len(kept) > 0
	for _, e := range kept {
		if len(e) > 1 {
			to.single = false
		} else {
			to.class[e[0]] = true
		}
	}
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
