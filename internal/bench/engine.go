package bench

import (
	"math"

	"thouwright/internal/capture"
	"thouwright/internal/gauge"
	"thouwright/internal/ledger"
)

// engine is the middle of the flow, the same in the daemon and in a replay:
// bytes through the ports' decoders to readings, readings through capture to
// facts. It has no goroutine and no clock; whoever drives it calls it in the
// order of the stamps. Everything it emits goes to the sink, readings first.
type engine struct {
	sources []*gauge.Source // by port index; nil where the port was taken away
	capture *capture.Capture
	sink    sink
	origin  ledger.Stamp // of the job's folder: its elapsed time is 0 there

	batch gauge.Batch
	out   capture.Out
	last  ledger.Stamp
}

// sink takes what the engine emits, in order. It must not keep the slices.
type sink interface {
	readings(port int, batch []ledger.Reading)
	notes(port int, notes []gauge.Note)
	fact(f capture.Fact)
}

// chunk takes bytes that a port read.
func (e *engine) chunk(port int, b []byte, at ledger.Stamp) {
	e.advance(at)
	if s := e.source(port); s != nil {
		s.Feed(b, at, &e.batch)
		e.emit(port, at)
	}
}

// asked takes which channel a port's poll asked.
func (e *engine) asked(port int, channel string, at ledger.Stamp) {
	e.advance(at)
	if s := e.source(port); s != nil {
		s.Asked(channel)
	}
}

// What a link is, as the tape of commands has it.
const (
	linkOpened  = "opened"  // for the first time
	linkRunning = "running" // was open when the tape began
	linkLost    = "lost"
	linkBack    = "back"
)

// link takes the news that a port came or went.
func (e *engine) link(port int, how string, gauges []string, text string, at ledger.Stamp) {
	e.advance(at)
	if s := e.source(port); s != nil {
		tape := s.Whole
		s.Whole = tape || how == linkRunning
		s.Link(how != linkLost, at, &e.batch)
		s.Whole = tape
		e.emit(port, at)
	}
	if how == linkLost || how == linkBack {
		e.capture.Link(gauges, how == linkBack, text, e.rebase(at), &e.out)
		e.flush()
	}
}

// resume goes on, on a port that is open when a job begins, in the middle of
// what it was in the middle of.
func (e *engine) resume(port int, state string, at ledger.Stamp) error {
	e.advance(at)
	if s := e.source(port); s != nil {
		return s.Resume(state, at)
	}
	return nil
}

// regauge works on with the gauges of an edited bench file, on a port that
// stays open. Its moment is the last the loop has seen: a fresh stamp would
// overtake what is queued.
func (e *engine) regauge(port int, gauges []gauge.Spec) {
	if s := e.source(port); s != nil {
		s.Regauge(gauges, e.last)
	}
}

// command does what a person asked for.
func (e *engine) command(c ledger.Command, at ledger.Stamp) error {
	e.advance(at)
	err := e.capture.Command(c, e.rebase(at), &e.out)
	e.flush()
	return err
}

// replace works on by a new version of the files.
func (e *engine) replace(s *capture.Sheet, at ledger.Stamp) {
	e.advance(at)
	e.capture.Replace(s, e.rebase(at), &e.out)
	e.flush()
}

func (e *engine) source(port int) *gauge.Source {
	if port < 0 || port >= len(e.sources) {
		return nil
	}
	return e.sources[port]
}

// emit passes a batch through capture and on to the sink.
func (e *engine) emit(port int, at ledger.Stamp) {
	if len(e.batch.Readings) > 0 {
		for i := range e.batch.Readings {
			e.batch.Readings[i].At = e.rebase(at)
		}
		e.capture.Readings(e.batch.Readings, &e.out)
		e.sink.readings(port, e.batch.Readings)
		e.flush()
	}
	for i := range e.batch.Notes {
		n := &e.batch.Notes[i]
		if n.Kind.Lost() || n.Kind.Back() {
			e.capture.Link([]string{n.Gauge}, n.Kind.Back(), n.Text, e.rebase(at), &e.out)
			e.flush()
		}
	}
	if len(e.batch.Notes) > 0 {
		e.sink.notes(port, e.batch.Notes)
	}
	e.batch.Reset()
}

func (e *engine) flush() {
	for _, f := range e.out.Facts {
		e.sink.fact(f)
	}
	e.out.Reset()
}

// rebase counts elapsed time from the opening of the job's folder, so that a
// replay of its tapes computes with the very same numbers.
func (e *engine) rebase(at ledger.Stamp) ledger.Stamp {
	at.Elapsed -= e.origin.Elapsed
	return at
}

// advance runs every timer that is due before at, each at its own moment and in
// their order. So it makes no difference how late the driver is with them.
func (e *engine) advance(at ledger.Stamp) {
	for {
		due, port := e.next()
		if due > at.Elapsed {
			break
		}
		when := ledger.Stamp{Elapsed: max(due, e.last.Elapsed)}
		when.Wall = at.Wall - (at.Elapsed - when.Elapsed)
		e.last = when
		if port < 0 {
			e.capture.Tick(e.rebase(when), &e.out)
			e.flush()
			continue
		}
		e.sources[port].Tick(when, &e.batch)
		e.emit(port, when)
	}
	e.last = at
}

// next is the moment of the earliest timer and whose it is: a port's, or
// capture's (-1).
func (e *engine) next() (due int64, port int) {
	port = -1
	due = e.capture.Deadline()
	if due != math.MaxInt64 {
		due += e.origin.Elapsed
	}
	for i, s := range e.sources {
		if s == nil {
			continue
		}
		if d := s.Deadline(); d < due {
			due, port = d, i
		}
	}
	return due, port
}
