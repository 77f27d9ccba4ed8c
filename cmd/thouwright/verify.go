package main

import (
	"crypto/ed25519"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"text/tabwriter"
	"unicode"
	"unicode/utf8"

	"thouwright/internal/bench"
	"thouwright/internal/bundle"
	"thouwright/internal/journal"
)

type verifyCmd struct {
	Path   string `arg:"" name:"jobdir" help:"The job's folder, or a bundle: FILE.zip, or the folder it was unpacked to."`
	Signer string `placeholder:"PUBLICKEY" help:"The public key (PEM) that must have signed the bundle."`
	JSON   bool   `name:"json" help:"Print the report as JSON."`
}

func (verifyCmd) Example() string {
	return "thouwright verify logs/2026-041\n  thouwright verify 2026-041.zip --signer workshop-public.pem"
}

func (c *verifyCmd) Run(ctx *runContext) error {
	r, err := c.check()
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
		printReport(ctx, r.Report)
	}
	if !r.Holds {
		what := "the logs do not hold"
		if bundle.Is(c.Path) {
			what = "the bundle does not hold"
		}
		return workFailed{errors.New(what + ": see the lines above")}
	}
	return nil
}

func (c *verifyCmd) check() (bundle.Report, error) {
	if !bundle.Is(c.Path) {
		if c.Signer != "" {
			return bundle.Report{}, errors.New("--signer: only a bundle is signed, and this is a job's folder")
		}
		r, err := bench.Verify(c.Path)
		return bundle.Report{Report: r}, err
	}
	var signer ed25519.PublicKey
	if c.Signer != "" {
		var err error
		if signer, err = bundle.LoadPublic(c.Signer); err != nil {
			return bundle.Report{}, err
		}
	}
	return bundle.Check(c.Path, signer, bench.Verify)
}

// printReport prints one line a file, then the notes.
func printReport(ctx *runContext, r journal.Report) {
	w := tabwriter.NewWriter(ctx.Out, 0, 8, 2, ' ', 0)
	for _, f := range r.Files {
		word := "holds"
		if !f.Holds {
			word = "DAMAGED"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\n", visible(f.Name), word, visible(f.Text))
	}
	w.Flush()
	for _, n := range r.Notes {
		fmt.Fprintln(ctx.Out, "note:", visible(n))
	}
}

// visible is a text as one line on a terminal. A folder from a stranger may hold
// a file whose name moves the cursor, or ends the line and adds another that holds.
func visible(s string) string {
	if utf8.ValidString(s) && !strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }) {
		return s
	}
	return strconv.Quote(s)
}
