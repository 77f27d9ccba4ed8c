package journal

import (
	"slices"
	"sync"
	"time"

	"thouwright/internal/ledger"
)

// count tells the callers how much is held.
func (w *writer) count() {
	var n int64
	for _, s := range w.all() {
		n += int64(len(s.pend))
	}
	for _, t := range w.tapes {
		n += int64(len(t.pend))
	}
	w.j.held.Store(n)
}

// flush gives whole lines to the files, without waiting for the disk.
func (w *writer) flush() {
	if w.trouble != nil || w.fatal != nil {
		return
	}
	if w.j.o.Bulk {
		w.fatal = w.writeFiles()
		for _, s := range w.all() {
			if len(s.pend) >= bulkChunk {
				w.flushBulk(s)
			}
		}
		return
	}
	if len(w.files) > 0 {
		w.commit()
		return
	}
	err := w.watched(func() error {
		// A move is written before the readings that it tags.
		if err := w.events.write(); err != nil {
			return err
		}
		return w.readings.write()
	})
	if err != nil {
		w.troubled(err)
		return
	}
	w.flushTapes(false)
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
	if len(w.files) > 0 || slices.ContainsFunc(w.tapes, func(t *Tape) bool { return t.new || len(t.pend) > 0 }) {
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
	began := time.Now()
	if err := w.watched(w.land); err != nil {
		w.troubled(err)
		return false
	}
	if w.j.o.Synced != nil {
		w.j.o.Synced(time.Since(began))
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
	if err := syncTogether(w.rests, w.budget, w.extras); err != nil {
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
	// Events last: what followed a take (the move to the next place) must not
	// be there without it.
	return w.events.sync()
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
	w.say(ledger.EvDisk, fullText(full, s.name()))
	w.anchor("next part")
}
