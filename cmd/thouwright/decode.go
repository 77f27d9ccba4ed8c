package main

import (
	"bufio"
	"encoding/json"
	"io"
	"os"
	"strings"

	"thouwright/drivers"
	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
	"thouwright/internal/tape"
)

type decodeCmd struct {
	Driver string `short:"d" required:"" placeholder:"DRIVER" help:"A driver's name, or the path of a driver file (.toml)."`
	JSON   bool   `name:"json" help:"One JSON object a line instead of CSV."`
	File   string `arg:"" optional:"" help:"The bytes, or a .tape with their times; standard input if left out or '-'."`
}

func (c *decodeCmd) Example() string { return "thouwright decode -d signed-decimal capture.bin" }

// decodeRow is one reading as decode prints it; the keys are the CSV's columns.
type decodeRow struct {
	Channel string `json:"channel"`
	Value   string `json:"value"`
	Unit    string `json:"unit"`
	Step    string `json:"step"`
	Fault   string `json:"fault"`
	Raw     string `json:"raw"`
}

func (c *decodeCmd) Run(ctx *runContext) error {
	d, err := findDriver(c.Driver)
	if err != nil {
		return err
	}
	out := bufio.NewWriterSize(ctx.Out, 64<<10)
	in := ctx.In
	if c.File != "" && c.File != "-" {
		f, err := os.Open(c.File)
		if err != nil {
			return err
		}
		defer f.Close()
		in = f
	}
	var from source = &chunks{in: in, buf: make([]byte, 64<<10), flush: out.Flush}
	if strings.HasSuffix(c.File, ".tape") {
		from = tape.NewReader(c.File, in)
	}
	if err := decode(d, from, out, c.JSON); err != nil {
		return err
	}
	return out.Flush()
}

// findDriver takes a built-in driver's name, or the path of a file.
func findDriver(name string) (*drivers.Driver, error) {
	if strings.HasSuffix(name, ".toml") || strings.ContainsRune(name, os.PathSeparator) {
		return drivers.ReadFile(name)
	}
	return drivers.BuiltIn().Find(name)
}

// source gives bytes with the microsecond at which they came; io.EOF at the end.
type source interface {
	Next() (at int64, b []byte, err error)
}

// chunks are bytes without times.
type chunks struct {
	in    io.Reader
	buf   []byte
	short bool
	ended error
	flush func() error
}

// Next reads on. What has been decoded is written before it waits for more.
func (c *chunks) Next() (int64, []byte, error) {
	if c.ended != nil {
		return 0, nil, c.ended
	}
	if c.short {
		if err := c.flush(); err != nil {
			return 0, nil, err
		}
	}
	n, err := c.in.Read(c.buf)
	if c.short, c.ended = n < len(c.buf), err; n == 0 && err != nil {
		return 0, nil, err
	}
	return 0, c.buf[:n], nil
}

// decode streams: it holds one chunk of input and one of output, so that a live
// pipe shows every reading at once.
func decode(d *drivers.Driver, from source, out *bufio.Writer, asJSON bool) (err error) {
	if !asJSON {
		if _, err := out.WriteString("channel,value,unit,step,fault,raw\n"); err != nil {
			return err
		}
	}
	steps := drivers.NewSteps(d)
	var row, num []byte
	var failed error
	emit := func(v *drivers.Value) {
		unit := v.Unit
		if unit == quantity.None {
			unit = d.Unit
		}
		if !v.HasVal {
			unit = quantity.None
		}
		step := steps.See(v)
		row = row[:0]
		if asJSON {
			r := decodeRow{Channel: string(v.Channel), Unit: unit.String(), Fault: v.Fault.String(), Raw: ledger.Escaped(v.Raw)}
			if v.HasVal {
				r.Value, r.Step = v.Value.String(), step.String()
			}
			line, err := json.Marshal(r)
			if err != nil {
				failed = err
				return
			}
			row = append(append(row, line...), '\n')
		} else {
			row = append(ledger.AppendCSVRaw(row, v.Channel), ',')
			if v.HasVal {
				row = v.Value.Append(row)
			}
			row = append(append(append(row, ','), unit.String()...), ',')
			if v.HasVal {
				num = step.Append(num[:0])
				row = append(row, num...)
			}
			row = append(append(append(row, ','), v.Fault.String()...), ',')
			row = append(ledger.AppendCSVRaw(row, v.Raw), '\n')
		}
		if _, err := out.Write(row); err != nil && failed == nil {
			failed = err
		}
	}
	dec := d.NewDecoder()
	for failed == nil {
		at, b, err := from.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		dec.Feed(b, at, emit)
	}
	dec.End(emit)
	return failed
}
