package journal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"thouwright/internal/ledger"
)

// writer is the journal's goroutine: everything it holds is its own.
type writer struct {
	j    *Journal
	fsys FS
	lock io.Closer

	readings, rests, budget, extras, takes, events *stream
	format                                         ledger.ReadingWriter

	files   []sheetFile    // to be written before any row that follows them
	kept    []sheetFile    // all of this run, for a folder that was removed
	waiting []*ledger.Take // rows formatted, receipt owed
	said    []ledger.Event // repairs, said at the first stamp that comes
	at      ledger.Stamp   // the latest stamp seen
	seq     uint64         // the last reading formatted
	gaps    []gap          // losses not said yet

	trouble *Trouble
	since   time.Time // of the trouble
	retry   time.Duration
	fatal   error // bulk only
}

// all lists the streams in the order in which they are committed.
func (w *writer) all() []*stream {
	return []*stream{w.readings, w.rests, w.budget, w.extras, w.takes, w.events}
}

// run is the goroutine. Timers are armed only while there is work, so an idle
// bench costs nothing.
func (w *writer) run() {
	defer close(w.j.done)
	var flushAt, syncAt, retryAt <-chan time.Time
	for {
		select {
		case <-w.j.wake:
			if flushAt == nil && !w.urgent() {
				flushAt = time.After(flushEvery)
				continue
			}
		case <-flushAt:
			flushAt = nil
		case <-syncAt:
			syncAt = nil
			w.commit()
		case <-retryAt:
			retryAt = nil
			w.tryAgain()
		}
		if stop := w.drain(); stop != nil {
			w.j.err = w.finish(stop)
			return
		}
		w.flush()
		switch {
		case w.trouble != nil:
			if retryAt == nil {
				retryAt = time.After(w.retry)
				w.retry = min(2*w.retry, retryMost)
			}
		case syncAt == nil && !w.j.o.Bulk && w.dirty():
			syncAt = time.After(syncEvery)
		}
		if flushAt == nil && w.j.hasQueue() {
			flushAt = time.After(flushEvery)
		}
	}
}

// urgent tells whether the queue should not wait for the next flush.
func (w *writer) urgent() bool {
	j := w.j
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.closed || j.queued > wakeBytes || j.losing {
		return true
	}
	for i := len(j.queue) - 1; i >= 0; i-- {
		if j.queue[i].take != nil {
			return true
		}
	}
	return false
}

func (j *Journal) hasQueue() bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	return len(j.queue) > 0
}

// drain formats what is queued, committing each take as it comes.
func (w *writer) drain() (stop *closing) {
	q := w.j.takeQueue()
	for i := range q {
		switch m := &q[i]; {
		case m.close != nil:
			stop = m.close
		case m.readings != nil:
			w.addReadings(m.readings)
			if w.j.o.Recycle != nil {
				w.j.o.Recycle(m.readings)
			}
		case m.event != nil:
			w.addEvent(*m.event)
		case m.take != nil && m.refused:
			w.refuse(m.take)
		case m.take != nil:
			w.addTake(m.take)
		case m.files != nil:
			w.addFiles(m.files)
		case m.lost != nil:
			w.lose(*m.lost)
		}
	}
	w.j.giveBack(q)
	return stop
}

func (w *writer) see(at ledger.Stamp) {
	if at.Wall != 0 || at.Elapsed != 0 {
		w.at = at
	}
}

func (w *writer) addReadings(batch []ledger.Reading) {
	w.see(batch[0].At)
	w.sayRepairs()
	s := w.readings
	for i := range batch {
		r := &batch[i]
		if s.size >= w.j.o.Part {
			w.rotate(s)
		}
		n := len(s.pend)
		s.pend = append(s.pend, s.chain[:]...)
		s.pend = ledger.SealRow(w.format.Append(s.pend, r), n, &s.chain)
		s.size += int64(len(s.pend) - n)
		w.seq = r.Seq
		if w.j.o.Bulk && len(s.pend) >= bulkChunk {
			w.flushBulk(s)
		}
	}
	w.see(batch[len(batch)-1].At)
	w.count()
	if w.j.held.Load() > syncBytes && w.trouble == nil && !w.j.o.Bulk {
		w.commit()
	}
}

