package port

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"thouwright/internal/tape"
)

// ErrTapeEnd is what Read gives at the end of a tape. Opening it again would
// begin anew, which nobody asked for.
var ErrTapeEnd = errors.New("the tape is at its end")

// tapePort replays a tape with the timing it was recorded with.
type tapePort struct {
	clock   Clock
	started time.Time
	file    *os.File
	reader  *tape.Reader
	rest    []byte // of a chunk that did not fit the reader's buffer
	closed  chan struct{}
	once    sync.Once
}

func openTape(a Address, clock Clock) (Port, error) {
	f, err := os.Open(a.Path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil, &Absent{a.Text, "there is no such file", "copy the tape there; it is found by itself"}
	case err != nil:
		return nil, &Absent{a.Text, fmt.Sprintf("cannot be opened (%v)", err), "check the file"}
	}
	return &tapePort{clock: clock, started: clock.Now(), file: f,
		reader: tape.NewReader(a.Path, f), closed: make(chan struct{})}, nil
}

func (p *tapePort) Read(b []byte) (int, error) {
	for len(p.rest) == 0 {
		at, chunk, err := p.reader.Next()
		if err == io.EOF {
			err = ErrTapeEnd
		}
		if err != nil {
			select {
			case <-p.closed:
				return 0, ErrClosed
			default:
				return 0, err
			}
		}
		due := p.started.Add(time.Duration(at) * time.Microsecond)
		if wait := due.Sub(p.clock.Now()); wait > 0 {
			select {
			case <-p.clock.After(wait):
			case <-p.closed:
				return 0, ErrClosed
			}
		}
		p.rest = chunk
	}
	n := copy(b, p.rest)
	p.rest = p.rest[n:]
	return n, nil
}

// Write drops what is sent: a tape answers nothing that it has not recorded.
func (p *tapePort) Write(b []byte) (int, error) { return len(b), nil }

func (p *tapePort) Close() (err error) {
	p.once.Do(func() {
		close(p.closed)
		err = p.file.Close()
	})
	return err
}
