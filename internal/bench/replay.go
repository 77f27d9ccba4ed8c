package bench

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/rs/zerolog"

	"thouwright/internal/capture"
	"thouwright/internal/gauge"
	"thouwright/internal/journal"
	"thouwright/internal/ledger"
	"thouwright/internal/tape"
)

// Replay is what is played again.
type Replay struct {
	BenchFile string
	Job       string            // number or path
	Tapes     map[string]string // a gauge of each port to its tape
	Commands  string            // the tape of what a person did; "" for none
	Dir       string            // Dir/NUMBER is made and must not exist
	Log       zerolog.Logger

	loaded *files          // instead of BenchFile and Job
	from   *capture.Resume // what was measured before the tapes began
}

// afterTheEnd is how long timers run on after the last chunk, where no tape of
// commands says when the run stopped: a gauge that sends only on change proves
// its last rest by silence.
const afterTheEnd = int64(time.Second / time.Microsecond)

// doStop ends a tape of commands: when the run stopped.
const doStop = "stop"

// Run plays the tapes through the same engine that the daemon runs, as fast as
// it goes, and returns the folder it wrote. Every timer runs on tape time.
func (r Replay) Run(ctx context.Context) (dir string, err error) {
	f := r.loaded
	if f == nil {
		var problems []ledger.Problem
		if f, problems = loadFiles(r.BenchFile, r.Job); f == nil {
			return "", problemsError(problems)
		}
	}
	lines, err := linesOf(f.bench, f.cat)
	if err != nil {
		return "", err
	}
	m, err := r.openTapes(lines)
	if err != nil {
		return "", err
	}
	defer m.close()
	f.bench.LogDir = r.Dir
	number := capture.LooseNumber
	if f.job != nil {
		number = f.job.Number
	}
	dir = filepath.Join(r.Dir, number)
	if _, err := os.Lstat(dir); err == nil {
		return "", fmt.Errorf("%s exists already: give another -o, or move it away", dir)
	}
	at := ledger.Stamp{Wall: m.began.UnixMicro()}
	s, resume, err := openSession(f, journal.Options{Log: r.Log, Recycle: takeBack, Bulk: true}, at)
	if err != nil {
		return "", err
	}
	if r.from != nil {
		resume = *r.from
	}
	var e engine
	for i, l := range lines {
		l.index = i
		e.sources = append(e.sources, l.source())
	}
	e.begin(s, resume, at, &journalSink{j: s.journal})
	e.capture.Unheard = true
	if r.Commands == "" { // nobody says when the ports were opened: they were
		for _, l := range lines {
			e.link(l.index, linkRunning, nil, "", at)
		}
	}
	last, err := r.play(ctx, m, &e, s, f, lines, at)
	last.Elapsed = max(last.Elapsed, 0)
	e.sink.(*journalSink).flush()
	return dir, errors.Join(err, s.close(context.Background(), last))
}

// play feeds everything on the tapes to the engine, in the order of its times.
func (r Replay) play(ctx context.Context, m *merger, e *engine, s *session, f *files, lines []*line, start ledger.Stamp) (at ledger.Stamp, err error) {
	at = start
	stopped := false
	for n := 0; ; n++ {
		if n%4096 == 0 && ctx.Err() != nil {
			return at, ctx.Err()
		}
		t, err := m.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return at, err
		}
		at = ledger.Stamp{Wall: start.Wall + t.at, Elapsed: max(t.at, at.Elapsed)}
		if t.line == commandsLine {
			stop, err := r.again(t.data, at, e, s, f, &lines)
			if err != nil {
				return at, fmt.Errorf("%s: %w", m.where(t), err)
			}
			stopped = stopped || stop
			continue
		}
		if t.line == noLine || lines[t.line].gone { // an edit changed the gauge's port
			if t.line = lineOfTape(lines, t.from.name); t.line < 0 {
				return at, fmt.Errorf("%s: the bench file has no gauge %q at that time", m.where(t), t.from.name)
			}
			t.from.line = t.line
		}
		e.chunk(t.line, t.data, at)
	}
	if !stopped {
		at.Elapsed += afterTheEnd
		at.Wall += afterTheEnd
	}
	e.advance(at)
	return at, nil
}

// journalSink keeps rows and tells nobody. Nobody waits for a single reading,
// so they go to the journal by the hundred.
type journalSink struct {
	j    *journal.Journal
	held *parcel
}

const parcelOf = 512

func (s *journalSink) readings(_ int, batch []ledger.Reading) {
	if s.held == nil {
		s.held = newParcel()
	}
	s.held.add(batch)
	if len(s.held.readings) >= parcelOf {
		s.flush()
	}
}

// flush keeps readings before whatever followed them.
func (s *journalSink) flush() {
	if s.held != nil {
		s.j.Readings(s.held.send())
		s.held = nil
	}
}

func (s *journalSink) notes(int, []gauge.Note) {}

func (s *journalSink) fact(f capture.Fact) {
	switch f := f.(type) {
	case capture.EventFact:
		s.flush()
		s.j.Event(f.Event)
	case capture.TakeFact:
		s.flush()
		s.j.Take(*f.Take)
	}
}

// openTapes opens the tapes in the order of the bench's ports, the commands
// last.
func (r Replay) openTapes(lines []*line) (*merger, error) {
	m := &merger{began: time.Unix(0, 0).UTC()}
	used := map[string]bool{}
	add := func(file, name string, line int) error {
		t, err := os.Open(file)
		if err != nil {
			return fmt.Errorf("tape: %w", err)
		}
		m.tapes = append(m.tapes, &playing{file: file, name: name, line: line, f: t, r: tape.NewReader(file, t)})
		return nil
	}
	for i, l := range lines {
		for _, name := range l.names() {
			if file, ok := r.Tapes[name]; ok {
				used[name] = true
				if err := add(file, name, i); err != nil {
					return m, errors.Join(err, m.close())
				}
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(r.Tapes)) {
		switch {
		case used[name]:
		case r.Commands != "": // an edit on the tape of commands may bring it
			if err := add(r.Tapes[name], name, noLine); err != nil {
				return m, errors.Join(err, m.close())
			}
		default:
			return m, errors.Join(fmt.Errorf("tape of %q: the bench file has no gauge of that name", name), m.close())
		}
	}
	if r.Commands != "" {
		if err := add(r.Commands, commandsTape, commandsLine); err != nil {
			return m, errors.Join(err, m.close())
		}
	}
	if err := m.begin(); err != nil {
		return m, errors.Join(err, m.close())
	}
	return m, nil
}
