package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"thouwright/drivers"
	"thouwright/internal/port"
	"thouwright/internal/sniff"
)

type sniffCmd struct {
	Port    string        `arg:"" help:"The port of the unknown gauge: /dev/…, COM3, rfc2217://HOST:PORT or tcp://HOST:PORT."`
	Ask     bool          `help:"Where nothing is sent, try the polls of our drivers. Without it nothing is written to the port."`
	Drivers string        `placeholder:"DIR" help:"A folder with drivers of your own, on top of the built-in ones."`
	Wait    time.Duration `default:"8s" help:"How long to wait for a gauge that sends nothing."`
	JSON    bool          `name:"json" help:"Print a JSON object."`
}

func (c *sniffCmd) Example() string { return "thouwright sniff /dev/ttyUSB0" }

func (c *sniffCmd) Run(ctx *runContext) error {
	address, err := port.ParseAddress(c.Port)
	if err != nil {
		return err
	}
	cat, errs := drivers.Load(c.Drivers)
	if len(errs) > 0 {
		return errors.Join(errs...)
	}
	if err := sniff.Worth(address); err != nil {
		return err
	}
	stop, cancel := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	defer cancel()
	ear, err := sniff.OpenEar(stop, address)
	if err != nil {
		return workFailed{err}
	}
	defer ear.Close()
	o := sniff.Options{Drivers: cat.All(), Ask: c.Ask, Patience: c.Wait}
	if !c.JSON {
		o.Progress = func(s string) { fmt.Fprintln(ctx.Err, s) }
	}
	r, err := sniff.Search(stop, ear, o)
	if err != nil {
		if stop.Err() != nil {
			err = errors.New("interrupted before anything was sure")
		}
		return workFailed{err}
	}
	r.Port = c.Port
	if c.JSON {
		e := json.NewEncoder(ctx.Out)
		e.SetEscapeHTML(false)
		e.SetIndent("", "  ")
		if err := e.Encode(r); err != nil {
			return workFailed{err}
		}
	} else if err := printSniff(ctx.Out, r, cat); err != nil {
		return workFailed{err}
	}
	if !r.Sure() {
		return workFailed{errors.New("not sure: " + r.Why)}
	}
	return nil
}

// printSniff prints what was found, how sure it is, and the block to paste.
func printSniff(w io.Writer, r *sniff.Result, cat *drivers.Catalogue) error {
	var b strings.Builder
	fmt.Fprintf(&b, "tried: ")
	for i, t := range r.Tried {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(t.Line)
		switch {
		case t.Asked != "":
			fmt.Fprintf(&b, " asking %q", t.Asked)
		case t.Bytes == 0:
			b.WriteString(" (silence)")
		}
	}
	b.WriteString("\n")
	if !r.Sure() {
		_, err := io.WriteString(w, b.String())
		return err
	}
	d, err := cat.Find(r.Driver)
	if err != nil {
		return err
	}
	fmt.Fprintf(&b, "found: %s (%s)\n", r.Driver, d.About)
	fmt.Fprintf(&b, "sure: %s; the driver reads %.0f %% of the bytes\n", r.Why, 100*r.Score)
	for _, x := range r.Readings {
		fmt.Fprintf(&b, "  reads %s\n", strings.TrimSpace(strings.Join([]string{x.Channel, x.Value, x.Unit}, " ")))
	}
	switch {
	case len(r.Same) == 1 && r.Same[0] == "any":
		b.WriteString("line: any setting gives the same bytes (a gauge that is a USB device itself)\n")
	case len(r.Same) > 0:
		fmt.Fprintf(&b, "line: %s; the same bytes come at %s\n", r.Line, strings.Join(r.Same, ", "))
	}
	if len(r.Also) > 0 {
		fmt.Fprintf(&b, "the same readings: %s\n", strings.Join(r.Also, ", "))
	}
	b.WriteString("\n" + gaugeBlock(r, d))
	_, err = io.WriteString(w, b.String())
	return err
}

// gaugeBlock is what goes into bench.toml.
func gaugeBlock(r *sniff.Result, d *drivers.Driver) string {
	var b strings.Builder
	fmt.Fprintf(&b, "[[gauge]]\nname = \"gauge-1\"\nport = %q\ndriver = %q\n", boundName(r.Port), r.Driver)
	if r.Line != "" && r.Line != d.Line {
		fmt.Fprintf(&b, "line = %q\n", r.Line)
	}
	channels := map[string]bool{}
	unit := d.Unit.String()
	for _, x := range r.Readings {
		if x.Channel != "" && !channels[x.Channel] {
			channels[x.Channel] = true
		}
		if x.Unit != "" {
			unit = x.Unit
		}
	}
	if len(channels) > 0 {
		b.WriteString("channel = \"" + r.Readings[len(r.Readings)-1].Channel + "\"    # one [[gauge]] for each channel\n")
	}
	if unit == "" {
		b.WriteString("unit = \"mm\"        # the stream does not say: look at the gauge\n")
	}
	return b.String()
}

// boundName is how a bench file best names the port: by what stays with the
// adapter or its socket.
func boundName(path string) string {
	all, err := port.List()
	if err != nil {
		return path
	}
	for _, p := range all {
		if p.Path == path && p.Bind != "" {
			return p.Bind
		}
	}
	return path
}
