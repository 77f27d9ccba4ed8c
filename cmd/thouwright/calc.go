package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"thouwright/internal/sums"
)

// calcCmd hands everything behind the verb to the sum's own definition, from
// which its flags are made.
type calcCmd struct {
	JSON bool     `name:"json" help:"Print one JSON object."`
	Unit string   `placeholder:"UNIT" help:"Unit of the answer: mm, um, in, thou."`
	Args []string `arg:"" optional:"" passthrough:"" name:"verb" help:"convert, fit, bush, press, warm, turn, shim, lash or tilt, then its inputs; 'thouwright calc VERB --help' lists them."`
}

// Help lists the sums.
func (c *calcCmd) Help() string {
	var b strings.Builder
	for _, s := range sums.All() {
		fmt.Fprintf(&b, "%-8s %s\n\n", s.Verb, s.About)
	}
	return b.String()
}

// Example ends the help.
func (c *calcCmd) Example() string { return sums.All()[1].Examples[0] }

// Run does one sum.
func (c *calcCmd) Run(ctx *runContext) error {
	var verbs []string
	for _, s := range sums.All() {
		verbs = append(verbs, s.Verb)
	}
	if len(c.Args) == 0 {
		return fmt.Errorf("calc: which sum? One of %s", strings.Join(verbs, ", "))
	}
	s, ok := sums.Find(c.Args[0])
	if !ok {
		return fmt.Errorf("calc: %q is not one of %s", c.Args[0], strings.Join(verbs, ", "))
	}
	args := c.Args[1:]
	if c.Unit != "" { // before the verb or behind it: both are natural
		args = append([]string{"--unit", c.Unit}, args...)
	}
	in, o, err := s.ParseArgs(args)
	if err != nil {
		return fmt.Errorf("calc %s: %w", s.Verb, err)
	}
	if o.Help {
		_, err := fmt.Fprint(ctx.Out, s.Help())
		return err
	}
	a, err := s.Run(in, o.Unit)
	if err != nil {
		return fmt.Errorf("calc %s: %w", s.Verb, err)
	}
	if o.JSON || c.JSON {
		e := json.NewEncoder(ctx.Out)
		e.SetEscapeHTML(false)
		e.SetIndent("", "  ")
		err = e.Encode(a)
	} else {
		for _, l := range a.Lines() {
			fmt.Fprintln(ctx.Out, l)
		}
		for _, l := range a.Cautions {
			fmt.Fprintln(ctx.Out, "  caution  "+l)
		}
	}
	if err == nil && a.Failed {
		return workFailed{errors.New("calc " + s.Verb + ": " + a.Notes[len(a.Notes)-1])}
	}
	return err
}
