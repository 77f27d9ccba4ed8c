package sums

import (
	"fmt"
	"strings"

	"thouwright/internal/quantity"
)

// Desk offers the sums to the page. Unit tells the unit in which answers are
// shown; nil is mm. A form may ask for another with a field "unit".
type Desk struct{ Unit func() quantity.Unit }

var kindWords = [...]string{"quantity", "span", "number", "count", "share", "text", "choice", "switch", "link"}

// String is the word a form uses.
func (k Kind) String() string { return kindWords[k] }

type fieldForm struct {
	Name     string   `json:"name"`
	Label    string   `json:"label"`
	Kind     string   `json:"kind"`
	Unit     string   `json:"unit,omitempty"`
	Required bool     `json:"required,omitempty"`
	Default  string   `json:"default,omitempty"`
	Help     string   `json:"help,omitempty"`
	Example  string   `json:"example,omitempty"`
	Many     bool     `json:"many,omitempty"`
	Choices  []string `json:"choices,omitempty"`
}

type sumForm struct {
	Verb     string      `json:"verb"`
	Title    string      `json:"title"`
	About    string      `json:"about"`
	Formula  string      `json:"formula"`
	Source   string      `json:"source"`
	Picture  string      `json:"picture"`
	Examples []string    `json:"examples"`
	Cautions []string    `json:"cautions"`
	Fields   []fieldForm `json:"fields"`
}

// Definitions is what the forms are made from, as JSON.
func (d Desk) Definitions() any {
	var out []sumForm
	for _, s := range All() {
		f := sumForm{s.Verb, s.Title, s.About, s.Formula, s.Source, s.Picture, s.Examples, append([]string{}, s.Cautions...), nil}
		for _, x := range s.Fields {
			f.Fields = append(f.Fields, fieldForm{x.Name, x.Label, x.Kind.String(), x.Unit.String(), x.Required, x.Default, x.Help, x.Example, x.Many, x.Choices})
		}
		out = append(out, f)
	}
	return out
}

// resultForm is one result as the page shows it.
type resultForm struct {
	Name  string   `json:"name"`
	Label string   `json:"label"`
	Text  string   `json:"text"`
	List  []string `json:"list,omitempty"`
	Sure  *bool    `json:"yes,omitempty"`
}

type answerForm struct {
	Verb     string       `json:"verb"`
	Title    string       `json:"title"`
	Formula  string       `json:"formula"`
	Source   string       `json:"source"`
	Given    []resultForm `json:"given"`
	Results  []resultForm `json:"results"`
	Notes    []string     `json:"notes"`
	Assumes  []string     `json:"assumes"`
	Cautions []string     `json:"cautions"`
	Failed   bool         `json:"failed"`
	Command  string       `json:"command"`
}

// Work does one sum from the texts of its fields. A field that takes several
// separates them by commas or line ends.
func (d Desk) Work(verb string, fields map[string]string) (any, error) {
	s, ok := Find(verb)
	if !ok {
		return nil, fmt.Errorf("there is no sum %q", verb)
	}
	unit := quantity.MM
	if d.Unit != nil {
		unit = d.Unit()
	}
	in := Inputs{}
	for name, text := range fields {
		if name == "unit" {
			u, err := quantity.ParseUnit(text)
			if err != nil || !u.IsLength() {
				return nil, fmt.Errorf("unit %q: expected mm, um, in or thou", text)
			}
			unit = u
			continue
		}
		if f, ok := s.Field(name); ok && f.Many {
			in[name] = strings.Split(text, "\n")
			continue
		}
		in[name] = []string{text}
	}
	a, err := s.Run(in, unit)
	if err != nil {
		return nil, fmt.Errorf("%s", strings.ReplaceAll(err.Error(), "--", "")) // a form has no flags
	}
	f := answerForm{a.Verb, a.Title, a.Formula, a.Source, nil, nil, append([]string{}, a.Notes...), append([]string{}, a.Assumes...), append([]string{}, a.Cautions...), a.Failed, s.CommandLine(in, unit.String())}
	for _, g := range a.Given {
		f.Given = append(f.Given, resultForm{Name: g.Name, Label: g.Label, Text: g.Text})
	}
	for _, r := range a.Results {
		if r.Quiet {
			continue
		}
		x := resultForm{Name: r.Name, Label: r.Label, Text: r.Say(a.Unit), List: r.Words}
		if r.Form == Flag {
			x.Sure = &r.Yes
		}
		f.Results = append(f.Results, x)
	}
	return f, nil
}
