package journal

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"thouwright/internal/ledger"
)

// finish is Close's half: stop event, last anchor, everything durable.
func (w *writer) finish(stop *closing) error {
	w.see(stop.at)
	w.sayRepairs()
	w.closeTapes()
	w.say(ledger.EvStop, "stopped in order")
	err := w.landBefore(stop.ctx)
	if err == nil {
		w.anchorNow(stopAnchor, w.tapeAnchors()...)
		err = w.landBefore(stop.ctx)
	}
	return errors.Join(err, w.letGo())
}

// landBefore makes everything durable, trying until ctx ends.
func (w *writer) landBefore(ctx context.Context) error {
	for {
		err := w.landAll()
		if err == nil || w.fatal != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return w.unwritten(context.Cause(ctx))
		case <-time.After(retryFirst):
			w.tryAgain()
		}
	}
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
		rows += bytes.Count(s.pend, []byte{'\n'})
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
