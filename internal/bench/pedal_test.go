//go:build !windows

package bench

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"thouwright/internal/ledger"
	"thouwright/internal/port"
	"thouwright/internal/simulate"
)

// keyboard is a pedal that acts as one.
type keyboard struct {
	changes chan port.Lines
	closed  chan struct{}
}

func (k *keyboard) Read([]byte) (int, error) {
	<-k.closed
	return 0, port.ErrClosed
}
func (k *keyboard) Write(b []byte) (int, error) { return len(b), nil }
func (k *keyboard) Close() error {
	close(k.closed)
	return nil
}
func (k *keyboard) Lines() (port.Lines, error) { return port.Lines{}, nil }
func (k *keyboard) Changes() <-chan port.Lines { return k.changes }

// tread keeps the pedal down for so long on the rig's clock.
func (k *keyboard) tread(d time.Duration) {
	k.changes <- port.Lines{Key: true}
	time.Sleep(d / speed)
	k.changes <- port.Lines{}
	time.Sleep(200 * time.Millisecond / speed) // past its bounce
}

// A pedal of its own: a long press does the last take again, a short one opens
// the next place, a very long one goes back one.
func TestPedal(t *testing.T) {
	d := newDial(t)
	r := &rig{t: t, dir: t.TempDir()}
	r.write("bench.toml", fmt.Sprintf(rigBench, d.port)+"[switch]\nport = \"keys:/dev/input/event99\"\n")
	r.write("jobs/R-1.toml", rigJob)
	k := &keyboard{changes: make(chan port.Lines), closed: make(chan struct{})}
	r.open = func(ctx context.Context, a port.Address, s port.Settings) (port.Port, error) {
		if a.Kind == port.Keys {
			return k, nil
		}
		return port.Open(ctx, a, s)
	}
	r.start(false)
	k.changes <- port.Lines{} // as it is at opening
	r.until("up", gaugeIs("up"))
	r.rocks(d, 0.1, 1)
	k.tread(1300 * time.Millisecond)
	r.until("back at the first position", func(l ledger.Live) bool {
		return l.Active != nil && l.Active.Position == "upper"
	})
	s := r.rocks(d, 0.1, 2)
	if got := (*s.LastTake)["replaces"]; got != "1" {
		t.Errorf("the take after a long press replaces %q", got)
	}
	r.until("at the next place, not yet open", func(l ledger.Live) bool {
		return l.Active != nil && l.Active.Position == "lower" && l.Active.Phase == ledger.PhaseWaiting
	})
	k.tread(200 * time.Millisecond)
	r.until("open", func(l ledger.Live) bool { return l.Active.Position == "lower" && l.Active.Phase == ledger.PhaseReady })
	k.tread(3 * time.Second)
	s = r.until("back", func(l ledger.Live) bool { return l.Active.Position == "upper" })
	before := s.Spoken.N
	var p simulate.Path
	p.Glide(8, 0.3)
	p.Glide(4, 0.3)
	p.Hold(2, 0, 0)
	d.sends(t, &p)
	k.tread(200 * time.Millisecond) // before anything was rocked
	s = r.until("an answer", func(l ledger.Live) bool { return strings.Contains(l.Spoken.Text, "accept again") })
	if s.Spoken.N != before+1 {
		t.Errorf("one answer was spoken %d times, at last as %q", s.Spoken.N-before, s.Spoken.Text)
	}
	r.stop()
}
