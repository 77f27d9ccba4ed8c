package journal

import (
	"io"
	"strconv"
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

	tapes   []*Tape
	files   []sheetFile    // to be written before any row that follows them
	kept    []sheetFile    // all of this run, for a folder that was removed
	waiting []*ledger.Take // rows formatted, receipt owed
	said    []ledger.Event // repairs, said at the first stamp that comes
	at      ledger.Stamp   // the latest stamp seen
	seq     uint64         // the last reading formatted
	gaps    []gap          // losses not said yet

	trouble *Trouble
	fallen  bool // the folder was removed and is not yet put back
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
	var syncAt, retryAt <-chan time.Time
	for {
		select {
		case <-w.j.wake:
		case <-w.j.flush.C:
		case <-syncAt:
			syncAt = nil
			w.commit()
			w.flushTapes(true)
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
	}
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
		case m.tape != nil:
			w.addTape(m.tape, m.bytes)
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

// anchor appends the last chain of every file, once all rows are on disk: until
// then they may have to go to another part, with another chain. In trouble
// there is none; the end of the trouble brings one.
func (w *writer) anchor(why string) {
	if w.j.o.Bulk || w.commit() {
		w.anchorNow(why)
	}
}

// anchorNow is anchor where everything is on disk already.
func (w *writer) anchorNow(why string, more ...anchorEntry) {
	entries := make([]anchorEntry, 0, 8)
	for _, s := range w.all() {
		entries = s.anchors(entries, why == stopAnchor)
	}
	entries = append(entries, more...)
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
	w.anchor("take " + strconv.FormatUint(t.Take, 10))
}
