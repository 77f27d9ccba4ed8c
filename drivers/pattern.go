package drivers

import (
	"fmt"
	"strconv"
	"strings"
)

// fieldNames are the words that may stand in braces.
var fieldNames = map[string]opKind{
	"value": opValue, "unit": opUnit, "channel": opChannel, "status": opStatus, "note": opNote,
	"sign": opSign, "places": opPlaces, "check": opCheck, "items": opItems, "digits": opDigits,
	"letters": opLetters, "word": opWord, "dashes": opDashes, "blanks": opBlanks, "skip": opSkip,
	"any": opAny, "from": opFrom, "to": opTo,
}

// tables hands the pattern parser what fields refer to; name is "" or the
// style after the field's colon.
type tables interface {
	numberStyle(name string) (*number, error)
	wordTable(kind opKind, name string) (*words, error)
	checkStyle() (*check, error)
	fold() bool
}

const (
	mostPattern = 1024 // characters
	mostNesting = 8
)

type patternParser struct {
	text  string
	at    int
	depth int
	in    tables
	item  []op // what {items} repeats
	sep   []op
	plain bool // inside a word table: no captures
}

func (p *patternParser) parse() ([]op, error) {
	if len(p.text) > mostPattern {
		return nil, fmt.Errorf("is longer than %d characters", mostPattern)
	}
	ops, err := p.sequence(false)
	if err != nil {
		return nil, err
	}
	return ops, nil
}

// sequence reads up to the end of the text or, inside [ ], up to its ].
func (p *patternParser) sequence(inside bool) ([]op, error) {
	var ops []op
	var lit []byte
	flush := func() {
		switch {
		case len(lit) == 0:
		case len(lit) == 1 && (!p.in.fold() || lower(lit[0]) == upper(lit[0])):
			ops = append(ops, op{kind: opByte, c: lit[0]})
		default:
			ops = append(ops, op{kind: opLit, lit: lit, fold: p.in.fold()})
		}
		lit = nil
	}
	for p.at < len(p.text) {
		rest := p.text[p.at:]
		switch c := rest[0]; c {
		case ' ':
			flush()
			for p.at < len(p.text) && p.text[p.at] == ' ' {
				p.at++
			}
			ops = append(ops, op{kind: opBlank})
		case '{':
			flush()
			o, err := p.field()
			if err != nil {
				return nil, err
			}
			ops = append(ops, o)
		case '[':
			flush()
			if p.depth++; p.depth > mostNesting {
				return nil, fmt.Errorf("has more than %d brackets inside each other", mostNesting)
			}
			p.at++
			sub, err := p.sequence(true)
			if err != nil {
				return nil, err
			}
			p.depth--
			needs := len(sub) > 0 && sub[0].kind != opOptional && sub[0].kind != opBlanks && sub[0].kind != opSkip && sub[0].kind != opNote
			vals := 0
			walk(sub, func(o *op) {
				if o.kind == opValue {
					vals++
				}
			})
			ops = append(ops, op{kind: opOptional, sub: sub, needs: needs, vals: vals})
		case ']':
			if !inside {
				return nil, fmt.Errorf(`has a ] without a [; write \] for the character`)
			}
			flush()
			p.at++
			return ops, nil
		case '}':
			return nil, fmt.Errorf(`has a } without a {; write \} for the character`)
		default:
			b, n, err := escape(rest)
			if err != nil {
				return nil, err
			}
			if n == 0 {
				b, n = c, 1
			}
			lit = append(lit, b)
			p.at += n
		}
	}
	if inside {
		return nil, fmt.Errorf(`has a [ without a ]; write \[ for the character`)
	}
	flush()
	return ops, nil
}