// count tells the callers how much is held.
func (w *writer) count() {
	var n int64
	for _, s := range w.all() {
		n += int64(len(s.pend))
	}
	w.j.held.Store(n)
}

// addRow appends a row to any stream but the readings.
func (w *writer) addRow(s *stream, format func([]byte) []byte) {
	if s.size >= w.j.o.Part {
		w.rotate(s)
	}
	s.add(format)
}

func (w *writer) addEvent(e ledger.Event) {
	w.see(e.At)
	if e.Kind != ledger.EvStart {
		w.sayRepairs()
	}
	w.addRow(w.events, func(b []byte) []byte { return ledger.AppendEvent(b, &e) })
	w.sayRepairs()
	w.count()
}

// say appends an event of the journal's own, at the latest stamp seen.
func (w *writer) say(kind ledger.EventKind, text string) {
	e := ledger.Event{Seq: w.seq, At: w.at, Kind: kind, Text: text}
	w.addRow(w.events, func(b []byte) []byte { return ledger.AppendEvent(b, &e) })
}

// sayRepairs says what was repaired on opening: it had no stamp then.
func (w *writer) sayRepairs() {
	said := w.said
	w.said = nil
	for _, e := range said {
		w.say(e.Kind, e.Text)
	}
	if len(said) > 0 {
		w.anchor("repaired")
	}
}

// anchor appends the last chain of every file.
func (w *writer) anchor(why string) {
	var entries []anchorEntry
	for _, s := range w.all() {
		entries = append(entries, s.anchors()...)
	}
	w.say(ledger.EvAnchor, anchorText(why, entries))
}

func (w *writer) addTake(t *ledger.Take) {
	w.see(t.At)
	w.sayRepairs()
	for i := range t.Rests {
		r := t.Rests[i]
		r.Take = t.Take
		w.addRow(w.rests, func(b []byte) []byte { return ledger.AppendRest(b, &r) })
	}
	for i := range t.Budget {
		w.addRow(w.budget, func(b []byte) []byte { return ledger.AppendBudget(b, t.Take, &t.Budget[i]) })
	}
	for _, e := range t.KeptExtras() {
		w.addRow(w.extras, func(b []byte) []byte { return ledger.AppendExtra(b, t.Take, &e) })
	}
	w.addRow(w.takes, func(b []byte) []byte { return ledger.AppendTake(b, t) })
	w.waiting = append(w.waiting, t)
	w.count()
	switch {
	case w.j.o.Bulk:
		w.anchor("take " + strconv.FormatUint(t.Take, 10))
	case w.trouble == nil && w.commit():
		w.anchor("take " + strconv.FormatUint(t.Take, 10))
	}
}

// refuse says that a take cannot be kept because readings under it were lost.
func (w *writer) refuse(t *ledger.Take) {
	text := fmt.Sprintf("take %d is not kept: readings it may rest on were lost; measure again", t.Take)
	w.see(t.At)
	w.say(ledger.EvDropped, text)
	w.j.receipt(Receipt{Refused: t, Trouble: w.report(text, nil, false)})
}

// lose notes readings that found no room in memory.
func (w *writer) lose(g gap) {
	w.seq = max(w.seq, g.last)
	if n := len(w.gaps); n > 0 && w.gaps[n-1].last+1 == g.first {
		w.gaps[n-1].last = g.last
		return
	}
	w.gaps = append(w.gaps, g)
	w.j.receipt(Receipt{Trouble: w.report(fmt.Sprintf("no room left in memory: readings are being lost from %d on", g.first), nil, false)})
}

// sayGaps says which readings were lost, once there is room to say it.
func (w *writer) sayGaps() {
	for _, g := range w.gaps {
		w.say(ledger.EvDisk, fmt.Sprintf("readings %d to %d were lost (%d): there was no room in memory while the disk could not be written",
			g.first, g.last, g.last-g.first+1))
	}
	w.gaps = nil
}

