package sums

import (
	"fmt"
	"slices"
	"strings"

	"thouwright/internal/form"
	"thouwright/internal/quantity"
)

// Options are what every sum's command line takes besides its fields.
type Options struct {
	JSON, Help bool
	Unit       quantity.Unit // None where not asked
}

// ParseArgs reads a sum's command line: --name value or --name=value for each
// field, the positional field without a flag, and --json, --unit and --help.
// Quantities need no quotes: in "--shaft 31.87 mm" the unit belongs to the
// number.
func (s Sum) ParseArgs(args []string) (in Inputs, o Options, err error) {
	in = Inputs{}
	var words []string // of the positional field
	for i := 0; i < len(args); {
		arg := args[i]
		i++
		if arg == "--" {
			words = append(words, args[i:]...)
			break
		}
		if !isFlag(arg) {
			words = append(words, arg)
			continue
		}
		name, value, has := strings.Cut(strings.TrimLeft(arg, "-"), "=")
		switch {
		case arg == "-h" || name == "help":
			o.Help = true
			continue
		case name == "json" && !has:
			o.JSON = true
			continue
		}
		f, known := s.Field(name)
		if name == "unit" {
			f, known = Field{Name: "unit", Kind: Text, Example: "thou"}, true
		}
		if !known || f.Positional || !strings.HasPrefix(arg, "--") {
			return nil, o, fmt.Errorf("%s has no flag %s%s", s.Verb, arg, s.likely(name))
		}
		if f.Kind == Switch {
			if !has {
				value = "yes"
			}
			in[name] = append(in[name], value)
			continue
		}
		if !has {
			if i >= len(args) || isFlag(args[i]) {
				return nil, o, fmt.Errorf("--%s needs a value, such as %s", name, example(f))
			}
			value = args[i]
			i++
			if f.Kind <= Number {
				for i < len(args) && !isFlag(args[i]) && belongs(value, args[i]) {
					value += " " + args[i]
					i++
				}
			}
		}
		if name == "unit" {
			u, err := quantity.ParseUnit(value)
			if err != nil || !u.IsLength() {
				return nil, o, fmt.Errorf("--unit %s: expected mm, um, in or thou", value)
			}
			o.Unit = u
			continue
		}
		in[name] = append(in[name], value)
	}
	if len(words) > 0 {
		p, ok := s.positional()
		if !ok {
			return nil, o, fmt.Errorf("%s does not know what to do with %q: its inputs have flags, as in %s", s.Verb, strings.Join(words, " "), s.Examples[0])
		}
		in[p.Name] = []string{strings.Join(words, " ")}
	}
	return in, o, nil
}

func (s Sum) positional() (Field, bool) {
	for _, f := range s.Fields {
		if f.Positional {
			return f, true
		}
	}
	return Field{}, false
}

// isFlag tells a flag from a negative number.
func isFlag(arg string) bool {
	return len(arg) > 1 && arg[0] == '-' && (arg[1] < '0' || arg[1] > '9') && arg[1] != '.'
}

// belongs tells whether the next argument goes on with a quantity begun before
// it: its unit, its ±, or the other end of a range.
func belongs(value, next string) bool {
	for _, sign := range []string{"±", "+/-", "+-", ".."} {
		if strings.HasSuffix(value, sign) || strings.HasPrefix(next, sign) {
			return true
		}
	}
	u, err := quantity.ParseUnit(next)
	return err == nil && u != quantity.None
}

func example(f Field) string {
	switch {
	case f.Example != "":
		return f.Example
	case f.Default != "":
		return f.Default
	case len(f.Choices) > 0:
		return f.Choices[0]
	}
	return "a value"
}

// likely suggests the flag that a misspelt one was meant to be.
func (s Sum) likely(name string) string {
	flags := []string{"json", "unit", "help"}
	for _, f := range s.Fields {
		if !f.Positional {
			flags = append(flags, f.Name)
		}
	}
	if best := form.Likely(name, flags); best != "" {
		return ": did you mean --" + best + "?"
	}
	return ": see --help"
}

// Help is the sum's help text.
func (s Sum) Help() string {
	var b strings.Builder
	fmt.Fprintf(&b, "Usage: thouwright calc %s", s.Verb)
	if p, ok := s.positional(); ok {
		if p.Required {
			fmt.Fprintf(&b, " %s", strings.ToUpper(p.Name))
		} else {
			fmt.Fprintf(&b, " [%s]", strings.ToUpper(p.Name))
		}
	}
	fmt.Fprintf(&b, " [flags]\n\n%s\n\n", s.About)
	for _, f := range s.Fields {
		name := "--" + f.Name
		if f.Positional {
			name = strings.ToUpper(f.Name)
		}
		if f.Kind != Switch && !f.Positional {
			name += " '" + example(f) + "'"
		}
		text := f.Label
		if f.Help != "" {
			text += ". " + f.Help
		}
		switch {
		case f.Required:
			text += " (needed)"
		case f.Default != "":
			text += " (" + f.Default + " if not given)"
		}
		if f.Many {
			text += " (may be repeated)"
		}
		fmt.Fprintf(&b, "  %s\n        %s\n", name, text)
	}
	b.WriteString("  --unit 'thou'\n        unit of the answer: mm, um, in, thou (mm if not given)\n")
	b.WriteString("  --json\n        print one JSON object\n")
	b.WriteString("\nResults, by their JSON keys:\n")
	for _, r := range s.results() {
		fmt.Fprintf(&b, "  %s: %s\n", r.Name, r.Label)
	}
	fmt.Fprintf(&b, "\nQuantities are written 0.050 mm, 2 thou, 31.87 ± 0.003 mm; a range is 0.009..0.050 mm or, of what is wanted, 0.030 ± 0.020 mm.\nFormula: %s.\nSource: %s.\n\nExamples:\n", s.Formula, s.Source)
	for _, e := range s.Examples {
		fmt.Fprintf(&b, "  %s\n", e)
	}
	return b.String()
}

// results are what the sum's examples give, each key once.
func (s Sum) results() (out []Result) {
	for _, e := range s.Examples {
		in, o, err := s.ParseArgs(shellWords(strings.TrimPrefix(e, "thouwright calc "+s.Verb)))
		if err != nil {
			continue // a test runs every example
		}
		a, err := s.Run(in, o.Unit)
		if err != nil {
			continue
		}
		for _, r := range a.Results {
			if !slices.ContainsFunc(out, func(x Result) bool { return x.Name == r.Name }) {
				out = append(out, r)
			}
		}
	}
	return out
}

// shellWords splits an example as a shell does, single quotes included.
func shellWords(s string) (out []string) {
	quoted, open := false, false
	word := ""
	for _, r := range s {
		switch {
		case r == '\'':
			quoted, open = !quoted, true
		case r == ' ' && !quoted:
			if open {
				out = append(out, word)
			}
			word, open = "", false
		default:
			word += string(r)
			open = true
		}
	}
	if open {
		out = append(out, word)
	}
	return out
}
