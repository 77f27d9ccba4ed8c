package bench

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"reflect"
	"slices"
	"time"

	"thouwright/config"
	"thouwright/drivers"
	"thouwright/internal/capture"
	"thouwright/internal/gauge"
	"thouwright/internal/journal"
	"thouwright/internal/ledger"
)

// begin points the engine at a job. Readings' order and numbers go on from
// where the job was.
func (e *engine) begin(s *session, r capture.Resume, at ledger.Stamp, to sink) {
	e.sink, e.origin, e.last = to, at, at
	e.capture = capture.New(s.sheet, r, e.rebase(at), &e.out)
	e.flush()
}

// loop handles everything that happens, in the order of its stamps.
func (d *Daemon) loop(ctx context.Context) {
	timer := time.NewTimer(idle)
	defer timer.Stop()
	for {
		timer.Reset(d.wait())
		select {
		case it := <-d.in.queue:
			d.handle(it)
		case r := <-d.receipts:
			d.receipt(r)
		case <-timer.C:
			// Whatever was stamped before this moment lies in the queue already:
			// it goes first, so a timer never overtakes it.
			now := d.in.now()
			for n := len(d.in.queue); n > 0; n-- {
				d.handle(<-d.in.queue)
			}
			d.engine.advance(later(now, d.engine.last))
			d.pressed(d.pedal.state.Tick(now.Elapsed), now)
		case <-ctx.Done():
			return
		}
		d.show(false)
		if d.o.Alive != nil {
			d.o.Alive()
		}
	}
}

// later keeps time from going back past what the engine has seen.
func later(a, b ledger.Stamp) ledger.Stamp {
	if a.Elapsed < b.Elapsed {
		return b
	}
	return a
}

// wait is how long the loop may sleep.
func (d *Daemon) wait() time.Duration {
	due, _ := d.engine.next()
	if p := d.pedal.deadline(); p < due {
		due = p
	}
	w := idle
	if due != math.MaxInt64 {
		w = min(w, d.clock.until(due)+time.Millisecond)
	}
	if s := d.publish.wait(); s < w {
		w = s
	}
	return max(w, 0)
}

// handle does one thing that happened, just taken from the queue.
func (d *Daemon) handle(it item) {
	d.in.taken()
	d.watchClock(it.at)
	switch {
	case it.bytes != nil:
		d.count.handled.Observe(float64(d.clock.Stamp().Elapsed-it.at.Elapsed) / 1e6)
		if l := d.line(it.port); l != nil && !l.isPedal() {
			if t := d.session.tapes; t != nil {
				t.chunk(l.tape, it.at.Elapsed-d.session.origin.Elapsed, *it.bytes)
			}
			d.engine.chunk(it.port, *it.bytes, it.at)
		}
		d.in.pool.Put(it.bytes)
	case it.isLnk:
		d.linked(it)
	case it.asked:
		d.asked(it)
	case it.line:
		d.stepped(it)
	case it.edited:
		d.edited(it)
	case it.cmd != nil:
		err := d.command(*it.cmd, it.at)
		if it.reply != nil {
			it.reply <- err
		}
	}
}

func (d *Daemon) line(port int) *line {
	if port < 0 || port >= len(d.lines) || d.lines[port].gone {
		return nil
	}
	return d.lines[port]
}

// asked passes on which channel a poll asks, and keeps it on the tape: the
// answers alone do not say.
func (d *Daemon) asked(it item) {
	l := d.line(it.port)
	if l == nil {
		return
	}
	if t := d.session.tapes; t != nil {
		t.command(it.at.Elapsed-d.session.origin.Elapsed, ledger.Command{Do: ledger.DoAsked, Gauge: l.tape, Text: it.text})
	}
	d.engine.asked(it.port, it.text, it.at)
}

// linked takes the news of a port. Coming up and breaking are part of the work
// (and of its tape); the states between are for people.
func (d *Daemon) linked(it item) {
	l := d.line(it.port)
	if l == nil {
		return
	}
	l.link, l.message, l.fresh = it.link, it.text, it.link == gauge.Up
	d.publish.now()
	d.count.link(it.link)
	if d.pedal.on(l, d.pedal.Line) || l.isPedal() {
		d.pedal.state = gauge.Pedal{} // what it was before the port was opened says nothing
	}
	if l.isPedal() {
		return
	}
	var how string
	switch {
	case it.link == gauge.Up && l.wasUp:
		how = linkBack
	case it.link == gauge.Up:
		how, l.wasUp = linkOpened, true
	case it.link == gauge.Lost:
		how = linkLost
	default:
		return
	}
	if t := d.session.tapes; t != nil {
		t.command(it.at.Elapsed-d.session.origin.Elapsed, ledger.Command{Do: ledger.DoLink, Gauge: l.tape, Text: how})
	}
	d.engine.link(it.port, how, l.names(), it.text, it.at)
	if how != linkOpened {
		d.soundLink(how == linkBack, l.name())
	}
}

