package uart

import (
	"context"
	"io"
	"time"

	"thouwright/internal/port"
)

// Gauge is a gauge at the far end of a line: what it sends, at its own
// settings, reaches a program as the settings of that program sample it.
type Gauge struct {
	Sends   port.Settings
	Every   time.Duration                        // between the starts of two messages; 0: only when asked
	Message func() []byte                        // the next message
	Answers map[string]func() []byte             // to what it is asked, as its own settings hear it
	Heard   func() (port.Settings, error)        // what the other end is set to now
	Eager   bool                                 // see Receiver
	Pause   func(time.Duration) <-chan time.Time // nil: real time
}

// Run sends into w, and answers what comes from it, until ctx is done or the
// other end is gone.
func (g Gauge) Run(ctx context.Context, w io.ReadWriter) {
	after := g.Pause
	if after == nil {
		after = time.After
	}
	asked := make(chan []byte, 16)
	if len(g.Answers) > 0 {
		go g.listen(ctx, w, asked)
	}
	next := after(g.Every)
	if g.Every == 0 {
		next = nil
	}
	for {
		select {
		case <-ctx.Done():
			return
		case <-next:
			next = after(g.Every)
			if !g.send(ctx, w, g.Message(), after) {
				return
			}
		case b := <-asked:
			if !g.send(ctx, w, b, after) {
				return
			}
		}
	}
}

// send puts a message on the wire and, when its last bit is over, what the other
// end made of it into w.
func (g Gauge) send(ctx context.Context, w io.Writer, b []byte, after func(time.Duration) <-chan time.Time) bool {
	wire := Send(g.Sends, b, 0)
	select {
	case <-after(time.Duration(wire.Seconds() * float64(time.Second))):
	case <-ctx.Done():
		return false
	}
	to, err := g.Heard()
	if err != nil {
		return false
	}
	_, err = w.Write(Heard(g.Sends, to, b, g.Eager))
	return err == nil
}

// listen hears what the program says, as the gauge's own settings sample it.
func (g Gauge) listen(ctx context.Context, r io.Reader, asked chan<- []byte) {
	var line []byte
	buf := make([]byte, 256)
	for {
		n, err := r.Read(buf)
		if err != nil {
			return
		}
		from, err := g.Heard()
		if err != nil {
			return
		}
		line = append(line, Heard(from, g.Sends, buf[:n], g.Eager)...)
		for q, answer := range g.Answers {
			if len(line) >= len(q) && string(line[len(line)-len(q):]) == q {
				line = line[:0]
				select {
				case asked <- answer():
				case <-ctx.Done():
					return
				}
				break
			}
		}
		if len(line) > 1024 {
			line = line[512:]
		}
	}
}
