package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"thouwright/config"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
	"thouwright/internal/study"
)

type studyCmd struct {
	Path        string   `arg:"" optional:"" placeholder:"JOBDIR|FILE.csv" help:"A job's folder with repeated takes, or a table with the columns part,person,trial,value (default: a table on standard input)."`
	JSON        bool     `name:"json" help:"Print a JSON object instead of lines."`
	Out         string   `short:"o" placeholder:"FILE" help:"Draw it too: .svg, .png or .pdf."`
	Unit        string   `placeholder:"UNIT" help:"Unit of a table's values (mm, um, in, thou, N …); of a job's logs, the unit to show."`
	Limits      string   `placeholder:"RANGE" help:"The limits to compare with, such as '0.009..0.050 mm'."`
	Known       []string `sep:"none" placeholder:"PART=VALUE" help:"A part's known value, such as '3=30.000', in the table's unit. May be given several times."`
	KnownU95    string   `name:"known-u95" placeholder:"U" help:"Expanded uncertainty of the known values, such as '0.0005 mm', or in the table's unit."`
	Interaction string   `enum:"auto,keep,pool" default:"auto" help:"People finding parts differently: auto, keep or pool (joined with repetition)."`
	NoPeople    bool     `help:"Leave people out: as if one had measured."`
	Confidence  float64  `default:"0.95" help:"Of the intervals."`
	Check       string   `placeholder:"CHECK" help:"Of a job's logs: this check only (name or id)."`
	Component   string   `placeholder:"NAME" help:"Of a job's logs: this component only."`
	Position    string   `placeholder:"NAME" help:"Of a job's logs: this position only."`
	Stage       string   `placeholder:"NAME" help:"Of a job's logs: this stage only."`
	Write       bool     `help:"Write repeatability into the bench file (-b, -g); comments and layout stay."`
	Bench       string   `short:"b" placeholder:"BENCH" help:"The bench file to write into."`
	Gauge       string   `short:"g" placeholder:"GAUGE" help:"The gauge to write it to (default: of a job's logs, the gauge that measured)."`
}

func (c *studyCmd) Example() string {
	return "thouwright study repeats.csv --unit thou -o repeats.svg"
}

func (c *studyCmd) Run(ctx *runContext) error {
	format := strings.ToLower(filepath.Ext(c.Out))
	if c.Out != "" && !slices.Contains(study.PlotFormats, format) {
		return fmt.Errorf("-o %s: a plot ends in .svg, .png or .pdf", c.Out)
	}
	if !(c.Confidence > 0.5 && c.Confidence < 1) {
		return fmt.Errorf("--confidence %v: expected a number between 0.5 and 1, such as 0.95", c.Confidence)
	}
	if c.Write && c.Bench == "" {
		return errors.New("--write needs the bench file: -b bench.toml")
	}
	d, err := c.read(ctx)
	if err != nil {
		return err
	}
	o, err := c.options(d)
	if err != nil {
		return err
	}
	r, err := study.Analyse(d, o)
	if err != nil {
		return err
	}
	if c.JSON {
		e := json.NewEncoder(ctx.Out)
		e.SetIndent("", "  ")
		err = e.Encode(r)
	} else {
		err = r.Text(ctx.Out)
	}
	if err != nil {
		return workFailed{err}
	}
	if c.Out != "" {
		if err := writePlot(c.Out, r, format); err != nil {
			return workFailed{err}
		}
		fmt.Fprintln(ctx.Err, "drawn:", c.Out)
	}
	if c.Write {
		return c.write(ctx, r)
	}
	return nil
}

