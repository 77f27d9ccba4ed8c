// Package sums holds the trade's sums: from what was measured to what is to be
// machined, turned or fitted. Each sum is one definition, and the command's
// arguments, the page's forms and the record's lines are all made from it. It is
// pure.
package sums

import (
	"thouwright/internal/quantity"
)

// Kind is what a field holds.
type Kind uint8

// The kinds of field.
const (
	Quantity Kind = iota // "31.87 mm", "31.87 ± 0.004 mm"
	Span                 // "0.009..0.050 mm", or one quantity
	Number               // a bare number, "18", "0.3"
	Count                // a whole number, 1 or more
	Share                // "0.95" or "95 %"
	Text                 // words with a meaning of their own, as "32 H7/g6"
	Choice               // one of Choices
	Switch               // on or off
	Link                 // of a chain: "arm 150 mm", "ratio 18", "play 0.2 ± 0.05 mm"
)

// Field is one input of a sum.
type Field struct {
	Name       string // the flag, the form's name and the key: "housing-od"
	Label      string // for people: "outside diameter of the housing"
	Kind       Kind
	Unit       quantity.Unit // what it measures; a number without a unit is in this
	Required   bool
	Default    string
	Help       string // one line: what it is, and what is done without it
	Example    string // shown in an empty form and in the help
	Many       bool   // may be given more than once, or with commas
	Positional bool   // stands without a flag on the command line
	Choices    []string
	Class      bool // a tolerance class ("H7") may stand instead of a span
	Wanted     bool // a span to be kept: a ± in it is a tolerance, not an uncertainty
}

// Sum is one of the trade's sums.
type Sum struct {
	Verb     string // the command's word
	Title    string // for people
	About    string // what it answers, one or two sentences
	Fields   []Field
	Formula  string // the formula's name
	Source   string // where it comes from
	Examples []string
	Picture  string // the geometry as inline SVG, drawn in currentColor
	Cautions []string

	run   func(v *values) (*Answer, error)
	judge func(v *values, a *Answer) // after run: what the results mean with their ±
}

// All is every sum, in the order of the command's help.
func All() []Sum {
	return []Sum{convertSum, fitSum, bushSum, pressSum, warmSum, turnSum, shimSum, lashSum, tiltSum}
}

// Find is the sum of a verb.
func Find(verb string) (Sum, bool) {
	for _, s := range All() {
		if s.Verb == verb {
			return s, true
		}
	}
	return Sum{}, false
}

// Field finds one of the sum's fields by name.
func (s Sum) Field(name string) (Field, bool) {
	for _, f := range s.Fields {
		if f.Name == name {
			return f, true
		}
	}
	return Field{}, false
}

// Inputs are what a person typed, by field name. A field not in it, or blank, is
// not given.
type Inputs map[string][]string

// Run does the sum; the answer speaks in the asked unit (mm, um, in or thou; None
// is mm). A length without a unit is in mm, and refused if another unit is asked. Inputs given with an
// uncertainty ("31.87 ± 0.004 mm") give results with one. An error is one line
// for the person who typed.
func (s Sum) Run(in Inputs, unit quantity.Unit) (*Answer, error) {
	if unit == quantity.None {
		unit = quantity.MM
	}
	v, err := s.read(in, unit)
	if err != nil {
		return nil, err
	}
	a, err := s.run(v)
	if err != nil {
		return nil, err
	}
	s.spread(v, a)
	if s.judge != nil {
		s.judge(v, a)
	}
	a.Verb, a.Title, a.Source = s.Verb, s.Title, s.Source
	if a.Unit == quantity.None {
		a.Unit = unit
	}
	if a.Formula == "" {
		a.Formula = s.Formula
	}
	a.Given = s.readBack(v)
	a.Cautions = append(a.Cautions, s.Cautions...)
	return a, nil
}
