package bench

import (
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"thouwright/internal/tape"
)

// merger reads several tapes as one, by time; at the same time the bench's
// order decides.
type merger struct {
	tapes []*playing
	began time.Time // wall time of second 0
}

// playing is one tape with its next chunk read ahead.
type playing struct {
	file string
	line int // port index; -1: commands; noLine: of a gauge that an edit brings
	name string
	f    *os.File
	r    *tape.Reader
	at   int64 // microseconds since the merged tapes' second 0
	data []byte
	end  bool
	lag  int64 // this tape's second 0, on the merged tapes' scale
}

// Lines of a tape that are no port's index.
const (
	commandsLine = -1
	noLine       = -2
)

// chunk is one thing on the tapes. Its data holds until next is called again.
type chunk struct {
	at   int64
	line int
	data []byte
	from *playing
}

// begin reads every tape's head. Tapes that say when they were started are
// placed by it; the earliest start is second 0. Tapes that don't say start
// there too.
func (m *merger) begin() error {
	first := true
	for _, p := range m.tapes {
		if err := p.read(); err != nil {
			return err
		}
		if s := p.r.Started(); !s.IsZero() && (first || s.Before(m.began)) {
			m.began, first = s, false
		}
	}
	for _, p := range m.tapes {
		if s := p.r.Started(); !s.IsZero() {
			p.lag = s.Sub(m.began).Microseconds()
			p.at += p.lag
		}
	}
	return nil
}

func (p *playing) read() error {
	var err error
	if p.line == commandsLine {
		p.at, p.data, err = p.r.NextText()
	} else {
		p.at, p.data, err = p.r.Next()
	}
	if err == io.EOF {
		p.end = true
		return nil
	}
	p.at += p.lag
	return err
}

// next is the earliest chunk; io.EOF after the last.
func (m *merger) next() (chunk, error) {
	for _, p := range m.tapes {
		if p.data == nil && !p.end {
			if err := p.read(); err != nil {
				return chunk{}, err
			}
		}
	}
	var best *playing
	for _, p := range m.tapes {
		if !p.end && (best == nil || p.at < best.at) {
			best = p
		}
	}
	if best == nil {
		return chunk{}, io.EOF
	}
	c := chunk{best.at, best.line, best.data, best}
	best.data = nil
	return c, nil
}

func (m *merger) where(c chunk) string { return fmt.Sprintf("%s:%d", c.from.file, c.from.r.Line()) }

func (m *merger) close() error {
	var errs []error
	for _, p := range m.tapes {
		errs = append(errs, p.f.Close())
	}
	return errors.Join(errs...)
}
