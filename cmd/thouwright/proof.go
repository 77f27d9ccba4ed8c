package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/mattn/go-isatty"

	"thouwright/config"
	"thouwright/internal/port"
	"thouwright/internal/proof"
	"thouwright/internal/proof/live"
	"thouwright/internal/quantity"
)

type proofCmd struct {
	Gauge  string `arg:"" placeholder:"GAUGE" help:"The gauge's name in the bench file."`
	Bench  string `short:"b" default:"bench.toml" placeholder:"BENCH" help:"The bench file (default: bench.toml)."`
	Blocks string `placeholder:"SIZES" help:"Sizes of the blocks it is stepped over, such as '1.000 mm, 1.100 mm, 1.250 mm'. Three or more, up and down, show the hysteresis too."`
	Screw  string `placeholder:"PITCH" help:"Instead of blocks: the pitch of a screw that moves it, such as '0.5 mm'."`
	Marks  int    `default:"50" help:"Marks on one turn of the screw; rests are a whole number of marks apart."`
	U95    string `name:"u95" placeholder:"U" help:"Expanded uncertainty of each block's size, or of each mark's place, such as '0.0002 mm'."`
	Rests  int    `placeholder:"N" help:"End after so many rests (default: five on each block, ten at least; with a screw, when Enter is pressed)."`
	Tape   string `placeholder:"FILE" help:"Take the gauge's readings from a tape instead of its port."`
	JSON   bool   `name:"json" help:"Print a JSON object instead of lines."`
	Write  bool   `help:"Write error_local and hysteresis into the bench file; comments and layout stay."`
}

func (c *proofCmd) Example() string {
	return "thouwright proof dial-1 --blocks '1.000 mm, 1.100 mm, 1.250 mm' --u95 '0.0002 mm' --write"
}

// standard reads the sizes; in gives them in the gauge's unit once that is
// known.
func (c *proofCmd) standard() (in func(quantity.Unit) (proof.Standard, error), blocks int, err error) {
	var sizes []quantity.Quantity
	one := func(flag, s string) (quantity.Quantity, error) {
		q, err := quantity.ParseQuantity(s)
		if err == nil && !q.Unit.IsLength() && q.Unit.Kind() != quantity.Force && q.Unit.Kind() != quantity.Torque {
			err = fmt.Errorf("%q has no unit; expected one such as 1.000 mm", s)
		}
		if err != nil {
			return q, fmt.Errorf("--%s: %w", flag, err)
		}
		return q, nil
	}
	if (c.Blocks == "") == (c.Screw == "") {
		return nil, 0, errors.New("say what it is stepped over: --blocks '1.000 mm, 1.250 mm' or --screw '0.5 mm', one of them")
	}
	flag := "blocks"
	parts := strings.Split(c.Blocks, ",")
	if c.Screw != "" {
		flag, parts = "screw", []string{c.Screw}
		if c.Marks < 1 {
			return nil, 0, fmt.Errorf("--marks %d: expected 1 or more", c.Marks)
		}
	}
	for _, p := range parts {
		q, err := one(flag, p)
		if err != nil {
			return nil, 0, err
		}
		if len(sizes) > 0 && q.Unit.Kind() != sizes[0].Unit.Kind() {
			return nil, 0, fmt.Errorf("--%s: %s and %s measure different things", flag, sizes[0], q)
		}
		sizes = append(sizes, q)
	}
	if c.Screw != "" && !(sizes[0].Value.Float() > 0) {
		return nil, 0, fmt.Errorf("--screw %s: a pitch is more than zero", c.Screw)
	}
	var u95 quantity.Quantity
	if c.U95 != "" {
		if u95, err = one("u95", c.U95); err != nil {
			return nil, 0, err
		}
		if u95.Value.Float() < 0 || u95.Unit.Kind() != sizes[0].Unit.Kind() {
			return nil, 0, fmt.Errorf("--u95 %s: expected zero or more, of the kind of %s", c.U95, sizes[0])
		}
	}
	if c.Screw != "" {
		blocks = 0
	} else if blocks = len(sizes); blocks < 2 {
		return nil, 0, errors.New("--blocks: two or more sizes are needed, such as '1.000 mm, 1.250 mm'")
	}
	return func(u quantity.Unit) (s proof.Standard, err error) {
		for _, q := range sizes {
			v, err := q.In(u)
			if err != nil {
				return s, fmt.Errorf("--%s: %w", flag, err)
			}
			s.Sizes = append(s.Sizes, v)
		}
		if s.U95, err = u95.In(u); err != nil {
			return s, fmt.Errorf("--u95: %w", err)
		}
		if c.Screw != "" {
			s.Mark = s.Sizes[0] / float64(c.Marks)
		}
		return s, nil
	}, blocks, nil
}

