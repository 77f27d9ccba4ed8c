package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/rs/zerolog"

	"thouwright/internal/bench"
)

type replayCmd struct {
	Bench    string   `short:"b" required:"" placeholder:"BENCH" help:"The bench file."`
	Job      string   `short:"j" required:"" placeholder:"JOB" help:"The job: its number, or its sheet's path."`
	Gauge    []string `short:"g" sep:"none" required:"" placeholder:"GAUGE=TAPE" help:"A gauge's tape; may be repeated. 'commands=TAPE' is the tape of what was done."`
	Commands string   `short:"c" placeholder:"TAPE" help:"The tape of what was done (commands.tape)."`
	Out      string   `short:"o" required:"" placeholder:"DIR" help:"Where DIR/NUMBER is written; it must not exist yet."`
	JSON     bool     `help:"Print the result as JSON."`
}

// Example is shown by --help.
func (c *replayCmd) Example() string {
	return "thouwright replay -b logs/2026-041/bench.toml -j logs/2026-041/job.toml -g dial-1=logs/2026-041/tapes/dial-1.tape -c logs/2026-041/tapes/commands.tape -o /tmp/again"
}

func (c *replayCmd) Run(ctx *runContext) error {
	r := bench.Replay{BenchFile: c.Bench, Job: c.Job, Commands: c.Commands, Dir: c.Out, Tapes: map[string]string{},
		Log: zerolog.New(ctx.Err).Level(zerolog.ErrorLevel)}
	for _, g := range c.Gauge {
		name, file, ok := strings.Cut(g, "=")
		switch {
		case !ok || name == "" || file == "":
			return fmt.Errorf("-g %q: expected GAUGE=TAPE", g)
		case r.Tapes[name] != "":
			return fmt.Errorf("-g %q: gauge %q has a tape already", g, name)
		case name == "commands":
			r.Commands = file
		default:
			r.Tapes[name] = file
		}
	}
	stop, cancel := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer cancel()
	dir, err := r.Run(stop)
	if err != nil {
		return err
	}
	if c.JSON {
		return json.NewEncoder(ctx.Out).Encode(map[string]string{"dir": dir})
	}
	fmt.Fprintln(ctx.Out, dir)
	return nil
}
