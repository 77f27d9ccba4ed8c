package bench

import (
	"encoding/json"
	"errors"
	"fmt"

	"thouwright/config"
	"thouwright/drivers"
	"thouwright/internal/capture"
	"thouwright/internal/ledger"
)

// again does what a person did. A command that fails now failed then, too, and
// would not be on the tape: that is an error, but where the take in progress answered.
func (r Replay) again(text []byte, at ledger.Stamp, e *engine, s *session, f *files, lines *[]*line) (stop bool, err error) {
	var c ledger.Command
	if err := json.Unmarshal(text, &c); err != nil {
		return false, fmt.Errorf("not a command: %w", err)
	}
	switch c.Do {
	case doStop:
		return true, nil
	case ledger.DoUnit, ledger.DoSound, ledger.DoJob:
		return false, nil
	case ledger.DoLink, ledger.DoAsked:
		i := lineOfTape(*lines, c.Gauge)
		switch {
		case i < 0:
			return false, fmt.Errorf("the bench file has no gauge %q at that time", c.Gauge)
		case c.Do == ledger.DoAsked:
			e.asked(i, c.Text, at)
		case c.Text == linkRunning:
			return false, e.resume(i, c.State, at)
		default:
			e.link(i, c.Text, (*lines)[i].names(), "port "+c.Text, at)
		}
		return false, nil
	case ledger.DoSheet:
		return false, r.edited(c, at, e, s, f, lines)
	}
	err = e.command(c, at)
	if _, answered := errors.AsType[capture.Answer](err); answered {
		err = nil
	}
	return false, err
}

// edited works on by the files as they were then edited.
func (r Replay) edited(c ledger.Command, at ledger.Stamp, e *engine, s *session, f *files, lines *[]*line) error {
	var own []*drivers.Driver
	for name, text := range c.Drivers {
		d, err := drivers.Parse(name+".toml", []byte(text))
		if err != nil {
			return err
		}
		own = append(own, d)
	}
	f.cat = f.cat.With(own...)
	b, problems := config.ParseBench(f.bench.File, []byte(c.Bench))
	if b == nil {
		return problemsError(problems)
	}
	b.LogDir = f.bench.LogDir
	f.bench, f.benchText = b, []byte(c.Bench)
	if c.Sheet != "" && f.job == nil {
		return fmt.Errorf("an edited job sheet where no job was in hand")
	}
	if c.Sheet != "" {
		j, problems := config.ParseJob(f.job.File, []byte(c.Sheet))
		if j == nil {
			return problemsError(problems)
		}
		f.job, f.jobText = j, []byte(c.Sheet)
	}
	if err := s.adopt(f, e.rebase(at)); err != nil {
		return err
	}
	e.replace(s.sheet, at)
	want, err := linesOf(f.bench, f.cat)
	if err != nil {
		return err
	}
	*lines = e.adoptLines(*lines, reline(*lines, want))
	return nil
}

// lineOfTape is the index of the line whose tape is called so, or whose gauge
// is; -1 for none.
func lineOfTape(lines []*line, name string) int {
	for _, l := range lines {
		if !l.gone && l.tape == name {
			return l.index
		}
	}
	for _, l := range lines {
		if !l.gone && l.find(name) >= 0 {
			return l.index
		}
	}
	return -1
}