func (c *proofCmd) Run(ctx *runContext) error {
	in, blocks, err := c.standard()
	if err != nil {
		return err
	}
	b, ps := config.LoadBench(c.Bench)
	if config.Refused(ps) {
		for _, p := range ps {
			fmt.Fprintln(ctx.Err, p)
		}
		return errors.New("")
	}
	run, err := live.New(b, c.Gauge, ctx.Err)
	if err != nil {
		return err
	}
	if blocks > 0 {
		for _, s := range strings.Split(c.Blocks, ",") {
			run.Names = append(run.Names, strings.TrimSpace(s))
		}
		run.Sizes = func(u quantity.Unit) []float64 {
			std, err := in(u)
			if err != nil {
				return nil // said when it is solved
			}
			return std.Sizes
		}
	}
	if c.Tape != "" {
		run.Wanted = c.Rests // a tape ends by itself
		err = run.Tape(c.Tape)
	} else {
		err = c.live(ctx, run, blocks)
	}
	if err != nil {
		return err
	}
	rests, step, unit := run.Rests()
	if unit == quantity.None {
		return workFailed{fmt.Errorf("no reading with a unit came from %s; where its stream does not say the unit, write unit = \"mm\" in the bench file", c.Gauge)}
	}
	std, err := in(unit)
	if err != nil {
		return err
	}
	res, err := proof.Solve(rests, std, step)
	if err != nil {
		return workFailed{err}
	}
	if c.JSON {
		err = res.JSON(ctx.Out, c.Gauge, unit)
	} else {
		err = res.Text(ctx.Out, unit)
	}
	if err != nil {
		return workFailed{err}
	}
	if !c.Write {
		return nil
	}
	changes := []config.Change{{Key: "error_local", Value: res.BenchError(unit)}}
	if h := res.BenchHysteresis(unit); h != "" {
		changes = append(changes, config.Change{Key: "hysteresis", Value: h})
	}
	if err := config.EditFile(c.Bench, c.Gauge, changes...); err != nil {
		return err
	}
	for _, ch := range changes {
		fmt.Fprintf(ctx.Err, "%s: gauge %q now has %s = %q\n", c.Bench, c.Gauge, ch.Key, ch.Value)
	}
	return nil
}

// live tells the person what to do and follows the gauge's port.
func (c *proofCmd) live(ctx *runContext, run *live.Proving, blocks int) error {
	what, end := c.Blocks, "Press Enter when you have gone up and down a few times."
	if blocks == 0 {
		what = "the marks of the screw"
	}
	how := "Begin on the smallest, and step"
	if blocks == 0 {
		how = "Step"
	}
	if f, ok := ctx.Err.(*os.File); ok {
		run.Bell = isatty.IsTerminal(f.Fd())
	}
	if run.Wanted = c.Rests; run.Wanted == 0 && blocks > 0 {
		run.Wanted = max(10, 5*blocks)
	}
	if run.Wanted > 0 {
		end = fmt.Sprintf("It ends by itself after %d rests, or when you press Enter.", run.Wanted)
	}
	fmt.Fprintf(ctx.Err, "%s %s up and down over %s; rest about a second on each. %s\n", how, c.Gauge, what, end)
	stop, cancel := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer cancel()
	enter := make(chan struct{})
	go func() { // ends with the program: standard input can't be closed from here
		if _, err := bufio.NewReader(ctx.In).ReadString('\n'); err == nil {
			close(enter)
		}
	}()
	switch err := run.Port(stop, port.Open, port.WallClock{}, enter); {
	case stop.Err() != nil:
		return workFailed{errors.New("given up")}
	case err != nil:
		return workFailed{err}
	}
	return nil
}
