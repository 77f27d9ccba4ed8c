package main

import (
	"fmt"
	"sync"

	"thouwright/internal/bench"
	"thouwright/internal/demo"
)

type demoCmd struct {
	Quick  bool   `help:"Ten times faster, once through."`
	Dir    string `placeholder:"DIR" help:"Where the bench, the job and its logs are put (default: a new temporary folder)."`
	Listen string `placeholder:"ADDR" help:"The page's address (default: 127.0.0.1:8417, or a free port where that is taken)."`
}

// Example is shown by --help.
func (c *demoCmd) Example() string { return "thouwright demo --quick" }

func (c *demoCmd) Run(ctx *runContext) error {
	stop, cancel := untilSignalled()
	defer cancel()
	var mu sync.Mutex
	dir, err := demo.Run(stop, demo.Options{
		Quick: c.Quick, Dir: c.Dir, Listen: c.Listen,
		Log: warnings(ctx),
		Say: func(s string) {
			mu.Lock()
			defer mu.Unlock()
			fmt.Fprintln(ctx.Out, s)
		},
	})
	if err != nil {
		return err
	}
	fmt.Fprintln(ctx.Out, "the job's folder:", dir)
	r, err := bench.Verify(dir)
	if err != nil {
		return err
	}
	printReport(ctx, r)
	if !r.Holds {
		return workFailed{fmt.Errorf("the logs of the demo do not hold")}
	}
	return nil
}
