// Package bench is the daemon: it wires ports, decoders, capture, journal,
// sound and page together, reloads what a person edits, and is shared by run,
// demo and replay.
package bench

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

	"github.com/rs/zerolog"

	"thouwright/config"
	"thouwright/drivers"
	"thouwright/internal/gauge"
	"thouwright/internal/journal"
	"thouwright/internal/ledger"
	"thouwright/internal/page"
	"thouwright/internal/port"
	"thouwright/internal/sound"
)

// Options is what a daemon is started with. Only BenchFile and Log are needed.
type Options struct {
	BenchFile string
	Job       string // number or path; "" is none: takes are loose
	Tapes     bool
	Listen    string       // overrides the bench file's page address
	Clock     *Clock       // nil: real time
	Open      gauge.Opener // nil: port.Open
	FS        journal.FS   // nil: the real one
	Log       zerolog.Logger
	Terminal  io.Writer // where the pairing code is shown; nil: nowhere
	// Ready is called once everything runs, with the page's address.
	Ready func(d *Daemon, url string)
	// Alive, where set, is called by the loop at least once a second.
	Alive func()
}

// Daemon is a running bench. Its loop goroutine owns everything below loop.
type Daemon struct {
	o         Options
	log       zerolog.Logger
	clock     *Clock
	in        *intake
	hub       *hub
	player    *sound.Player
	soundNote soundNote
	page      *page.Server
	count     *counters

	receipts chan receipt
	ctx      context.Context
	keepers  sync.WaitGroup

	// loop
	files   *files
	engine  engine
	session *session
	jobs    int            // sessions opened so far
	aside   sync.WaitGroup // what is read off the loop; ends with ctx
	closing sync.WaitGroup // sessions before, whose last rows are still flushed
	lines   []*line        // by port index; a line that is gone stays, without gauges
	pedal   pedal
	shown   shown
	publish pace
	disk    string // trouble that a person must see
	wall    ledger.ClockWatch

	// What others read: the figures and the watcher of files.
	taken, kept atomic.Uint64 // the last reading taken in, and synced
	benchNow    atomic.Pointer[config.Bench]
	catNow      atomic.Pointer[drivers.Catalogue]
	jobFile     atomic.Pointer[string]
}

// use makes f the files in force.
func (d *Daemon) use(f *files) {
	d.files = f
	d.benchNow.Store(f.bench)
	d.catNow.Store(f.cat)
	job := ""
	if f.job != nil {
		job = f.job.File
	}
	d.jobFile.Store(&job)
}

// Version is the program's version as built.
func Version() string {
	if i, ok := debug.ReadBuildInfo(); ok && i.Main.Version != "" {
		return i.Main.Version
	}
	return "(devel)"
}

// Run runs a bench until ctx is done, then flushes and closes everything in
// order: ports, loop, journal, page, sound. An error at the start is one line
// (or one for each mistake in the files).
func Run(ctx context.Context, o Options) error {
	f, problems, lostJob := loadInHand(o.BenchFile, o.Job)
	if f == nil {
		return problemsError(problems)
	}
	if o.Clock == nil {
		o.Clock = NewClock(1)
	}
	if o.Open == nil {
		o.Open = port.OpenOn(o.Clock)
	}
	// The ports, the loop and the watchers end on their own signal, after the
	// journal's last rows are known to be taken.
	inner, stop := context.WithCancel(context.Background())
	defer stop()
	d := &Daemon{
		o: o, log: o.Log, clock: o.Clock, in: newIntake(inner, o.Clock), hub: newHub(), ctx: inner,
		receipts: make(chan receipt, 4096),
	}
	d.count = newCounters(func() float64 { return float64(len(d.in.queue)) }, d.unsynced)
	d.shown.unit, d.shown.said = f.bench.DisplayUnit, lostJob
	if o.Listen != "" {
		f.bench.Page.Listen = o.Listen
	}
	d.player = sound.New(f.bench.Sound, d.log)
	defer d.player.Close()
	if err := d.openJob(f, d.in.now()); err != nil {
		return err
	}
	d.adoptSound()
	d.resumeSound()
	if err := d.openPage(); err != nil {
		return errors.Join(err, d.session.close(context.Background(), d.in.now()))
	}
	if err := d.setLines(f); err != nil {
		return errors.Join(err, d.session.close(context.Background(), d.in.now()))
	}
	d.noteInHand(f)
	var side sync.WaitGroup
	side.Go(func() {
		if err := d.page.Serve(inner); err != nil && !errors.Is(err, http.ErrServerClosed) {
			d.log.Error().Err(err).Msg("page")
		}
	})
	side.Go(func() { d.watchFiles(inner) })
	d.shown.broken = problems
	for _, p := range problems {
		d.log.Warn().Msg(p.String())
	}
	if lostJob != "" {
		d.log.Warn().Msg(lostJob)
	}
	d.log.Info().Str("page", d.page.URL()).Str("job", d.session.number).Msg("running")
	if o.Ready != nil {
		o.Ready(d, d.page.URL())
	}
	d.loop(ctx)
	err := d.shutDown()
	stop()
	d.hub.closeAll()
	side.Wait()
	d.aside.Wait()
	return err
}

