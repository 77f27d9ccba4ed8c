package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"thouwright/internal/bench"
	"thouwright/internal/journal"
	"thouwright/internal/record"
)

type recordCmd struct {
	Dir   string `arg:"" name:"jobdir" help:"The job's folder."`
	Out   string `short:"o" required:"" placeholder:"FILE" help:"The document; its ending says which: .html .pdf .xlsx .csv"`
	Paper string `enum:"a4,letter" default:"a4" help:"The PDF's paper: a4 or letter."`
	JSON  bool   `name:"json" help:"Print what was written as JSON."`
}

// Example is shown by --help.
func (c *recordCmd) Example() string { return "thouwright record logs/2026-041 -o 2026-041.pdf" }

func (c *recordCmd) Run(ctx *runContext) error {
	format := strings.TrimPrefix(strings.ToLower(filepath.Ext(c.Out)), ".")
	f, err := journal.Load(c.Dir)
	if err != nil {
		return err
	}
	proof, err := bench.Verify(c.Dir)
	if err != nil {
		return err
	}
	r, err := record.Build(f, proof)
	if err != nil {
		return err
	}
	if err := writeFile(c.Out, func(w *os.File) error {
		return r.Write(w, format, record.Options{Made: time.Now().UTC(), Paper: c.Paper})
	}); err != nil {
		return err
	}
	if c.JSON {
		return json.NewEncoder(ctx.Out).Encode(map[string]any{"file": c.Out, "holds": proof.Holds})
	}
	fmt.Fprintln(ctx.Out, c.Out)
	if !proof.Holds {
		fmt.Fprintln(ctx.Err, "the logs do not verify: the record says so on its first page; 'thouwright verify' says where")
	}
	return nil
}

// writeFile writes a document so that a failure leaves the old one, if any.
func writeFile(name string, write func(*os.File) error) error {
	f, err := os.CreateTemp(filepath.Dir(name), ".new-*")
	if err != nil {
		return err
	}
	err = errors.Join(write(f), f.Chmod(0o644), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		os.Remove(f.Name())
	}
	return err
}
