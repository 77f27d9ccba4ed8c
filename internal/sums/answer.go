package sums

import (
	"math"
	"strconv"
	"strings"

	"thouwright/internal/quantity"
)

// Answer is what a sum says: its formula's name, its inputs back, the results,
// what they assume, and the cautions that apply.
type Answer struct {
	Verb, Title     string
	Formula, Source string
	Unit            quantity.Unit // the unit asked for lengths
	Given           []Given
	Results         []Result
	Assumes         []string
	Notes           []string // advice and what is to be watched
	Cautions        []string
	Failed          bool // asked rightly, and there is none (no shims fit)

	unsure bool // no result can be shown to lie within what is wanted
}

// Given is one input read back.
type Given struct{ Name, Label, Text string }

// Form is the shape of a result.
type Form uint8

// The forms.
const (
	Value Form = iota // one number
	Band              // Low..High; infinite where open
	Word              // Text
	List              // Words
	Flag              // Yes
)

// Result is one line of an answer. Numbers are in Unit; a length is held in mm
// and shown in the answer's unit.
type Result struct {
	Name, Label string
	Form        Form
	Unit        quantity.Unit
	Value       float64
	Low, High   float64
	U95         float64 // expanded uncertainty carried from the inputs, 0 if none
	Text        string
	Words       []string
	Yes         bool
	Exact       *quantity.Decimal // shown just so, in Unit, instead of Value
	Quiet       bool              // for scripts: in the JSON, not among the lines

	settled bool // not an estimate: no uncertainty is carried into it
	inward  bool // limits to work to: shown rounded into the tolerance
	drawn   bool // such limits, drawn in by the uncertainty that the inputs give them
}

func (a *Answer) add(r Result) { a.Results = append(a.Results, r) }

func (a *Answer) value(name, label string, u quantity.Unit, v float64) {
	a.add(Result{Name: name, Label: label, Unit: u, Value: v})
}

func (a *Answer) length(name, label string, mm float64) { a.value(name, label, quantity.MM, mm) }

func (a *Answer) band(name, label string, u quantity.Unit, low, high float64) {
	a.add(Result{Name: name, Label: label, Form: Band, Unit: u, Low: low + 0, High: high + 0}) // no -0
}

// limits is a band to work to: a decision, not an estimate.
func (a *Answer) limits(name, label string, low, high float64) {
	a.add(Result{Name: name, Label: label, Form: Band, Unit: quantity.MM, Low: low, High: high, settled: true, inward: true})
}

// within tells whether low..high, widened by the ± of both ends, stays within a
// span. A hair of float64 noise does not take it out.
func (a *Answer) within(low, high, u95 float64, wanted value) {
	const hair = 1e-9 // mm
	label := "all of it within the clearance wanted"
	if u95 > 0 {
		label += ", its ± counted"
	}
	a.flag("within", label, low-u95 >= wanted.low-hair && high+u95 <= wanted.high+hair)
}

// settle is a length that is a decision.
func (a *Answer) settle(name, label string, mm float64) {
	a.add(Result{Name: name, Label: label, Unit: quantity.MM, Value: mm, settled: true})
}

func (a *Answer) word(name, label, text string) {
	a.add(Result{Name: name, Label: label, Form: Word, Text: text})
}

func (a *Answer) list(name, label string, words []string) {
	a.add(Result{Name: name, Label: label, Form: List, Words: words})
}

func (a *Answer) flag(name, label string, yes bool) {
	a.add(Result{Name: name, Label: label, Form: Flag, Yes: yes})
}

func (a *Answer) assume(s string) { a.Assumes = append(a.Assumes, s) }
func (a *Answer) note(s string)   { a.Notes = append(a.Notes, s) }

// Result finds a result by name.
func (a *Answer) Result(name string) (Result, bool) {
	for _, r := range a.Results {
		if r.Name == name {
			return r, true
		}
	}
	return Result{}, false
}

// readBack lists the inputs as they were understood, defaults included.
func (s *Sum) readBack(v *values) (g []Given) {
	for _, f := range s.Fields {
		for _, x := range v.m[f.Name] {
			if f.Kind == Switch && x.text == "no" {
				continue
			}
			g = append(g, Given{f.Name, f.Label, x.text})
		}
	}
	return g
}

// places are the digits shown of a length: a tenth of a micrometre or finer.
var places = map[quantity.Unit]int{quantity.MM: 4, quantity.UM: 1, quantity.CM: 5, quantity.M: 7, quantity.In: 5, quantity.Thou: 2, quantity.Ft: 7, quantity.Uin: 0}

