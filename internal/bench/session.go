package bench

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"thouwright/config"
	"thouwright/drivers"
	"thouwright/internal/capture"
	"thouwright/internal/form"
	"thouwright/internal/journal"
	"thouwright/internal/ledger"
)

// files is a version of what a person wrote, read and checked.
type files struct {
	bench     *config.Bench
	benchText []byte
	cat       *drivers.Catalogue
	job       *config.Job // nil: loose
	jobText   []byte
	problems  []ledger.Problem // warnings
}

// session is one job open for work: its folder and the work's state.
type session struct {
	number  string
	journal *journal.Journal
	sheet   *capture.Sheet
	version int
	origin  ledger.Stamp
	tapes   *tapes // nil unless asked for
	// pictures are those whose sum an event states.
	pictures map[string]bool
}

// openSession opens the job's folder, repairs what a crash left, and prepares
// the work to go on where it was.
func openSession(f *files, o journal.Options, at ledger.Stamp) (*session, capture.Resume, error) {
	o.Dir, o.Number = f.bench.LogDir, capture.LooseNumber
	if f.job != nil {
		o.Number = f.job.Number
	}
	j, rec, err := journal.Open(o)
	if err != nil {
		return nil, capture.Resume{}, err
	}
	s := &session{number: o.Number, journal: j, origin: at, pictures: map[string]bool{}}
	for _, e := range rec.Events {
		if name, sum := ledger.NotePhoto(e.Text); e.Kind == ledger.EvNote && sum != "" {
			s.pictures[name] = true
		}
	}
	at.Elapsed = 0
	j.Event(ledger.Event{Seq: rec.LastSeq, At: at, Kind: ledger.EvStart, Text: startText()})
	if err := s.adopt(f, at); err != nil {
		return nil, capture.Resume{}, errors.Join(err, j.Close(context.Background(), at))
	}
	resume := capture.Resume{Seq: rec.LastSeq, Take: rec.LastTake, Tag: rec.Place, HasActive: rec.Place != ledger.Tag{}, Measured: rec.Measured}
	for i := range rec.Takes {
		resume.Takes = append(resume.Takes, &rec.Takes[i])
	}
	for _, e := range rec.Events {
		if n, ok := capture.AcceptedTake(e); ok {
			resume.Accepted = append(resume.Accepted, n)
		}
	}
	return s, resume, nil
}

// startText is a start event's: which version of the program began the run.
func startText() string { return "thouwright " + Version() }

// adopt keeps a version of the files beside the logs and makes its sheet.
func (s *session) adopt(f *files, at ledger.Stamp) error {
	used := journal.Sheets{Job: f.jobText, Bench: f.benchText, Drivers: map[string][]byte{}}
	for _, g := range f.bench.Gauges {
		if d, err := f.cat.Find(g.Driver); err == nil {
			used.Drivers[d.Name] = d.Text
		}
	}
	version := s.journal.Sheet(at, used)
	sheet, err := capture.NewSheet(f.bench, f.job, version, f.sends)
	if err != nil {
		return err
	}
	s.sheet, s.version = sheet, version
	return nil
}

// sends is how a gauge sends, which its driver knows.
func (f *files) sends(gauge string) ledger.Sends {
	if g := f.bench.Gauge(gauge); g != nil {
		if d, err := f.cat.Find(g.Driver); err == nil {
			return d.Sends
		}
	}
	return ledger.Streams
}

// close writes the stop event and everything held.
func (s *session) close(ctx context.Context, at ledger.Stamp) error {
	at.Elapsed -= s.origin.Elapsed
	if s.tapes != nil {
		s.tapes.end(at.Elapsed)
	}
	err := s.journal.Close(ctx, at)
	if s.tapes != nil {
		err = errors.Join(err, s.tapes.trouble())
	}
	return err
}

// filled and empty recycle the memory in which readings travel to the journal:
// parcels that hold some, and parcels that gave theirs away. (In one pool an
// empty one would come up while filled ones lie below it.)
var filled, empty sync.Pool

// parcel is a batch of readings on its way to the journal, raw bytes and all:
// the engine's own batch is used again for the next chunk.
type parcel struct {
	readings []ledger.Reading
	arena    []byte
}

// mostKept bounds what a recycled parcel may hold on to.
const mostKept = 4096