// flush gives whole lines to the files, without waiting for the disk.
func (w *writer) flush() {
	if w.trouble != nil || w.fatal != nil {
		return
	}
	if w.j.o.Bulk {
		w.fatal = w.writeFiles()
		for _, s := range w.all() {
			w.flushBulk(s)
		}
		return
	}
	if len(w.files) > 0 {
		w.commit()
		return
	}
	for _, s := range []*stream{w.readings, w.events} {
		if err := s.write(); err != nil {
			w.troubled(err)
			return
		}
	}
	w.count()
}

// flushBulk writes and forgets: the sync comes at Close, and no second try.
func (w *writer) flushBulk(s *stream) {
	if w.fatal == nil {
		if w.fatal = s.write(); w.fatal == nil {
			s.pend, s.wrote = s.pend[:0], 0
			return
		}
	}
	s.pend, s.wrote = s.pend[:0], 0 // the first trouble was the end
}

func (w *writer) dirty() bool {
	if len(w.files) > 0 {
		return true
	}
	for _, s := range w.all() {
		if len(s.pend) > 0 {
			return true
		}
	}
	return false
}

// commit makes everything durable in the contract's order and gives the
// receipts. It tells whether it could.
func (w *writer) commit() bool {
	if w.trouble != nil || w.fatal != nil {
		return false
	}
	if err := w.land(); err != nil {
		w.troubled(err)
		return false
	}
	return true
}

// land is commit without the words.
func (w *writer) land() error {
	defer w.count()
	if err := w.writeFiles(); err != nil {
		return err
	}
	if err := w.readings.sync(); err != nil {
		return err
	}
	before := w.j.logged.Load()
	w.j.logged.Store(w.seq)
	if err := syncTogether(w.rests, w.budget, w.extras, w.events); err != nil {
		return err
	}
	if err := w.takes.sync(); err != nil {
		return err
	}
	owed := w.waiting
	w.waiting = nil
	for _, t := range owed {
		w.j.receipt(Receipt{Take: t})
	}
	if len(owed) == 0 && w.seq != before {
		w.j.receipt(Receipt{})
	}
	return nil
}

