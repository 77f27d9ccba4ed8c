package sums

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"thouwright/internal/fits"
	"thouwright/internal/quantity"
)

// value is one input as read: in the kind's own unit (mm, deg, N, MPa, °C).
type value struct {
	text      string
	num       float64
	u95       float64 // 0 where none was given
	low, high float64 // of a span; infinite where open; low = high = num for one value
	span      bool
	unit      quantity.Unit // as typed
	word      string        // of a link: play, arm or ratio
	class     fits.Class    // instead of a span
}

// values are a sum's inputs after reading. The run functions take them through
// the methods below; a field name that the sum lacks panics, so a test that runs
// every sum finds a misspelt one.
type values struct {
	sum  *Sum
	unit quantity.Unit
	m    map[string][]value
}

func (v *values) get(name string) []value {
	if _, ok := v.sum.Field(name); !ok {
		panic("sums: " + v.sum.Verb + " has no field " + name)
	}
	return v.m[name]
}

// has tells whether a field is given (or has a default).
func (v *values) has(name string) bool { return len(v.get(name)) > 0 }

// one is a field's first value; the zero value if not given.
func (v *values) one(name string) value {
	if l := v.get(name); len(l) > 0 {
		return l[0]
	}
	return value{}
}

func (v *values) num(name string) float64 { return v.one(name).num }
func (v *values) text(name string) string { return v.one(name).text }
func (v *values) on(name string) bool     { return v.one(name).text == "yes" }
func (v *values) count(name string) int   { return int(v.one(name).num) }

// positive is a number that has to be above zero.
func (v *values) positive(name string) (float64, error) {
	x := v.num(name)
	if !(x > 0) {
		return 0, fmt.Errorf("--%s %s: has to be more than zero", name, v.text(name))
	}
	return x, nil
}

// closed is a span whose two ends have to be given.
func (v *values) closed(name string) (low, high float64, err error) {
	x := v.one(name)
	if math.IsInf(x.low, 0) || math.IsInf(x.high, 0) {
		return 0, 0, fmt.Errorf("--%s %s: both ends are needed, as in 0.009..0.050 mm", name, x.text)
	}
	return x.low, x.high, nil
}

// missing is the error for an input that is needed after all.
func missing(name, why string) error { return fmt.Errorf("--%s is missing: %s", name, why) }

// read turns what was typed into values, with defaults filled in.
func (s *Sum) read(in Inputs, unit quantity.Unit) (*values, error) {
	v := &values{sum: s, unit: unit, m: map[string][]value{}}
	for name := range in {
		if _, ok := s.Field(name); !ok {
			return nil, fmt.Errorf("%s has no %q: it takes %s", s.Verb, name, s.fieldNames())
		}
	}
	for i := range s.Fields {
		f := &s.Fields[i]
		texts := clean(in[f.Name], f.Many)
		if len(texts) == 0 && f.Default != "" {
			texts = []string{f.Default}
		}
		if len(texts) == 0 && f.Required {
			return nil, fmt.Errorf("%s is missing: %s, such as %s", f.flag(), f.Label, f.Example)
		}
		if len(texts) > 1 && !f.Many {
			return nil, fmt.Errorf("%s is given %d times: once is enough", f.flag(), len(texts))
		}
		for _, t := range texts {
			x, err := f.parse(t, unit)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", f.flag(), err)
			}
			v.m[f.Name] = append(v.m[f.Name], x)
		}
	}
	return v, nil
}

func (f *Field) flag() string {
	if f.Positional {
		return f.Name
	}
	return "--" + f.Name
}

func (s *Sum) fieldNames() string {
	var n []string
	for _, f := range s.Fields {
		n = append(n, f.Name)
	}
	return strings.Join(n, ", ")
}

// clean drops blank texts and, where many are allowed, splits at commas.
func clean(texts []string, many bool) (out []string) {
	for _, t := range texts {
		parts := []string{t}
		if many {
			parts = strings.Split(t, ",")
		}
		for _, p := range parts {
			if p = strings.TrimSpace(p); p != "" {
				out = append(out, p)
			}
		}
	}
	return out
}

