package main

import (
	"crypto/ed25519"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"thouwright/internal/bench"
	"thouwright/internal/bundle"
	"thouwright/internal/journal"
	"thouwright/internal/record"
)

type recordCmd struct {
	Dir    string `arg:"" name:"jobdir" help:"The job's folder."`
	Out    string `short:"o" placeholder:"FILE" help:"The document; its ending says which: .html .pdf .xlsx .csv"`
	Bundle string `placeholder:"FILE.zip" help:"One file with the logs, the job sheet, the bench file, drivers, tapes, photographs and all four documents, and the sums that prove them."`
	Key    string `placeholder:"KEYFILE" help:"Sign the bundle with this Ed25519 key (PEM, as 'openssl genpkey -algorithm ed25519' makes it)."`
	Paper  string `enum:"a4,letter" default:"a4" help:"The PDF's paper: a4 or letter."`
	JSON   bool   `name:"json" help:"Print what was written as JSON."`
}

// Example is shown by --help.
func (c *recordCmd) Example() string {
	return "thouwright record logs/2026-041 -o 2026-041.pdf\n  thouwright record logs/2026-041 --bundle 2026-041.zip --key workshop.pem"
}

func (c *recordCmd) Run(ctx *runContext) error {
	format := strings.TrimPrefix(strings.ToLower(filepath.Ext(c.Out)), ".")
	switch {
	case c.Out == "" && c.Bundle == "":
		return errors.New("nothing to write: give -o FILE for a document, or --bundle FILE.zip")
	case c.Out != "" && !slices.Contains(record.Formats(), format):
		return fmt.Errorf("-o %s: found the ending %q, expected .html, .pdf, .xlsx or .csv", c.Out, filepath.Ext(c.Out))
	case c.Bundle != "" && !strings.EqualFold(filepath.Ext(c.Bundle), ".zip"):
		return fmt.Errorf("--bundle %s: found the ending %q, expected .zip", c.Bundle, filepath.Ext(c.Bundle))
	case c.Key != "" && c.Bundle == "":
		return errors.New("--key signs a bundle: give --bundle FILE.zip too")
	}
	var key ed25519.PrivateKey
	if c.Key != "" {
		var err error
		if key, err = bundle.LoadKey(c.Key); err != nil {
			return err
		}
	}
	wrote := map[string]any{}
	made := time.Now().UTC()
	holds := true
	if c.Out != "" {
		proof, err := c.document(format, made)
		if err != nil {
			return err
		}
		wrote["file"], holds = c.Out, proof.Holds
	}
	if c.Bundle != "" {
		var proof journal.Report
		err := writeFile(c.Bundle, func(w io.Writer) (err error) {
			proof, err = bundle.Pack(w, c.Dir, bundle.Options{Made: made, Paper: c.Paper, Key: key, Verify: bench.Verify})
			return err
		})
		if err != nil {
			return err
		}
		wrote["bundle"], holds = c.Bundle, holds && proof.Holds
		for _, name := range tellPlace(c.Dir) {
			fmt.Fprintf(ctx.Err, "%s says where it was taken, and the bundle packs it as it is\n", name)
		}
	}
	if key != nil {
		wrote["signed_by"] = bundle.Fingerprint(key.Public().(ed25519.PublicKey))
	}
	wrote["holds"] = holds
	return c.say(ctx, wrote, holds)
}

// tellPlace are the job's photographs that say where they were taken.
func tellPlace(dir string) (names []string) {
	all, _ := filepath.Glob(filepath.Join(dir, "photos", "*"))
	for _, name := range all {
		if b, err := os.ReadFile(name); err == nil && record.TellsPlace(b) {
			names = append(names, filepath.Base(filepath.Dir(name))+"/"+filepath.Base(name))
		}
	}
	return names
}

// document writes one document.
func (c *recordCmd) document(format string, made time.Time) (journal.Report, error) {
	f, err := journal.Load(c.Dir)
	if err != nil {
		return journal.Report{}, err
	}
	proof, err := bench.Verify(c.Dir)
	if err != nil {
		return journal.Report{}, err
	}
	r, err := record.Build(f, proof)
	if err != nil {
		return journal.Report{}, err
	}
	return proof, writeFile(c.Out, func(w io.Writer) error {
		return r.Write(w, format, record.Options{Made: made, Paper: c.Paper})
	})
}

func (c *recordCmd) say(ctx *runContext, wrote map[string]any, holds bool) error {
	if c.JSON {
		return json.NewEncoder(ctx.Out).Encode(wrote)
	}
	for _, name := range []string{c.Out, c.Bundle} {
		if name != "" {
			fmt.Fprintln(ctx.Out, name)
		}
	}
	if by, ok := wrote["signed_by"]; ok {
		fmt.Fprintln(ctx.Out, "signed by key", by)
	}
	if !holds {
		fmt.Fprintln(ctx.Err, "the logs do not verify: the record says so on its first page; 'thouwright verify' says where")
	}
	return nil
}

// writeFile writes a document so that a failure leaves the old one, if any.
func writeFile(name string, write func(io.Writer) error) error {
	f, err := os.CreateTemp(filepath.Dir(name), ".new-*")
	if at := (&fs.PathError{}); errors.As(err, &at) {
		return fmt.Errorf("%s cannot be written: %w", name, at.Err)
	}
	if err != nil {
		return err
	}
	err = errors.Join(write(f), f.Chmod(0o644), f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		os.Remove(f.Name())
	}
	return err
}