// syncTogether syncs several streams at once: the disk joins their commits.
func syncTogether(list ...*stream) error {
	var dirty []*stream
	for _, s := range list {
		if len(s.pend) > 0 {
			dirty = append(dirty, s)
		}
	}
	if len(dirty) == 1 {
		return dirty[0].sync()
	}
	errs := make([]error, len(dirty))
	var all sync.WaitGroup
	for i, s := range dirty {
		all.Go(func() { errs[i] = s.sync() })
	}
	all.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// rotate goes on in the next part because this one is full.
func (w *writer) rotate(s *stream) {
	if w.j.o.Bulk {
		w.flushBulk(s)
		if w.fatal == nil {
			w.fatal = s.f.Sync()
		}
		s.synced = s.chain
	} else if w.trouble != nil || !w.commit() {
		return // trouble: the rows go to the next part anyway
	}
	if w.fatal != nil {
		return
	}
	full := s.name()
	if err := s.nextPart(); err != nil {
		if w.j.o.Bulk {
			w.fatal = err
			return
		}
		w.troubled(err)
		return
	}
	w.say(ledger.EvDisk, full+" is full and goes on in "+s.name())
	w.anchor("next part")
}

// troubled begins or goes on with trouble: rows are held, and tried again.
func (w *writer) troubled(err error) {
	if w.j.o.Bulk {
		w.fatal = err
		return
	}
	if errors.Is(err, errGone) {
		for _, s := range w.all() {
			if s.f != nil && s.inPlace() != nil {
				s.giveUp()
			}
		}
	}
	if w.trouble != nil && w.trouble.Err.Error() == err.Error() {
		w.count()
		w.trouble.Held = w.j.held.Load()
		return // said already
	}
	text := err.Error() + ": readings are held in memory, no take completes until they can be written"
	first := w.trouble == nil
	w.count()
	w.trouble = w.report(text, err, false)
	if first {
		w.since, w.retry = time.Now(), retryFirst
		w.say(ledger.EvDisk, text)
	}
	w.j.o.Log.Error().Err(err).Str("job", w.j.o.Number).Int64("held_bytes", w.trouble.Held).Msg("disk trouble: rows are held in memory")
	w.j.receipt(Receipt{Trouble: w.trouble})
}

func (w *writer) report(text string, err error, over bool) *Trouble {
	return &Trouble{Text: text, Err: err, Over: over, Held: w.j.held.Load(), Lost: w.j.lostReadings()}
}

// tryAgain tries to write what is held.
func (w *writer) tryAgain() {
	if w.trouble == nil {
		return
	}
	err := w.standUp()
	if err == nil {
		err = w.land()
	}
	if err != nil {
		w.troubled(err)
		return
	}
	w.trouble = nil
	w.sayGaps()
	var parts []string
	for _, s := range w.all() {
		if s.part > 1 {
			parts = append(parts, s.name())
		}
	}
	text := "the disk takes rows again: everything held is written"
	if len(parts) > 0 {
		text += ", in " + strings.Join(parts, ", ")
	}
	if n := w.j.lostReadings(); n > 0 {
		text += fmt.Sprintf("; %d readings were lost", n)
	}
	w.say(ledger.EvDisk, text)
	w.anchor("written again")
	if !w.commit() {
		return
	}
	w.j.o.Log.Info().Str("job", w.j.o.Number).Dur("after", time.Since(w.since)).Msg(text)
	w.j.receipt(Receipt{Trouble: w.report(text, nil, true)})
}

// standUp puts back a folder that was removed under the journal, with the lock
// and the sheets of this run. What was on disk before is gone; what comes goes
// to the next parts, so verify sees the hole.
func (w *writer) standUp() error {
	_, err := w.fsys.Lstat(w.j.dir)
	if err == nil {
		return nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := w.fsys.MkdirAll(w.j.dir); err != nil {
		return err
	}
	lock, err := w.fsys.Lock(filepath.Join(w.j.dir, lockName), w.j.o.Holder)
	if err != nil {
		return err
	}
	_ = closeAll(w.lock) // the old one lies in the removed folder
	w.lock = lock
	w.files = append([]sheetFile(nil), w.kept...)
	return nil
}

// finish is Close's half: stop event, last anchor, everything durable.
func (w *writer) finish(stop *closing) error {
	w.see(stop.at)
	w.sayRepairs()
	w.say(ledger.EvStop, "stopped in order")
	for w.landAll() != nil && w.fatal == nil {
		select {
		case <-stop.ctx.Done():
			return errors.Join(w.unwritten(context.Cause(stop.ctx)), w.letGo())
		case <-time.After(retryFirst):
			w.tryAgain()
		}
	}
	if w.fatal != nil {
		return errors.Join(w.fatal, w.letGo())
	}
	w.anchor("stop")
	for w.landAll() != nil && w.fatal == nil {
		select {
		case <-stop.ctx.Done():
			return errors.Join(w.unwritten(context.Cause(stop.ctx)), w.letGo())
		case <-time.After(retryFirst):
			w.tryAgain()
		}
	}
	return errors.Join(w.fatal, w.letGo())
}

// landAll is commit for the end, where bulk must sync too.
func (w *writer) landAll() error {
	if !w.j.o.Bulk {
		if w.commit() {
			return nil
		}
		return w.trouble.Err
	}
	if w.fatal == nil {
		w.fatal = w.writeFiles()
	}
	for _, s := range w.all() {
		w.flushBulk(s)
		if w.fatal == nil {
			w.fatal = s.f.Sync()
		}
	}
	if w.fatal != nil {
		return w.fatal
	}
	w.j.logged.Store(w.seq)
	for _, t := range w.waiting {
		w.j.receipt(Receipt{Take: t})
	}
	w.waiting = nil
	return nil
}

func (w *writer) unwritten(why error) error {
	rows := 0
	for _, s := range w.all() {
		rows += strings.Count(string(s.pend), "\n")
	}
	return fmt.Errorf("job %s: %d rows and %d takes could not be written before the end (%w): %w",
		w.j.o.Number, rows, len(w.waiting), why, w.trouble.Err)
}

// letGo closes the files and the lock.
func (w *writer) letGo() error {
	var errs []error
	for _, s := range w.all() {
		if s.f != nil {
			if err := s.f.Close(); err != nil {
				errs = append(errs, fmt.Errorf("%s: %w", s.name(), bare(err)))
			}
			s.f = nil
		}
	}
	return errors.Join(append(errs, closeAll(w.lock))...)
}