func (c *studyCmd) read(ctx *runContext) (*study.Data, error) {
	if c.Path == "" || c.Path == "-" {
		d, err := study.ReadCSV(ctx.In, "standard input")
		if err != nil {
			return nil, err
		}
		return d, c.setUnit(d)
	}
	info, err := os.Stat(c.Path)
	if err != nil {
		return nil, fmt.Errorf("%s: no such job folder or table", c.Path)
	}
	if info.IsDir() {
		d, err := study.FromLogs(c.Path, study.Pick{Check: c.Check, Component: c.Component, Position: c.Position, Stage: c.Stage})
		if err != nil || c.Unit == "" {
			return d, err
		}
		u, err := quantity.ParseUnit(c.Unit)
		if err != nil {
			return nil, fmt.Errorf("--unit: %w", err)
		}
		return d, d.Convert(u)
	}
	for flag, v := range map[string]string{"check": c.Check, "component": c.Component, "position": c.Position, "stage": c.Stage} {
		if v != "" {
			return nil, fmt.Errorf("--%s chooses among a job's takes; %s is a table", flag, c.Path)
		}
	}
	f, err := os.Open(c.Path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	d, err := study.ReadCSV(f, c.Path)
	if err != nil {
		return nil, err
	}
	return d, c.setUnit(d)
}

// setUnit gives a table without units the one that was asked for.
func (c *studyCmd) setUnit(d *study.Data) error {
	if c.Unit == "" {
		return nil
	}
	u, err := quantity.ParseUnit(c.Unit)
	if err != nil {
		return fmt.Errorf("--unit: %w", err)
	}
	if d.Unit == quantity.None {
		d.Unit = u
		return nil
	}
	return d.Convert(u)
}

func (c *studyCmd) options(d *study.Data) (study.Options, error) {
	o := study.Options{Confidence: c.Confidence, NoPeople: c.NoPeople, Known: map[string]float64{},
		Pooling: map[string]metrology.Pooling{"auto": metrology.PoolAuto, "keep": metrology.PoolNo, "pool": metrology.PoolYes}[c.Interaction]}
	if c.Limits != "" {
		r, err := quantity.ParseRange(c.Limits)
		if err != nil {
			return o, fmt.Errorf("--limits: %w", err)
		}
		if d.Unit == quantity.None && r.Unit != quantity.None {
			return o, fmt.Errorf("--limits are in %s, but the table has no unit; add --unit", r.Unit)
		}
		var l metrology.Limits
		if l.Low, l.High, err = r.In(d.Unit); err != nil {
			return o, fmt.Errorf("--limits: %w", err)
		}
		o.Limits = &l
	}
	if c.KnownU95 != "" {
		q, err := quantity.ParseQuantity(c.KnownU95)
		if err == nil {
			o.KnownU95, err = q.In(d.Unit)
		}
		if err == nil && o.KnownU95 < 0 {
			err = errors.New("expected zero or more")
		}
		if err != nil {
			return o, fmt.Errorf("--known-u95 %s: %w", c.KnownU95, err)
		}
	}
	for _, k := range c.Known {
		i := strings.LastIndexByte(k, '=')
		if i < 0 {
			return o, fmt.Errorf("--known %q: expected PART=VALUE, such as 3=30.000", k)
		}
		q, err := quantity.ParseQuantity(k[i+1:])
		if err != nil {
			return o, fmt.Errorf("--known %q: %w", k, err)
		}
		v, err := q.In(d.Unit)
		if err != nil {
			return o, fmt.Errorf("--known %q: %w", k, err)
		}
		o.Known[strings.TrimSpace(k[:i])] = v
	}
	return o, nil
}

func writePlot(file string, r *study.Result, format string) error {
	f, err := os.Create(file)
	if err != nil {
		return err
	}
	err = r.Plot(f, format)
	if e := f.Close(); err == nil {
		err = e
	}
	return err
}

func (c *studyCmd) write(ctx *runContext, r *study.Result) error {
	gauge := c.Gauge
	if gauge == "" {
		gauge = r.Gauge
	}
	if gauge == "" {
		return errors.New("--write needs the gauge's name in the bench file: -g GAUGE")
	}
	value, err := r.BenchText()
	if err != nil {
		return err
	}
	if err := config.EditFile(c.Bench, gauge, config.Change{Key: "repeatability", Value: value}); err != nil {
		return err
	}
	fmt.Fprintf(ctx.Err, "%s: gauge %q now has repeatability = %q\n", c.Bench, gauge, value)
	return nil
}