// field reads {name}, {name:width}, {name:style} or {name:width,style}.
func (p *patternParser) field() (op, error) {
	end := strings.IndexByte(p.text[p.at:], '}')
	if end < 0 {
		return op{}, fmt.Errorf(`has a { without a }; write \{ for the character`)
	}
	whole := p.text[p.at : p.at+end+1]
	body := whole[1:end]
	p.at += end + 1
	name, args, _ := strings.Cut(body, ":")
	name = strings.TrimSpace(name)
	kind, ok := fieldNames[name]
	if !ok {
		return op{}, fmt.Errorf("has the unknown field %s%s; expected one of %s", whole, didYouMean(name, keysOf(fieldNames)), listOf(keysOf(fieldNames)))
	}
	o := op{kind: kind}
	style := ""
	for _, a := range strings.Split(args, ",") {
		a = strings.TrimSpace(a)
		if a == "" {
			continue
		}
		if a[0] >= '0' && a[0] <= '9' {
			n, err := strconv.Atoi(a)
			if err != nil || n < 1 || n > 64 {
				return op{}, fmt.Errorf("has the width %q in %s; expected 1 to 64 bytes", a, whole)
			}
			o.n = n
			continue
		}
		style = a
	}
	if p.plain && kind >= opOptional && kind != opSkip && kind != opAny {
		return op{}, fmt.Errorf("has %s in a word; only {digits}, {letters}, {word}, {dashes}, {blanks}, {skip} and {any:N} may stand there", whole)
	}
	return o, p.finish(&o, style, whole)
}

func (p *patternParser) finish(o *op, style, whole string) (err error) {
	wide, named := false, false
	switch o.kind {
	case opAny:
		if o.n == 0 {
			return fmt.Errorf("has %s without a width; write {any:3} for three bytes of any kind", whole)
		}
		wide = true
	case opDigits, opLetters, opWord:
		wide = true
	case opValue:
		wide, named = true, true
		o.num, err = p.in.numberStyle(style)
		if err == nil && o.num.packed() && o.n == 0 {
			return fmt.Errorf("has %s without a width, but [number] says base = %s: write {value:2} for two bytes", whole, o.num.base())
		}
	case opUnit, opStatus, opSign, opChannel, opNote, opPlaces:
		wide, named = true, true
		o.words, err = p.in.wordTable(o.kind, style)
	case opItems:
		if p.item == nil {
			return fmt.Errorf(`has {items} but the line has no item = "…" that says what one looks like`)
		}
		o.sub, o.sep = p.item, p.sep
	case opCheck:
		o.check, err = p.in.checkStyle()
	}
	if err != nil {
		return err
	}
	if o.n > 0 && !wide {
		return fmt.Errorf("has a width in %s, which takes none", whole)
	}
	if style != "" && !named {
		return fmt.Errorf("has the style %q in %s, which takes none", style, whole)
	}
	return nil
}

// walk visits every op in the order of the text.
func walk(ops []op, visit func(*op)) {
	for i := range ops {
		visit(&ops[i])
		walk(ops[i].sub, visit)
		walk(ops[i].sep, visit)
	}
}

// lead marks the fields of a kind that stands before the first value.
func lead(ops []op) {
	var before [numKinds]bool
	seen := false
	walk(ops, func(o *op) {
		if o.kind == opValue {
			seen = true
		}
		if o.kind > opValue && !seen {
			before[o.kind] = true
		}
	})
	values := 0
	walk(ops, func(o *op) {
		if o.lead = before[o.kind]; o.kind == opValue {
			values++
		}
	})
	passed := 0
	walk(ops, func(o *op) {
		if o.kind == opValue {
			passed++
		}
		o.last = passed == values
	})
}

// marks finds check bytes that stand before what they are taken over, and
// refuses {from} and {to} that no check bytes need.
func marks(ops []op) (later *check, err error) {
	var check, mark *op
	walk(ops, func(o *op) {
		switch o.kind {
		case opCheck:
			check = o
		case opFrom, opTo:
			if mark = o; check != nil {
				check.later, later = true, check.check
			}
		}
	})
	if mark != nil && check == nil {
		return nil, fmt.Errorf("has {from} or {to} but no {check}; they mark what the check bytes are taken over")
	}
	if later != nil && later.text == asDecimal {
		return nil, fmt.Errorf(`has {check} before what it is taken over, and check.as = "decimal" has no fixed width; expected hex or raw`)
	}
	return later, nil
}

// stops tells free fields ({note}, {word}) where they end although their bytes
// would go on: at the literal that follows them in the pattern.
func stops(ops []op, next *op) {
	for i := range ops {
		o, after := &ops[i], next
		if i+1 < len(ops) {
			after = &ops[i+1]
		}
		stops(o.sub, after)
		free := o.n == 0 && (o.kind == opWord || o.kind == opNote && o.words == nil)
		if !free || after == nil {
			continue
		}
		switch after.kind {
		case opByte:
			o.stop = after.c
		case opLit:
			o.stop = after.lit[0]
		}
	}
}
