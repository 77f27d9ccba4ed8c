package sound

import (
	"io"
	"os"
	"time"

	"github.com/mattn/go-isatty"
)

// bellApart is the time between two rings; terminals merge those that follow
// closely.
const bellApart = 220 * time.Millisecond

// newBell finds the terminal: standard error, else the one that controls the
// process.
func newBell() output {
	if isatty.IsTerminal(os.Stderr.Fd()) {
		return ringer{os.Stderr, nil}
	}
	if t, err := os.OpenFile("/dev/tty", os.O_WRONLY, 0); err == nil {
		return ringer{t, t}
	}
	return silent{}
}

// ringer rings the terminal's bell, as often as a cue's count.
type ringer struct {
	w    io.Writer
	file io.Closer // ours to close, or nil
}

func (r ringer) play(s *playing) {
	for i := range s.bells {
		if i > 0 {
			select {
			case <-time.After(s.apart):
			case <-s.cut:
				return
			}
		}
		if _, err := r.w.Write([]byte{'\a'}); err != nil {
			return
		}
	}
}

func (r ringer) name() string { return "bell" }

func (r ringer) close() {
	if r.file != nil {
		r.file.Close()
	}
}