// number writes v in u as people read it.
func number(v float64, u quantity.Unit) string {
	s := digits(v, u)
	if isZero(s) {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

func digits(v float64, u quantity.Unit) string {
	if n, ok := places[u]; ok {
		return strconv.FormatFloat(v, 'f', n, 64)
	}
	switch a := math.Abs(v); {
	case u == quantity.None && v == math.Trunc(v) && a < 1e9:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case u == quantity.Deg:
		return strconv.FormatFloat(v, 'f', 2, 64)
	case a >= 1000:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case a >= 100:
		return strconv.FormatFloat(v, 'f', 1, 64)
	case a >= 1:
		return strconv.FormatFloat(v, 'f', 2, 64)
	}
	return strconv.FormatFloat(v, 'g', 4, 64)
}

func isZero(s string) bool {
	for i := range s {
		if s[i] >= '1' && s[i] <= '9' {
			return false
		}
	}
	return true
}

// inUnit converts a result's number for showing: a length, held in mm, to the
// asked unit, and others where they can be.
func (r Result) inUnit(v float64, asked quantity.Unit) (float64, quantity.Unit) {
	from := r.Unit
	if from.IsLength() {
		from = quantity.MM
	}
	if math.IsInf(v, 0) {
		return v, r.Unit
	}
	x, err := quantity.Convert(v, from, asked)
	if err != nil {
		return v, r.Unit
	}
	return x, asked
}

// Say is the result for people: in the asked unit, and in mm and inches.
func (r Result) Say(asked quantity.Unit) string {
	switch r.Form {
	case Word:
		return r.Text
	case Flag:
		if r.Yes {
			return "yes"
		}
		return "no"
	case List:
		s := ""
		for i, w := range r.Words {
			if i > 0 {
				s += ", "
			}
			s += w
		}
		if s == "" {
			return "none"
		}
		return s
	}
	if r.Exact != nil {
		return strings.TrimSpace(r.Exact.String() + " " + r.Unit.String())
	}
	if !r.Unit.IsLength() {
		if u, ok := imperial[r.Unit]; ok {
			return r.in(r.Unit) + " (" + r.in(u) + ")"
		}
		return r.in(r.Unit)
	}
	s := r.in(asked)
	rest := ""
	for _, u := range []quantity.Unit{quantity.MM, quantity.In} {
		if u == asked {
			continue
		}
		if rest != "" {
			rest += ", "
		}
		rest += r.in(u)
	}
	return s + " (" + rest + ")"
}

// imperial is what a force or stress is also shown in.
var imperial = map[quantity.Unit]quantity.Unit{quantity.N: quantity.Lbf, quantity.MPa: quantity.Psi}

// in writes the result's numbers in one unit.
func (r Result) in(u quantity.Unit) string {
	n := func(v float64) string {
		if math.IsInf(v, 0) {
			return ""
		}
		x, shown := r.inUnit(v, u)
		return number(x, shown)
	}
	s := n(r.Value)
	if r.Form == Band {
		low, high := r.Low, r.High
		if r.inward {
			// Between limits closer than a last digit no figure lies.
			if l, h := r.shown(low, u, math.Ceil), r.shown(high, u, math.Floor); l <= h {
				low, high = l, h
			}
		}
		if s = n(low); s != n(high) {
			s += ".." + n(high)
		}
	}
	if u := n(r.U95); !isZero(u) { // too small to show is not shown; scripts get it
		s += " ± " + u
	}
	if u == quantity.None {
		return s
	}
	return s + " " + u.String()
}

// shown is the length in mm that the digits shown in u stand for, rounded one way.
// A hair of float64 noise is not a digit.
func (r Result) shown(mm float64, u quantity.Unit, way func(float64) float64) float64 {
	x, _ := r.inUnit(mm, u)
	p := math.Pow(10, float64(places[u]))
	hair := 1e-6
	if way(0.5) > 0 {
		hair = -hair
	}
	back, err := quantity.Convert(way(x*p+hair)/p, u, quantity.MM)
	if err != nil || math.IsInf(mm, 0) {
		return mm
	}
	return back
}

// Lines is the answer for people, one line each, without its cautions.
func (a *Answer) Lines() []string {
	l := []string{a.Title, "  formula  " + a.Formula, "  source   " + a.Source}
	for _, g := range a.Given {
		l = append(l, "  given    "+g.Label+": "+g.Text)
	}
	for _, r := range a.Results {
		if !r.Quiet {
			l = append(l, "  =        "+r.Label+": "+r.Say(a.Unit))
		}
	}
	for _, s := range a.Notes {
		l = append(l, "  note     "+s)
	}
	for _, s := range a.Assumes {
		l = append(l, "  assumes  "+s)
	}
	return l
}
