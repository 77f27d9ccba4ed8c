package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"text/tabwriter"

	"thouwright/internal/bench"
	"thouwright/internal/journal"
)

type verifyCmd struct {
	Dir  string `arg:"" name:"jobdir" help:"The job's folder."`
	JSON bool   `name:"json" help:"Print the report as JSON."`
}

func (verifyCmd) Example() string { return "thouwright verify logs/2026-041" }

func (c *verifyCmd) Run(ctx *runContext) error {
	r, err := bench.Verify(c.Dir)
	if err != nil {
		return err
	}
	if c.JSON {
		e := json.NewEncoder(ctx.Out)
		e.SetIndent("", "  ")
		if err := e.Encode(r); err != nil {
			return err
		}
	} else {
		printReport(ctx, r)
	}
	if !r.Holds {
		return workFailed{errors.New("the logs do not hold: see the lines above")}
	}
	return nil
}

// printReport prints one line a file, then the notes.
func printReport(ctx *runContext, r journal.Report) {
	w := tabwriter.NewWriter(ctx.Out, 0, 8, 2, ' ', 0)
	for _, f := range r.Files {
		word := "holds"
		if !f.Holds {
			word = "DAMAGED"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\n", f.Name, word, f.Text)
	}
	w.Flush()
	for _, n := range r.Notes {
		fmt.Fprintln(ctx.Out, "note:", n)
	}
}
