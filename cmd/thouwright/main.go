// Command thouwright measures play, end play, run-out, size and drag with the
// gauges on a bench, decides, and keeps the proof.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/alecthomas/kong"
)

// cli is the command line; each command stands in its own file.
type cli struct {
	Run    runCmd    `cmd:"" help:"The daemon: gauges, capture, rules, sound, page, logs."`
	Demo   demoCmd   `cmd:"" help:"A whole simulated job through real pseudo-terminals."`
	Ports  portsCmd  `cmd:"" help:"The ports this computer has, and what they are."`
	Sniff  sniffCmd  `cmd:"" help:"Find line settings and driver for an unknown gauge."`
	Decode decodeCmd `cmd:"" help:"Bytes (a file or standard input) to readings, as CSV."`
	Replay replayCmd `cmd:"" help:"Tapes through the same capture loop, as fast as it goes."`
	Check  checkCmd  `cmd:"" help:"Validate every file; run every driver's own examples."`
	Proof  proofCmd  `cmd:"" help:"Step a gauge over known blocks: its error over a short movement."`
	Calc   calcCmd   `cmd:"" help:"The trade's sums."`
	Study  studyCmd  `cmd:"" help:"How well a set-up repeats: people, parts, trials."`
	Record recordCmd `cmd:"" help:"The document handed over: .html .pdf .xlsx .csv by the file's ending."`
	Verify verifyCmd `cmd:"" help:"The logs' order and integrity."`
}

// runContext is what a command gets of the world.
type runContext struct {
	In       io.Reader
	Out, Err io.Writer
}

// exampler is implemented by a command whose --help ends with an example.
type exampler interface{ Example() string }

// workFailed marks an error of exit status 1: used rightly, and the answer is
// no (damage found, not sure, a check failed).
type workFailed struct{ error }

func (w workFailed) Unwrap() error { return w.error }

func main() { os.Exit(thouwright(os.Args[1:], &runContext{os.Stdin, os.Stdout, os.Stderr})) }

// thouwright runs one command and returns the exit status: 0 done, 1 the work
// failed, 2 wrong use or bad input.
func thouwright(args []string, ctx *runContext) (status int) {
	var c cli
	exited := -1
	parser, err := kong.New(&c,
		kong.Name("thouwright"),
		kong.Description("Play, end play, run-out, size and drag: measured, decided and proved."),
		kong.Writers(ctx.Out, ctx.Err),
		kong.Exit(func(n int) { exited = n }),
		kong.Help(helpWithExample),
		kong.UsageOnError(),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}),
	)
	if err != nil {
		fmt.Fprintln(ctx.Err, "thouwright:", err)
		return 2
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	k, err := parser.Parse(args)
	if exited >= 0 { // --help
		return exited
	}
	if err == nil {
		err = k.Run(ctx)
	} else {
		err = withHelp(err)
	}
	if err == nil {
		return 0
	}
	if msg := oneLine(err.Error()); msg != "" {
		fmt.Fprintln(ctx.Err, "thouwright:", msg)
	}
	if failed := (workFailed{}); errors.As(err, &failed) {
		return 1
	}
	return 2
}

// withHelp adds to a mistake in the command line where the right use is shown.
func withHelp(err error) error {
	where := "'thouwright --help' lists the commands"
	var p *kong.ParseError
	if errors.As(err, &p) && p.Context.Selected() != nil {
		where = fmt.Sprintf("'thouwright %s --help' shows an example", p.Context.Selected().Name)
	}
	return fmt.Errorf("%w: %s", err, where)
}

// oneLine is the first of a file's mistakes and how many more there are: one
// line is what a script, and a reader in a hurry, can use. 'check' names all.
func oneLine(msg string) string {
	first, rest, more := strings.Cut(strings.TrimSpace(msg), "\n")
	if !more {
		return first
	}
	return fmt.Sprintf("%s (and %d more: 'thouwright check' names them all)", first, 1+strings.Count(rest, "\n"))
}

// helpWithExample is kong's help with the command's example at the end.
func helpWithExample(o kong.HelpOptions, k *kong.Context) error {
	if err := kong.DefaultHelpPrinter(o, k); err != nil {
		return err
	}
	if n := k.Selected(); n != nil && n.Target.CanAddr() {
		if e, ok := n.Target.Addr().Interface().(exampler); ok {
			fmt.Fprintf(k.Stdout, "\nExample:\n  %s\n", e.Example())
		}
	}
	return nil
}