// command does what a person asked for and keeps it on the tape.
func (d *Daemon) command(c ledger.Command, at ledger.Stamp) error {
	var err error
	switch c.Do {
	case ledger.DoJob:
		return d.chooseJob(c.Job, at) // not part of the job's own tape
	case ledger.DoUnit:
		err = d.chooseUnit(c.Text)
	case ledger.DoSound:
		d.chooseSound(c)
	case ledger.DoNote:
		if c.Photo != "" && c.Job != d.session.number {
			return fmt.Errorf("the job in hand has changed since the photograph came: send the note again")
		}
		if err = d.engine.command(c, at); err == nil && c.PhotoSum != "" {
			d.session.pictures[c.Photo] = true
		}
	case ledger.DoSheet, ledger.DoBench, ledger.DoLink:
		err = fmt.Errorf("%q is not a person's command", c.Do)
	default:
		err = d.engine.command(c, at)
	}
	if _, answered := errors.AsType[capture.Answer](err); err == nil || answered {
		if t := d.session.tapes; t != nil {
			t.command(at.Elapsed-d.session.origin.Elapsed, c)
		}
	}
	d.publish.now()
	return err
}

func (d *Daemon) chooseJob(number string, at ledger.Stamp) error {
	if number == d.session.number || number == "" && d.files.job == nil {
		return nil
	}
	if number != "" && filepath.Base(number) != number {
		return fmt.Errorf("job %q: give its number", number)
	}
	f, problems := loadFiles(d.o.BenchFile, number)
	if f == nil {
		return problemsError(problems)
	}
	f.bench.Page.Listen = d.files.bench.Page.Listen
	d.engine.advance(at)
	if err := d.openJob(f, at); err != nil {
		return err
	}
	d.shown.broken, d.shown.said = nil, ""
	d.noteInHand(f)
	return errors.Join(d.setLines(f), d.joinLines(at))
}

// edited works on by files that a person edited; where they are broken, the
// version before goes on and the page says where the mistake is. A job whose
// number was changed is another job.
func (d *Daemon) edited(it item) {
	if it.jobFile != *d.jobFile.Load() { // another job was chosen while they were read
		go d.reload()
		return
	}
	f, problems, at := it.files, it.problems, it.at
	defer d.publish.now()
	mended := config.Refused(d.shown.broken)
	for _, p := range problems {
		if p.Warning && !slices.Contains(d.shown.broken, p) {
			d.log.Warn().Msg(p.String())
		}
	}
	d.shown.broken = problems
	d.shown.jobs = nil // looked up again
	if f == nil {
		return
	}
	listen := d.files.bench.Page.Listen
	f.bench.Page.Listen = listen
	if string(f.benchText) == string(d.files.benchText) && string(f.jobText) == string(d.files.jobText) && sameDrivers(f, d.files) {
		d.use(f)
		if mended {
			d.log.Info().Msg("the mistake is mended: the files are those in use")
		}
		return
	}
	if f.job != nil && d.files.job != nil && f.job.Number != d.files.job.Number {
		d.shown.broken = append(problems, ledger.Problem{File: f.job.File,
			Text: fmt.Sprintf("the number changed from %q to %q: choose that job to measure it; %q goes on as it was", d.files.job.Number, f.job.Number, d.files.job.Number)})
		return
	}
	if err := d.session.adopt(f, d.engine.rebase(at)); err != nil {
		d.shown.broken = append(problems, ledger.Problem{File: f.bench.File, Text: err.Error()})
		return
	}
	if t := d.session.tapes; t != nil {
		t.command(at.Elapsed-d.session.origin.Elapsed, ledger.Command{Do: ledger.DoSheet, Sheet: string(f.jobText), Bench: string(f.benchText), Drivers: f.ownDrivers(), By: "file"})
	}
	if string(f.benchText) != string(d.files.benchText) {
		d.shown.unit = f.bench.DisplayUnit
	}
	sound := !reflect.DeepEqual(f.bench.Sound, d.files.bench.Sound)
	d.use(f)
	if sound { // else what was chosen on the page goes on
		d.adoptSound()
		d.keepSound(false)
	}
	d.engine.replace(d.session.sheet, at)
	if err := d.setLines(f); err != nil {
		d.shown.broken = append(problems, ledger.Problem{File: f.bench.File, Text: err.Error()})
	}
	d.adviseNext()
	d.sheetPictures(f)
	d.log.Info().Msg("edited files took effect")
}