// parse reads one text of the field's kind.
func (f *Field) parse(t string, unit quantity.Unit) (value, error) {
	x := value{text: t}
	switch f.Kind {
	case Text:
		return x, nil
	case Choice:
		if !slices.Contains(f.Choices, t) {
			t = strings.ReplaceAll(t, "-", " ") // "cast-iron" needs no quotes
			x.text = t
		}
		if !slices.Contains(f.Choices, t) {
			return x, fmt.Errorf("%q is not one of %s", t, strings.Join(f.Choices, ", "))
		}
		return x, nil
	case Switch:
		switch t {
		case "yes", "true", "on", "1":
			x.text = "yes"
		case "no", "false", "off", "0":
			x.text = "no"
		default:
			return x, fmt.Errorf("%q is neither yes nor no", t)
		}
		return x, nil
	case Count:
		n, err := strconv.Atoi(t)
		if err != nil || n < 1 || n > 1000 {
			return x, fmt.Errorf("%q is not a whole number from 1 to 1000", t)
		}
		x.num = float64(n)
		return x, nil
	case Share:
		word, percent := strings.CutSuffix(t, "%")
		n, err := strconv.ParseFloat(strings.TrimSpace(word), 64)
		if percent {
			n /= 100
		}
		if err != nil || !(n > 0.5 && n < 1) {
			return x, fmt.Errorf("%q is not a share between 0.5 and 1, such as 0.95", t)
		}
		x.num = n
		return x, nil
	case Number:
		m, err := quantity.ParseMeasured(t)
		if err != nil || m.Unit != quantity.None {
			return x, fmt.Errorf("%q is not a number", t)
		}
		x.num, x.u95 = m.Value.Float(), m.U95.Float()
		return x, nil
	}
	if f.Kind == Link {
		return f.link(t, unit)
	}
	if f.Class {
		if c, err := fits.ParseClass(t); err == nil {
			x.class = c
			return x, nil
		}
	}
	if f.Kind == Span && strings.Contains(t, "..") {
		r, err := quantity.ParseRange(t)
		if err != nil {
			return x, err
		}
		if r.Unit, err = f.unitOr(t, r.Unit, unit); err != nil {
			return x, err
		}
		x.unit, x.span = r.Unit, true
		if x.low, x.high, err = r.In(f.base()); err != nil {
			return x, f.wrongUnit(t)
		}
		x.text = r.String()
		x.num = (x.low + x.high) / 2
		return x, nil
	}
	m, err := quantity.ParseMeasured(t)
	if err != nil {
		return x, err
	}
	if m.Unit, err = f.unitOr(t, m.Unit, unit); err != nil {
		return x, err
	}
	if x.num, err = m.In(f.base()); err != nil {
		return x, f.wrongUnit(t)
	}
	if f.base() == quantity.DegC && x.num < absoluteZero {
		return x, fmt.Errorf("%q is below absolute zero", t)
	}
	if m.HasU95 {
		x.u95, err = quantity.Quantity{Value: m.U95, Unit: m.Unit}.In(f.base())
		if f.base() == quantity.DegC { // a difference, not a temperature
			zero, _ := quantity.Quantity{Unit: m.Unit}.In(f.base())
			x.u95 -= zero
		}
	}
	x.low, x.high, x.unit, x.text = x.num, x.num, m.Unit, m.String()
	if f.Wanted && m.HasU95 { // limits written as a middle and a tolerance
		x.low, x.high, x.u95, x.span = x.num-x.u95, x.num+x.u95, 0, true
	}
	return x, err
}

const absoluteZero = -273.15 // °C

// unitOr gives a number without a unit the field's own: mm for a length. Where
// the answer is asked for in another unit of length it could mean either, and a
// wrong guess would be machined, so it is refused.
func (f *Field) unitOr(t string, u, asked quantity.Unit) (quantity.Unit, error) {
	if u != quantity.None || f.Unit == quantity.None {
		return u, nil
	}
	if f.Unit == quantity.MM {
		return bareLength(t, asked)
	}
	return f.Unit, nil
}

// bareLength is the unit of a length written without one.
func bareLength(t string, asked quantity.Unit) (quantity.Unit, error) {
	if asked != quantity.MM {
		return 0, fmt.Errorf("%q has no unit, and with --unit %s it could be mm or %s: write which", t, asked, asked)
	}
	return quantity.MM, nil
}

// base is the unit in which the sums work.
func (f *Field) base() quantity.Unit {
	switch f.Unit.Kind() {
	case quantity.Length:
		return quantity.MM
	case quantity.Angle:
		return quantity.Deg
	case quantity.Force:
		return quantity.N
	case quantity.Torque:
		return quantity.NM
	case quantity.Stress:
		return quantity.MPa
	case quantity.Temperature:
		return quantity.DegC
	}
	return quantity.None
}

func (f *Field) wrongUnit(t string) error {
	return fmt.Errorf("%q does not measure %s; expected something like %s", t, f.Label, f.Example)
}