// shutDown stops the ports, takes what they had still read, and closes the job.
func (d *Daemon) shutDown() error {
	for _, l := range d.lines {
		if l.stop != nil {
			l.stop()
		}
	}
	drained := make(chan struct{})
	go func() { d.keepers.Wait(); close(drained) }()
	for done := false; !done; {
		select {
		case it := <-d.in.queue:
			d.handle(it)
		case <-drained:
			done = true
		}
	}
	for len(d.in.queue) > 0 {
		d.handle(<-d.in.queue)
	}
	ctx, cancel := context.WithTimeout(context.Background(), closeTime)
	defer cancel()
	closed := make(chan error, 1)
	at := d.in.now()
	go func() {
		err := d.session.close(ctx, at)
		d.closing.Wait()
		closed <- err
	}()
	for {
		select {
		case r := <-d.receipts:
			d.receipt(r)
		case err := <-closed:
			for len(d.receipts) > 0 {
				d.receipt(<-d.receipts)
			}
			if err != nil {
				return fmt.Errorf("closing %s: %w", d.session.number, err)
			}
			d.log.Info().Str("job", d.session.number).Msg("stopped, everything is on disk")
			return nil
		}
	}
}

// openJob makes a job the active one. On an error nothing has changed.
func (d *Daemon) openJob(f *files, at ledger.Stamp) error {
	job := d.jobs + 1
	s, resume, err := openSession(f, journal.Options{
		FS: d.o.FS, Log: d.log, Receipt: func(r journal.Receipt) { d.receiptFromJournal(receipt{r, job}) }, Recycle: takeBack, Synced: d.count.synced,
	}, at)
	if err != nil {
		return err
	}
	if d.o.Tapes {
		if s.tapes, err = newTapes(s.journal, at.Time()); err != nil {
			return errors.Join(err, s.close(context.Background(), at))
		}
	}
	old := d.session
	d.session, d.jobs = s, job
	d.use(f)
	d.engine.begin(s, resume, at, sessionSink{d})
	if tag, ok := d.engine.capture.Active(); ok && s.tapes != nil && resume.HasActive {
		s.tapes.command(0, ledger.Command{Do: ledger.DoStage, Stage: tag.Stage, By: "resume"})
		s.tapes.command(0, ledger.Command{Do: ledger.DoPosition, Component: tag.Component,
			Check: tag.Check, Position: tag.Position, By: "resume"})
	}
	if old != nil {
		d.closing.Go(func() { // its last rows are flushed while the new job runs
			ctx, cancel := context.WithTimeout(context.Background(), closeTime)
			defer cancel()
			if err := old.close(ctx, at); err != nil {
				d.log.Error().Err(err).Str("job", old.number).Msg("closing the job before")
			}
		})
	}
	d.shown.last, d.shown.logged = nil, resume.Seq
	d.adviseNext()
	d.taken.Store(resume.Seq)
	d.count.waiting = d.count.waiting[:0]
	d.count.lost.Set(0)
	d.kept.Store(resume.Seq)
	d.sheetPictures(f)
	return nil
}

// joinLines takes the ports over into the job just opened. Its tapes begin
// with what each was in the middle of, and so does the work itself.
func (d *Daemon) joinLines(at ledger.Stamp) error {
	for _, l := range d.lines {
		if l.gone || l.isPedal() {
			continue
		}
		l.tape = l.name()
		if l.link != gauge.Up {
			d.engine.sources[l.index] = l.source()
			continue
		}
		state := d.engine.sources[l.index].State()
		if t := d.session.tapes; t != nil {
			t.command(0, ledger.Command{Do: ledger.DoLink, Gauge: l.tape, Text: linkRunning, State: state})
		}
		if err := d.engine.resume(l.index, state, at); err != nil {
			return err
		}
	}
	return nil
}

// receipt is what a journal says back, and which session's it is: the one
// before still speaks while it is closed.
type receipt struct {
	journal.Receipt
	job int
}

// receiptFromJournal is called on the journal's goroutine. The sound of a take
// starts right here: it is the receipt.
func (d *Daemon) receiptFromJournal(r receipt) {
	if r.Take != nil {
		d.soundTake(r.Take)
	}
	select {
	case d.receipts <- r:
	case <-d.ctx.Done():
	}
}

// setLines starts, keeps or stops ports so that they are those of f.
func (d *Daemon) setLines(f *files) error {
	want, err := linesOf(f.bench, f.cat)
	if err != nil {
		return err
	}
	r := reline(d.lines, want)
	plans := make([]gauge.Plan, len(r.start))
	for i, l := range r.start {
		if plans[i], err = l.plan(); err != nil {
			return err
		}
	}
	gone := map[string]*line{}
	for _, l := range r.stop {
		l.stop()
		l.stop = nil
		gone[l.address] = l
	}
	d.lines = d.engine.adoptLines(d.lines, r)
	for i, l := range r.start {
		d.start(l, plans[i], gone[l.address])
	}
	d.pedal.adopt(f.bench.Switch)
	return nil
}

// start keeps a line's port open in a goroutine of its own, once the line that
// had the port before has let it go.
func (d *Daemon) start(l *line, p gauge.Plan, before *line) {
	ctx, cancel := context.WithCancel(d.ctx)
	l.stop, l.stopped = cancel, make(chan struct{})
	l.seen = make([]seen, len(l.gauges))
	d.keepers.Go(func() {
		defer close(l.stopped)
		if before != nil {
			<-before.stopped
		}
		gauge.Keep(ctx, p, d.o.Open, d.in, d.clock, d.log)
	})
}

// Do carries out what a person asked for, on the loop.
func (d *Daemon) Do(ctx context.Context, c ledger.Command) error {
	if c.Do == ledger.DoNote && c.Photo != "" {
		var err error
		if c, err = d.withPhoto(c); err != nil {
			return err
		}
	}
	return d.in.do(ctx, c)
}

// Subscribe is the state now and every change after it.
func (d *Daemon) Subscribe() (ledger.Live, <-chan page.Update, func()) { return d.hub.Subscribe() }

// JobDir is the folder of the job that was active when Run ended, or is.
func (d *Daemon) JobDir() string { return d.session.journal.Dir() }

var _ page.Desk = (*Daemon)(nil)

// idle is how often the loop looks around when nothing happens.
const idle = time.Second
