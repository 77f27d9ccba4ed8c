package bench

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/rs/zerolog"

	"thouwright/config"
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
		if t.line >= 0 {
			e.chunk(t.line, t.data, at)
			continue
		}
		stop, err := r.again(t.data, at, e, s, f, lines)
		if err != nil {
			return at, fmt.Errorf("%s: %w", m.where(t), err)
		}
		stopped = stopped || stop
	}
	if !stopped {
		at.Elapsed += afterTheEnd
		at.Wall += afterTheEnd
	}
	e.advance(at)
	return at, nil
}

// again does what a person did. A command that fails now failed then, too, and
// would not be on the tape: that is an error.
func (r Replay) again(text []byte, at ledger.Stamp, e *engine, s *session, f *files, lines []*line) (stop bool, err error) {
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
		for _, l := range lines {
			switch {
			case l.name() != c.Gauge:
			case c.Do == ledger.DoAsked:
				e.asked(l.index, c.Text, at)
			default:
				e.link(l.index, c.Text, l.names(), "port "+c.Text, at)
			}
		}
		return false, nil
	case ledger.DoSheet:
		return false, r.edited(c, at, e, s, f, lines)
	}
	return false, e.command(c, at)
}

// edited works on by the files as they were then edited.
func (r Replay) edited(c ledger.Command, at ledger.Stamp, e *engine, s *session, f *files, lines []*line) error {
	b, problems := config.ParseBench(f.bench.File, []byte(c.Bench))
	if b == nil {
		return problemsError(problems)
	}
	b.LogDir = f.bench.LogDir
	f.bench, f.benchText = b, []byte(c.Bench)
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
	now, err := linesOf(f.bench, f.cat)
	if err != nil {
		return err
	}
	for _, l := range lines {
		for _, n := range now {
			if n.address == l.address && !n.sameGauges(l) {
				l.gauges = n.gauges
				e.sources[l.index] = l.source()
			}
		}
	}
	return nil
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
	add := func(file string, line int) error {
		t, err := os.Open(file)
		if err != nil {
			return fmt.Errorf("tape: %w", err)
		}
		m.tapes = append(m.tapes, &playing{file: file, line: line, f: t, r: tape.NewReader(file, t)})
		return nil
	}
	for i, l := range lines {
		for _, name := range l.names() {
			if file, ok := r.Tapes[name]; ok {
				used[name] = true
				if err := add(file, i); err != nil {
					return m, errors.Join(err, m.close())
				}
			}
		}
	}
	for name := range r.Tapes {
		if !used[name] {
			return m, errors.Join(fmt.Errorf("tape of %q: the bench file has no gauge of that name", name), m.close())
		}
	}
	if r.Commands != "" {
		if err := add(r.Commands, -1); err != nil {
			return m, errors.Join(err, m.close())
		}
	}
	if err := m.begin(); err != nil {
		return m, errors.Join(err, m.close())
	}
	return m, nil
}
