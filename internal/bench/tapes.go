package bench

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"

	"thouwright/internal/ledger"
	"thouwright/internal/tape"
)

// tapes writes what came of every port, and what was done, beside a job's logs.
// The loop hands bytes over and never waits; a goroutine writes them.
type tapes struct {
	dir     string
	part    int
	started time.Time

	mu    sync.Mutex
	open  map[string]*spool
	err   error
	quit  chan struct{}
	ended chan struct{}
}

// spool is one tape: what is not yet in its file.
type spool struct {
	w       *tape.Writer
	pending bytes.Buffer
	spare   bytes.Buffer
	file    *os.File
}

const (
	tapeFlush    = 200 * time.Millisecond
	commandsTape = "commands"
)

// newTapes begins a new part of tapes in the job's folder: a later run of the
// daemon goes on in gauge.2.tape, since its seconds count from its own start.
func newTapes(jobDir string, started time.Time) (*tapes, error) {
	t := &tapes{dir: filepath.Join(jobDir, "tapes"), started: started, open: map[string]*spool{},
		quit: make(chan struct{}), ended: make(chan struct{})}
	if err := os.MkdirAll(t.dir, 0o755); err != nil {
		return nil, fmt.Errorf("tapes: %w", err)
	}
	for t.part = 1; ; t.part++ {
		if _, err := os.Lstat(t.path(commandsTape)); errors.Is(err, fs.ErrNotExist) {
			break
		}
	}
	if _, err := t.spool(commandsTape); err != nil {
		return nil, err
	}
	go t.run()
	return t, nil
}

func (t *tapes) path(name string) string {
	if t.part > 1 {
		return filepath.Join(t.dir, fmt.Sprintf("%s.%d.tape", name, t.part))
	}
	return filepath.Join(t.dir, name+".tape")
}

// spool opens a tape on its first bytes. The lock must be held, or the tapes
// not yet be running.
func (t *tapes) spool(name string) (*spool, error) {
	if s := t.open[name]; s != nil {
		return s, nil
	}
	f, err := os.OpenFile(t.path(name), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return nil, fmt.Errorf("tapes: %w", err)
	}
	s := &spool{file: f}
	if s.w, err = tape.NewWriter(&s.pending, t.started); err != nil {
		return nil, err
	}
	t.open[name] = s
	return s, nil
}

// chunk keeps bytes of a port; at is in microseconds since the job was opened.
func (t *tapes) chunk(name string, at int64, b []byte) {
	t.write(name, func(w *tape.Writer) error { return w.Chunk(at, b) })
}

// command keeps what a person did.
func (t *tapes) command(at int64, c ledger.Command) {
	text, err := json.Marshal(c)
	if err != nil {
		return // a Command holds nothing that JSON cannot
	}
	t.write(commandsTape, func(w *tape.Writer) error { return w.Text(at, text) })
}

func (t *tapes) write(name string, do func(*tape.Writer) error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.err != nil {
		return
	}
	s, err := t.spool(name)
	if err == nil {
		err = do(s.w)
	}
	if err != nil {
		t.err = err
	}
}

func (t *tapes) run() {
	defer close(t.ended)
	tick := time.NewTicker(tapeFlush)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			t.flush()
		case <-t.quit:
			t.flush()
			return
		}
	}
}

// flush writes what is pending. Only the lock's short hold is felt by the loop.
func (t *tapes) flush() {
	t.mu.Lock()
	list := make([]*spool, 0, len(t.open))
	for _, s := range t.open {
		list = append(list, s)
	}
	t.mu.Unlock()
	for _, s := range list {
		t.mu.Lock()
		s.spare.Reset()
		s.spare.Write(s.pending.Bytes())
		s.pending.Reset()
		t.mu.Unlock()
		if s.spare.Len() == 0 {
			continue
		}
		if _, err := s.file.Write(s.spare.Bytes()); err != nil {
			t.mu.Lock()
			if t.err == nil {
				t.err = fmt.Errorf("tapes: %w", err)
			}
			t.mu.Unlock()
		}
	}
}

// trouble is why the tapes stopped, nil while they run.
func (t *tapes) trouble() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.err
}

func (t *tapes) close(at int64) error {
	t.command(at, ledger.Command{Do: doStop})
	close(t.quit)
	<-t.ended
	for _, s := range t.open {
		if err := errors.Join(s.file.Sync(), s.file.Close()); err != nil && t.err == nil {
			t.err = fmt.Errorf("tapes: %w", err)
		}
	}
	return t.err
}
