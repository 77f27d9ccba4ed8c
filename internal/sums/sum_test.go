package sums

import (
	"encoding/json"
	"encoding/xml"
	"io"
	"strings"
	"testing"

	"thouwright/internal/quantity"
)

// do runs a sum from a command line without its verb.
func do(t *testing.T, verb, line string) (*Answer, error) {
	t.Helper()
	s, ok := Find(verb)
	if !ok {
		t.Fatalf("no sum %q", verb)
	}
	in, o, err := s.ParseArgs(shellWords(line))
	if err != nil {
		return nil, err
	}
	return s.Run(in, o.Unit)
}

// must is do without an error.
func must(t *testing.T, verb, line string) *Answer {
	t.Helper()
	a, err := do(t, verb, line)
	if err != nil {
		t.Fatalf("calc %s %s: %v", verb, line, err)
	}
	return a
}

// result is one of an answer's results, which must be there.
func result(t *testing.T, a *Answer, name string) Result {
	t.Helper()
	r, ok := a.Result(name)
	if !ok {
		t.Fatalf("%s: no result %q", a.Verb, name)
	}
	return r
}

// TestEveryExample: the examples of the help work, in every unit, and each
// prints formula, inputs, results in mm and inches, assumptions and cautions.
func TestEveryExample(t *testing.T) {
	seen := map[string]bool{}
	for _, s := range All() {
		for _, e := range s.Examples {
			line, ok := strings.CutPrefix(e, "thouwright calc "+s.Verb+" ")
			if !ok {
				t.Errorf("%s: its example is %q", s.Verb, e)
			}
			seen[s.Verb] = true
			for _, unit := range []string{"mm", "in"} {
				a, err := do(t, s.Verb, line)
				if unit == "in" && err == nil {
					in, _, _ := s.ParseArgs(shellWords(line))
					b, err := s.Run(in, quantity.In)
					if err != nil && strings.Contains(err.Error(), "has no unit") {
						continue // refused on purpose: mm or inches?
					}
					if err != nil {
						t.Errorf("%s in inches: %v", e, err)
						continue
					}
					a = b
				}
				if err != nil {
					t.Errorf("%s: %v", e, err)
					continue
				}
				if len(a.Given) == 0 || len(a.Results) == 0 || a.Formula == "" || a.Source == "" {
					t.Errorf("%s: given %v, results %v, formula %q", e, a.Given, a.Results, a.Formula)
				}
				if len(a.Assumes) == 0 || s.Verb != "convert" && len(a.Cautions) == 0 {
					t.Errorf("%s: assumes %v, cautions %v", e, a.Assumes, a.Cautions)
				}
				text := strings.Join(a.Lines(), "\n")
				if s.Verb != "convert" && (!strings.Contains(text, " mm") || !strings.Contains(text, " in")) {
					t.Errorf("%s prints no mm and inches:\n%s", e, text)
				}
				j, err := json.Marshal(a)
				var back map[string]any
				if err != nil || json.Unmarshal(j, &back) != nil || back["sum"] != s.Verb {
					t.Errorf("%s: JSON %s, %v", e, j, err)
				}
			}
		}
	}
	if len(seen) != 9 {
		t.Errorf("%d sums have examples, expected all 9", len(seen))
	}
}

// TestDefinitions: every sum has what the command, the page and the record make
// of it.
func TestDefinitions(t *testing.T) {
	reserved := map[string]bool{"json": true, "unit": true, "help": true, "sum": true, "given": true}
	for _, s := range All() {
		names := map[string]bool{}
		for _, f := range s.Fields {
			if f.Name == "" || f.Label == "" || names[f.Name] || reserved[f.Name] {
				t.Errorf("%s: field %+v is nameless or given twice", s.Verb, f)
			}
			names[f.Name] = true
			if strings.Contains(f.Label+f.Help+s.About, "--") {
				t.Errorf("%s --%s: a form has no flags: %q", s.Verb, f.Name, f.Help)
			}
			if f.Default != "" {
				if _, err := f.parse(f.Default, quantity.MM); err != nil {
					t.Errorf("%s --%s: its default: %v", s.Verb, f.Name, err)
				}
			}
			if f.Kind <= Number && f.Default == "" && f.Example == "" {
				t.Errorf("%s --%s has no example", s.Verb, f.Name)
			}
			for _, x := range clean([]string{f.Example}, f.Many) {
				if _, err := f.parse(x, quantity.MM); err != nil && f.Kind != Text {
					t.Errorf("%s --%s: its example: %v", s.Verb, f.Name, err)
				}
			}
			if !strings.Contains(s.Help(), f.Label) {
				t.Errorf("%s --%s is not in the help", s.Verb, f.Name)
			}
		}
		d := xml.NewDecoder(strings.NewReader(s.Picture))
		for {
			tok, err := d.Token()
			if err == io.EOF {
				break
			} else if err != nil {
				t.Fatalf("%s: its picture: %v", s.Verb, err)
			}
			if e, ok := tok.(xml.StartElement); ok {
				seen := map[string]bool{}
				for _, a := range e.Attr {
					if seen[a.Name.Local] || a.Name.Local == "class" {
						t.Errorf("%s: its picture: <%s> has %s twice, or a class", s.Verb, e.Name.Local, a.Name.Local)
					}
					seen[a.Name.Local] = true
				}
			}
		}
		if !strings.Contains(s.Picture, "currentColor") || !strings.Contains(s.Picture, "viewBox") {
			t.Errorf("%s: its picture has no currentColor or viewBox", s.Verb)
		}
	}
}
