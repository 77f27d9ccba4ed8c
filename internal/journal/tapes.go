package journal

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"

	"thouwright/internal/ledger"
)

// tapeFolder holds the tapes.
const tapeFolder = "tapes"

// tapeMost is how much of one tape is held while its file cannot be written;
// then the tape ends. Rows come first: a tape is a help, not the record.
const tapeMost = 8 << 20

// Tape is a tape beside the logs. It is written on the journal's goroutine;
// Write never waits for the disk. A tape that cannot be written ends there,
// with an event, and holds back neither readings nor takes. The anchor of the
// stop carries the first 16 hex digits of its SHA-256.
type Tape struct {
	j     *Journal
	name  string
	ended atomic.Pointer[error]

	// The writer's own.
	f    File
	sum  hash.Hash
	pend []byte
	new  bool // written to since the last sync
}

// Tape begins tapes/FILE, which must not be there yet; file is a name such as
// dial-1.tape or dial-1.2.tape. It ends with the journal.
func (j *Journal) Tape(file string) (*Tape, error) {
	if file == "" || strings.ContainsAny(file, "/\\\x00") || strings.HasPrefix(file, ".") {
		return nil, fmt.Errorf("%q cannot name a tape: expected a plain file name", file)
	}
	t := &Tape{j: j, name: tapeFolder + "/" + file, sum: sha256.New()}
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.closed {
		return nil, errClosed
	}
	j.put(message{tape: t}, 0)
	return t, nil
}

// Write hands bytes to the tape; b may be used again at once. The error is why
// the tape has ended, if it has.
func (t *Tape) Write(b []byte) (int, error) {
	if err := t.Err(); err != nil {
		return 0, err
	}
	own := append([]byte(nil), b...)
	t.j.mu.Lock()
	defer t.j.mu.Unlock()
	if t.j.closed {
		return 0, errClosed
	}
	t.j.put(message{tape: t, bytes: own}, int64(len(own)))
	return len(b), nil
}

// Err is why the tape has ended before its journal, nil while it has not.
func (t *Tape) Err() error {
	if err := t.ended.Load(); err != nil {
		return *err
	}
	return nil
}

// addTape takes a tape's bytes; the first message opens it.
func (w *writer) addTape(t *Tape, b []byte) {
	if t.Err() != nil {
		return
	}
	if b == nil {
		w.tapes = append(w.tapes, t)
	}
	t.pend = append(t.pend, b...)
	if len(t.pend) > tapeMost {
		w.endTape(t, errors.New("it could not be written for too long"))
	}
}

// endTape gives a tape up and says so.
func (w *writer) endTape(t *Tape, err error) {
	err = fmt.Errorf("%s ends here: %w", t.name, bare(err))
	t.ended.Store(&err)
	t.pend = nil
	if t.f != nil {
		_ = t.f.Close()
		t.f = nil
	}
	w.say(ledger.EvDisk, err.Error())
	w.j.o.Log.Error().Err(err).Str("job", w.j.o.Number).Msg("a tape ended")
}

// openTape makes the file of a tape.
func (w *writer) openTape(t *Tape) error {
	dir := filepath.Join(w.j.dir, tapeFolder)
	if err := w.fsys.MkdirAll(dir); err != nil {
		return err
	}
	if info, err := w.fsys.Lstat(dir); err != nil || !info.IsDir() {
		return fmt.Errorf("%s is no folder", tapeFolder)
	}
	f, err := w.fsys.Open(filepath.Join(w.j.dir, filepath.FromSlash(t.name)), os.O_WRONLY|os.O_CREATE|os.O_EXCL|os.O_APPEND)
	if err != nil {
		return err
	}
	t.f = f
	return w.fsys.SyncDir(dir)
}

// flushTapes writes what the tapes hold. A write that fails is tried again
// from where it stopped; a tape that cannot be opened or synced is over,
// because nobody could say what it holds.
func (w *writer) flushTapes(sync bool) {
	for _, t := range w.tapes {
		if t.Err() != nil {
			continue
		}
		if t.f == nil {
			if err := w.openTape(t); err != nil {
				w.endTape(t, err)
				continue
			}
		}
		if len(t.pend) > 0 {
			n, err := t.f.Write(t.pend)
			t.sum.Write(t.pend[:max(n, 0)])
			t.pend = append(t.pend[:0], t.pend[max(n, 0):]...)
			t.new = true
			if err == nil && len(t.pend) > 0 {
				err = io.ErrShortWrite
			}
			if err != nil {
				continue // until tapeMost
			}
		}
		if sync && t.new {
			if err := t.f.Sync(); err != nil {
				w.endTape(t, err)
				continue
			}
			t.new = false
		}
	}
}

// closeTapes ends the tapes in order.
func (w *writer) closeTapes() {
	for range 3 { // a write that failed once may go now
		w.flushTapes(true)
	}
	for _, t := range w.tapes {
		if t.Err() == nil && (len(t.pend) > 0 || t.new) {
			w.endTape(t, errors.New("its last bytes could not be written"))
		}
		if t.f != nil {
			if err := t.f.Close(); err != nil {
				t.f = nil
				w.endTape(t, err)
			}
			t.f = nil
		}
	}
}

// tapeAnchors are the sums of the tapes that ended in order.
func (w *writer) tapeAnchors() (list []anchorEntry) {
	for _, t := range w.tapes {
		if t.Err() == nil {
			list = append(list, anchorEntry{anchorName(t.name), shortSum(t.sum)})
		}
	}
	return list
}

// anchorName is a tape's name as an anchor can hold it: without blanks.
func anchorName(name string) string {
	dir, file, _ := strings.Cut(name, "/")
	return dir + "/" + url.PathEscape(file)
}

// shortSum is the first 16 hex digits of a sum.
func shortSum(h hash.Hash) (c ledger.Chain) {
	hex.Encode(c[:], h.Sum(nil)[:len(c)/2])
	return c
}
