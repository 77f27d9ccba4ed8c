package bench

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"thouwright/internal/journal"
	"thouwright/internal/ledger"
	"thouwright/internal/tape"
)

// tapes writes what came of every port, and what was done, beside a job's
// logs, through the job's journal: the loop hands bytes over and never waits.
type tapes struct {
	journal *journal.Journal
	part    int
	started time.Time
	open    map[string]*tape.Writer
	kept    []*journal.Tape
	err     error
}

const commandsTape = "commands"

// newTapes begins a new part of tapes in the job's folder: a later run of the
// daemon goes on in gauge.2.tape, since its seconds count from its own start.
func newTapes(j *journal.Journal, started time.Time) (*tapes, error) {
	t := &tapes{journal: j, started: started, open: map[string]*tape.Writer{}}
	for t.part = 1; ; t.part++ {
		_, err := os.Lstat(filepath.Join(j.Dir(), "tapes", t.file(commandsTape)))
		if errors.Is(err, fs.ErrNotExist) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("tapes: %w", err)
		}
	}
	_, err := t.writer(commandsTape)
	return t, err
}

func (t *tapes) file(name string) string {
	if t.part > 1 {
		return fmt.Sprintf("%s.%d.tape", name, t.part)
	}
	return name + ".tape"
}

// writer opens a tape on its first bytes.
func (t *tapes) writer(name string) (*tape.Writer, error) {
	if w := t.open[name]; w != nil {
		return w, nil
	}
	k, err := t.journal.Tape(t.file(name))
	if err != nil {
		return nil, fmt.Errorf("tapes: %w", err)
	}
	w, err := tape.NewWriter(k, t.started)
	if err != nil {
		return nil, fmt.Errorf("tapes: %w", err)
	}
	t.open[name] = w
	t.kept = append(t.kept, k)
	return w, nil
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
	if t.err != nil {
		return
	}
	w, err := t.writer(name)
	if err == nil {
		err = do(w)
	}
	t.err = err
}

// trouble is why the tapes stopped, nil while they run.
func (t *tapes) trouble() error {
	for _, k := range t.kept {
		if t.err == nil {
			t.err = k.Err()
		}
	}
	return t.err
}

// end is the last thing on the tapes: when the run stopped. The journal, which
// is closed next, makes them durable.
func (t *tapes) end(at int64) { t.command(at, ledger.Command{Do: doStop}) }