func (p *parcel) add(batch []ledger.Reading) {
	n := len(p.readings)
	p.readings = append(p.readings, batch...)
	for i := n; i < len(p.readings); i++ {
		r := &p.readings[i]
		start := len(p.arena)
		p.arena = append(p.arena, r.Raw...)
		r.Raw = p.arena[start:len(p.arena)]
	}
}

func newParcel() *parcel {
	if p, ok := filled.Get().(*parcel); ok {
		return p
	}
	return emptyParcel()
}

func emptyParcel() *parcel {
	if p, ok := empty.Get().(*parcel); ok {
		return p
	}
	return new(parcel)
}

// handOver copies a batch for the journal.
func handOver(batch []ledger.Reading) []ledger.Reading {
	p := newParcel()
	p.add(batch)
	return p.send()
}

// send gives the parcel's readings away. The parcel is found again through the
// first of them: its raw bytes begin the arena, which may have grown since.
func (p *parcel) send() []ledger.Reading {
	out := p.readings
	if len(out) > 0 {
		out[0].Raw = p.arena[:len(out[0].Raw)]
	}
	p.readings, p.arena = nil, nil
	empty.Put(p)
	return out
}

// takeBack is handOver's other end.
func takeBack(batch []ledger.Reading) {
	if len(batch) == 0 || cap(batch) > mostKept {
		return
	}
	p := emptyParcel()
	p.readings, p.arena = batch[:0], batch[0].Raw[:0]
	filled.Put(p)
}

// readText reads a file that a person wrote; where it can't be, the text is
// empty and loading it again says why.
func readText(file string) []byte {
	b, err := form.ReadFile(file, "file")
	if err != nil {
		return nil
	}
	return b
}

// loadFiles reads and checks the bench file, its drivers and, where asked for,
// a job. Any mistake that refuses them is in the problems, and files is nil.
func loadFiles(benchFile, job string) (*files, []ledger.Problem) {
	b, problems := config.LoadBench(benchFile)
	if b == nil {
		return nil, problems
	}
	f := &files{bench: b, benchText: readText(benchFile)}
	cat, errs := drivers.Load(b.DriverDir)
	f.cat = cat
	problems = append(problems, driverProblems(b, cat, errs)...)
	if job != "" {
		path, err := config.FindJob(b, job)
		if err != nil {
			return nil, append(problems, ledger.Problem{Text: err.Error()})
		}
		j, ps := config.LoadJob(path)
		problems = append(problems, ps...)
		if j == nil {
			return nil, problems
		}
		f.job, f.jobText = j, readText(path)
	}
	problems = append(problems, config.Validate(b, f.job, cat)...)
	if config.Refused(problems) {
		return nil, problems
	}
	f.problems = problems
	return f, problems
}

// driverProblems are the mistakes in the user's own drivers: warnings for those
// that no gauge needs (config.Validate tells the others), and for a driver in use
// the examples of its own that it does not bear out.
func driverProblems(b *config.Bench, cat *drivers.Catalogue, broken []error) (ps []ledger.Problem) {
	used := map[string]bool{}
	for _, g := range b.Gauges {
		used[g.Driver] = true
	}
	for name := range used {
		i := slices.Index(broken, cat.Broken(name))
		if i >= 0 {
			broken = slices.Delete(broken, i, i+1)
		}
	}
	for _, err := range broken {
		p := config.ProblemOf(err)
		p.Warning = true
		ps = append(ps, p)
	}
	for _, name := range slices.Sorted(maps.Keys(used)) {
		d, err := cat.Find(name)
		if b, _ := drivers.BuiltIn().Find(name); err != nil || d == b || len(d.Examples) == 0 {
			continue
		}
		for _, err := range d.CheckExamples() {
			ps = append(ps, config.ProblemOf(err))
		}
	}
	return ps
}

// problemsError is a file's mistakes as an error, a line each.
type problemsError []ledger.Problem

func (p problemsError) Error() string {
	var s string
	for _, q := range p {
		if q.Warning {
			continue
		}
		if s != "" {
			s += "\n"
		}
		s += q.String()
	}
	return s
}

// closeTime bounds the last flush; a second signal skips it.
const closeTime = 10 * time.Second

func logDisk(log zerolog.Logger, t *journal.Trouble) {
	ev := log.Error()
	if t.Over {
		ev = log.Info()
	}
	ev.Int64("held_bytes", t.Held).Uint64("readings_lost", t.Lost).Msg(fmt.Sprint("disk: ", t.Text))
}
