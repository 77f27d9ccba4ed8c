package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
	"github.com/mattn/go-isatty"
	"github.com/rs/zerolog"

	"thouwright/internal/bench"
)

type runCmd struct {
	Bench string `short:"b" default:"bench.toml" placeholder:"bench.toml" help:"The bench file."`
	Job   string `short:"j" placeholder:"JOB" help:"The job to begin with: its number, or its sheet's path."`
	Tapes bool   `help:"Keep the raw bytes of every gauge and everything done, for replay."`
}

// Example is shown by --help.
func (c *runCmd) Example() string { return "thouwright run -b bench.toml -j 2026-041" }

func (c *runCmd) Run(ctx *runContext) error {
	stop, cancel := untilSignalled()
	defer cancel()
	log := newLog(ctx)
	ticks := watchdog()
	return bench.Run(stop, bench.Options{
		BenchFile: c.Bench, Job: c.Job, Tapes: c.Tapes, Log: log, Terminal: ctx.Err,
		Ready: func(_ *bench.Daemon, url string) {
			daemon.SdNotify(false, daemon.SdNotifyReady+"\nSTATUS=measuring, page at "+url)
			go func() { <-stop.Done(); daemon.SdNotify(false, daemon.SdNotifyStopping) }()
		},
		Alive: ticks,
	})
}

// untilSignalled ends on SIGINT or SIGTERM; a second one, a second or
// more later, ends the program without waiting for the last flush.
func untilSignalled() (context.Context, context.CancelFunc) {
	ctx, cancel := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	again := make(chan os.Signal, 2)
	signal.Notify(again, os.Interrupt, syscall.SIGTERM)
	go func() {
		<-again
		// Some supervisors signal the process and its group: that is one wish.
		time.Sleep(time.Second)
		for len(again) > 0 {
			<-again
		}
		<-again
		os.Exit(1)
	}()
	return ctx, cancel
}

// watchdog tells the service manager that the loop turns, as often as it asks.
func watchdog() func() {
	every, err := daemon.SdWatchdogEnabled(false)
	if err != nil || every == 0 {
		return nil
	}
	var last time.Time
	return func() {
		if now := time.Now(); now.Sub(last) > every/3 {
			last = now
			daemon.SdNotify(false, daemon.SdNotifyWatchdog)
		}
	}
}

// newLog is the daemon's own log: lines for a person on a terminal, JSON for a
// service manager.
func newLog(ctx *runContext) zerolog.Logger {
	if onTerminal(ctx.Err) {
		return zerolog.New(zerolog.ConsoleWriter{Out: ctx.Err, TimeFormat: time.TimeOnly}).With().Timestamp().Logger()
	}
	zerolog.TimeFieldFormat = time.RFC3339Nano
	return zerolog.New(ctx.Err).With().Timestamp().Logger()
}

// warnings are lines for a person wherever they go; the time is not the matter.
func warnings(ctx *runContext) zerolog.Logger {
	return zerolog.New(zerolog.ConsoleWriter{
		Out: ctx.Err, NoColor: !onTerminal(ctx.Err), PartsExclude: []string{zerolog.TimestampFieldName},
	}).Level(zerolog.WarnLevel)
}

func onTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && isatty.IsTerminal(f.Fd())
}