// ownDrivers are the drivers in use that are not the built-in ones, by name.
func (f *files) ownDrivers() map[string]string {
	own := map[string]string{}
	for _, g := range f.bench.Gauges {
		d, err := f.cat.Find(g.Driver)
		if err != nil {
			continue
		}
		if b, err := drivers.BuiltIn().Find(g.Driver); err != nil || string(b.Text) != string(d.Text) {
			own[g.Driver] = string(d.Text)
		}
	}
	return own
}

func sameDrivers(a, b *files) bool {
	for _, g := range a.bench.Gauges {
		x, err1 := a.cat.Find(g.Driver)
		y, err2 := b.cat.Find(g.Driver)
		if err1 != nil || err2 != nil || string(x.Text) != string(y.Text) {
			return false
		}
	}
	return true
}

// event adds a row that is the daemon's own and not capture's.
func (d *Daemon) event(at ledger.Stamp, kind ledger.EventKind, text string) {
	d.session.journal.Event(ledger.Event{Seq: d.engine.capture.Seq(), At: d.engine.rebase(at), Kind: kind, Text: text})
}

// watchClock tells when the wall clock was stepped: order and elapsed times do
// not care, but a reader of the times must know.
func (d *Daemon) watchClock(at ledger.Stamp) {
	if text := d.wall.See(at); text != "" {
		d.event(at, ledger.EvClock, text)
	}
}

// receipt takes what the journal says back. Of the job before, its last takes
// are heard and nothing else: its numbers are not those of the job in hand.
func (d *Daemon) receipt(r receipt) {
	if r.job != d.jobs {
		switch {
		case r.Take != nil:
			d.takeIsKept(r.Take, false)
		case r.Trouble != nil:
			logDisk(d.log, r.Trouble)
		}
		return
	}
	switch {
	case r.Take != nil:
		d.takeIsKept(r.Take, true)
	case r.Refused != nil:
		d.shown.said = fmt.Sprintf("take %d was not kept", r.Refused.Take)
		d.publish.now()
	case r.Trouble != nil:
		d.diskTrouble(r.Trouble)
	}
	if r.LoggedSeq > d.shown.logged {
		d.shown.logged = r.LoggedSeq
		d.kept.Store(r.LoggedSeq)
		d.count.keptUpTo(r.LoggedSeq, d.clock.Stamp().Elapsed)
		d.publish.soon()
	}
}

func (d *Daemon) diskTrouble(t *journal.Trouble) {
	logDisk(d.log, t)
	d.count.lost.Set(float64(t.Lost))
	if t.Over {
		d.disk = ""
	} else {
		if d.disk == "" {
			d.soundDisk()
			d.sayAfterwards() // no receipt may come now, or not for long
		}
		d.disk = t.Text
	}
	if t.Lost > 0 && !t.Over {
		d.engine.capture.Halt("readings were lost because the disk cannot be written")
	} else {
		d.engine.capture.Halt("")
	}
	d.publish.now()
}

// watchFiles reloads what a person edits, until ctx is done. It looks once at
// the start, for an edit made while the daemon came up.
func (d *Daemon) watchFiles(ctx context.Context) {
	w := config.NewWatcher(d.watched)
	d.reload()
	w.Run(ctx, func(string) { d.reload() })
}

// reload reads the files again and hands them to the loop.
func (d *Daemon) reload() {
	job := *d.jobFile.Load()
	f, problems := loadFiles(d.o.BenchFile, job)
	for i := range problems {
		if p := &problems[i]; f == nil && !p.Warning {
			p.Text += " (the version before goes on)"
			d.log.Error().Msg(p.String())
		}
	}
	d.in.put(item{edited: true, files: f, problems: problems, jobFile: job})
}

// watched are the files and folders whose edits take effect.
func (d *Daemon) watched() []string {
	b := d.benchNow.Load()
	list := []string{d.o.BenchFile, b.JobDir}
	if b.DriverDir != "" {
		list = append(list, b.DriverDir)
	}
	if job := *d.jobFile.Load(); job != "" {
		list = append(list, job)
	}
	return list
}
