package journal

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"
	"time"

	"thouwright/internal/ledger"
)

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
	w.j.mu.Lock()
	n := w.j.lostEvents
	w.j.lostEvents = 0
	w.j.mu.Unlock()
	if n > 0 {
		w.say(ledger.EvDisk, fmt.Sprintf("%d events were lost: there was no room in memory while the disk could not be written", n))
	}
}

// errStalled is a disk that neither writes nor fails.
var errStalled = errors.New("the disk does not answer")

// watched does what may wait for the disk, and says so when it waits long.
func (w *writer) watched(do func() error) error {
	text := fmt.Sprintf("the disk has not answered for %v: readings are held in memory, no take completes until it does", stallAfter)
	t := time.AfterFunc(stallAfter, func() {
		w.j.o.Log.Error().Str("job", w.j.o.Number).Msg(text)
		w.j.receipt(Receipt{Trouble: &Trouble{Text: text, Err: errStalled, Held: w.j.held.Load(), Lost: w.j.lostReadings()}})
	})
	err := do()
	if !t.Stop() && err == nil {
		w.j.receipt(Receipt{Trouble: w.report("the disk answers again", nil, true)})
	}
	return err
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
		w.retry = retryFirst
		w.say(ledger.EvDisk, text)
	}
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
	w.j.receipt(Receipt{Trouble: w.report(text, nil, true)})
}

// standUp puts back a folder that was removed under the journal, with the lock
// and the sheets of this run. What was on disk before is gone; what comes goes
// to the next parts, so verify sees the hole.
func (w *writer) standUp() error {
	if _, err := w.fsys.Lstat(w.j.dir); errors.Is(err, fs.ErrNotExist) {
		w.fallen = true
	} else if err != nil {
		return err
	}
	if !w.fallen {
		return nil
	}
	if err := w.fsys.MkdirAll(w.j.dir); err != nil {
		return err
	}
	lock, err := w.fsys.Lock(filepath.Join(w.j.dir, lockName), w.j.o.Holder)
	if err != nil {
		return err
	}
	_ = closeAll(w.lock) // the old one lies in the removed folder
	w.lock, w.fallen = lock, false
	w.files = append([]sheetFile(nil), w.kept...)
	return nil
}
