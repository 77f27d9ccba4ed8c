package drivers

import (
	"fmt"
	"sort"
	"strconv"
	"strings"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// wordTables compiles [units], [channels], [status], [notes], [signs] and
// [faults], each with its named styles ([units.NAME]).
func (c *compiler) wordTables() error {
	f := c.f
	for _, t := range []struct {
		key  string
		kind opKind
		m    map[string]any
	}{
		{"units", opUnit, f.Units}, {"channels", opChannel, f.Channels}, {"status", opStatus, f.Status},
		{"notes", opNote, f.Notes}, {"signs", opSign, f.Signs}, {"places", opPlaces, f.Places}, {"faults", opValue, f.Faults},
	} {
		c.tables[t.kind] = map[string]*words{}
		if err := c.oneTable(t.key, "", t.kind, t.m); err != nil {
			return err
		}
	}
	return nil
}

func (c *compiler) oneTable(key, style string, kind opKind, m map[string]any) error {
	var list []word
	path := func(w string) []any {
		if style == "" {
			return []any{key, w}
		}
		return []any{key, style, w}
	}
	if len(m) > mostWords {
		return wrongAt([]any{key}, "has %d words; expected at most %d", len(m), mostWords)
	}
	keys := keysOf(m)
	// the longest first, so that of words with fields the most exact one wins
	sort.SliceStable(keys, func(i, j int) bool { return len(keys[i]) > len(keys[j]) })
	for _, k := range keys {
		switch v := m[k].(type) {
		case map[string]any:
			if style != "" {
				return wrongAt(path(k), "is a table inside a table; expected %q = \"…\"", k)
			}
			if err := c.oneTable(key, k, kind, v); err != nil {
				return err
			}
		case string:
			w, err := c.word(kind, k, v)
			if err != nil {
				return wrongAt(path(k), "%v", err)
			}
			list = append(list, w)
		default:
			return wrongAt(path(k), "= %v; expected text in quotes", v)
		}
	}
	if len(list) > 0 {
		c.tables[kind][style] = newWords(list, c.anyFold)
	}
	return nil
}

func (c *compiler) word(kind opKind, k, v string) (w word, err error) {
	ops, err := (&patternParser{text: strings.ReplaceAll(k, " ", "<SP>"), in: c, plain: true}).parse()
	if err != nil {
		return w, err
	}
	switch {
	case len(ops) == 0:
		return w, fmt.Errorf("is an empty word; expected what the gauge sends (write [ ] around the field in the pattern where it may send nothing)")
	case len(ops) == 1 && ops[0].kind == opByte:
		w.text = []byte{ops[0].c}
	case len(ops) == 1 && ops[0].kind == opLit:
		w.text = ops[0].lit
	default:
		w.ops = ops
	}
	switch kind {
	case opUnit:
		if w.unit, err = quantity.ParseUnit(v); err == nil && w.unit == quantity.None {
			err = fmt.Errorf(`= ""; expected a unit such as mm`)
		}
		if err != nil {
			err = fmt.Errorf("= %w", err)
		}
	case opChannel, opNote:
		w.meaning.text = []byte(v)
	case opSign:
		switch v {
		case "-":
			w.neg = true
		case "+":
		default:
			err = fmt.Errorf(`= %q; expected "+" or "-"`, v)
		}
	case opPlaces:
		n, e := strconv.Atoi(v)
		if e != nil || n < 0 || n > 18 {
			err = fmt.Errorf(`= %q; expected how many decimals the number then has, "0" to "18"`, v)
		}
		w.meaning.places = int8(n)
	case opStatus, opValue:
		err = w.setMeaning(kind, v)
	}
	return w, err
}

// setMeaning reads what a status or fault word stands for.
func (w *word) setMeaning(kind opKind, v string) error {
	if note, ok := strings.CutPrefix(v, "note:"); ok && kind == opStatus {
		w.meaning.text = []byte(strings.TrimSpace(note))
		return nil
	}
	if kind == opStatus {
		switch v {
		case "ok":
			return nil
		case "ignore":
			w.drop = true
			return nil
		}
	}
	fault, ok := ledger.ParseFault(v)
	if ok && fault != ledger.NoFault {
		w.fault = fault
		return nil
	}
	if kind == opStatus {
		return fmt.Errorf(`= %q%s; expected ok, ignore, "note: …" or one of %s`, v, didYouMean(v, faultNames), listOf(faultNames))
	}
	return fmt.Errorf(`= %q%s; expected one of %s`, v, didYouMean(v, faultNames), listOf(faultNames))
}

// plusMinus is the table of signs where a file lists none.
var plusMinus = newWords([]word{{text: []byte("+")}, {text: []byte("-"), meaning: meaning{neg: true}}}, false)

func (c *compiler) wordTable(kind opKind, style string) (*words, error) {
	if w := c.tables[kind][style]; w != nil {
		return w, nil
	}
	name := map[opKind]string{opUnit: "units", opStatus: "status", opSign: "signs", opPlaces: "places", opChannel: "channels", opNote: "notes"}[kind]
	if style != "" {
		return nil, fmt.Errorf("refers to [%s.%s], which the file does not have", name, style)
	}
	switch kind {
	case opUnit:
		return knownUnits, nil
	case opSign:
		return plusMinus, nil
	case opStatus:
		return nil, fmt.Errorf("has {status} but the file has no [status] table that says what its words mean")
	}
	return nil, nil // a free channel, note or count of places
}

// numberStyles compiles [number] and [number.NAME].
func (c *compiler) numberStyles() error {
	base := map[string]any{}
	for k, v := range c.f.Number {
		if _, ok := v.(map[string]any); !ok {
			base[k] = v
		}
	}
	if err := c.numberStyle1("", []any{"number"}, base); err != nil {
		return err
	}
	for _, k := range keysOf(c.f.Number) {
		if sub, ok := c.f.Number[k].(map[string]any); ok {
			if err := c.numberStyle1(k, []any{"number", k}, sub); err != nil {
				return err
			}
		}
	}
	return nil
}

func (c *compiler) numberStyle1(style string, path []any, m map[string]any) error {
	n := &number{before: true, point: true, decimals: -1, faults: c.tables[opValue][style]}
	if n.faults == nil {
		n.faults = c.tables[opValue][""]
	}
	n.signs = c.tables[opSign][style]
	if n.signs == nil {
		n.signs = c.tables[opSign][""]
	}
	if n.signs == nil {
		n.signs, n.plainSigns = plusMinus, true
	}
	for _, k := range keysOf(m) {
		if err := n.set(k, m[k]); err != nil {
			return wrongAt(append(append([]any{}, path...), k), "%v", err)
		}
	}
	at := func(k string) []any { return append(append([]any{}, path...), k) }
	if n.bits > 0 && !n.hex && !n.binary {
		return wrongAt(at("bits"), `needs base = 16 or 256: the sign of a decimal number is a sign`)
	}
	if n.lowFirst && !n.hex && !n.packed() {
		return wrongAt(at("low_first"), `needs base = 16, 256 or "bcd": in a decimal number the first digit is the high one`)
	}
	if n.group != 0 && (n.group == '.' && n.point || n.group == ',' && n.comma) {
		return wrongAt(at("group"), `= %q is the decimal point, too; say with point which character that is`, string(n.group))
	}
	if n.group != 0 && (n.hex || n.packed()) || n.sixties > 0 && (n.hex || n.packed() || n.fractions || n.exponent) {
		return wrongAt(path, "group and sixties are for decimal numbers, sixties for such without fractions and exponent")
	}
	if want := []quantity.Unit{quantity.None, quantity.Arcmin, quantity.Arcsec}[n.sixties]; n.sixties > 0 && c.d.Unit != want {
		return wrongAt(at("sixties"), "= %d makes one number of all parts, counted in %s: write unit = %q at the top of the file", n.sixties, want, want)
	}
	n.settle()
	c.numbers[style] = n
	return nil
}

func (n *number) set(key string, v any) error {
	text, isText := v.(string)
	whole, isInt := v.(int64)
	flag, isBool := v.(bool)
	switch key {
	case "sign":
		switch text {
		case "optional":
		case "required":
			n.required = true
		case "none":
			n.before = false
		case "after":
			n.before, n.after = false, true
		case "either":
			n.after = true
		default:
			return fmt.Errorf("= %s; expected optional, required, none, after (the digits) or either", asWritten(v))
		}
	case "point":
		switch text {
		case ".":
		case ",":
			n.point, n.comma = false, true
		case "either":
			n.comma = true
		case "none":
			n.point = false
		default:
			return fmt.Errorf(`= %s; expected ".", ",", either or none`, asWritten(v))
		}
	case "decimals":
		if !isInt || whole < 0 || whole > 18 {
			return fmt.Errorf("= %s; expected how many places a number without a point has, 0 to 18", asWritten(v))
		}
		n.decimals = int8(whole)
	case "scale":
		s, err := quantity.ParseDecimal(text)
		if !isText || err != nil || s.Coef == 0 {
			return fmt.Errorf(`= %s; expected a number in quotes that every value is multiplied by, such as "0.001"`, asWritten(v))
		}
		n.scale, n.scaled = s, true
	case "fractions", "exponent", "whole", "low_first":
		if !isBool {
			return fmt.Errorf("= %s; expected true or false", asWritten(v))
		}
		switch key {
		case "fractions":
			n.fractions = flag
		case "exponent":
			n.exponent = flag
		case "low_first":
			n.lowFirst = flag
		case "whole":
			n.needPoint = !flag
		}
	case "base":
		n.hex, n.binary, n.bcd = isInt && whole == 16, isInt && whole == 256, text == "bcd"
		if !n.hex && !n.packed() && !(isInt && whole == 10) {
			return fmt.Errorf(`= %s; expected 10, 16 (hex digits), 256 (bytes) or "bcd" (two digits in a byte)`, asWritten(v))
		}
	case "group":
		if len(text) != 1 || strings.IndexByte(",.'_ ", text[0]) < 0 {
			return fmt.Errorf(`= %s; expected the character between thousands: "," "." "'" "_" or " "`, asWritten(v))
		}
		n.group = text[0]
	case "sixties":
		if !isInt || whole < 1 || whole > 2 {
			return fmt.Errorf(`= %s; expected 1 (degrees and minutes) or 2 (degrees, minutes and seconds)`, asWritten(v))
		}
		n.sixties = int(whole)
	case "bits":
		if !isInt || whole < 4 || whole > 58 {
			return fmt.Errorf("= %s; expected how many bits a two's complement number has, 4 to 58", asWritten(v))
		}
		n.bits = int(whole)
	default:
		return fmt.Errorf("is not a key of [number]%s; expected one of %s", didYouMean(key, known["number"]), listOf(known["number"]))
	}
	return nil
}

func (c *compiler) numberStyle(style string) (*number, error) {
	if n := c.numbers[style]; n != nil {
		return n, nil
	}
	return nil, fmt.Errorf("refers to [number.%s], which the file does not have", style)
}

// asWritten shows a value as the file has it.
func asWritten(v any) string {
	if s, ok := v.(string); ok {
		return strconv.Quote(s)
	}
	return fmt.Sprint(v)
}
