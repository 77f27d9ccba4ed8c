package sniff

import (
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"sort"
	"testing"
	"time"

	"thouwright/drivers"
	"thouwright/internal/port"
	"thouwright/internal/simulate/uart"
)

var full = flag.Bool("full", false, "every shape at every line setting, with both kinds of receivers")

// wired is a gauge on a line in simulated time: bytes arrive as a UART at the
// settings asked for would sample them from the gauge's bits.
type wired struct {
	sends   port.Settings
	message func(*rand.Rand) string
	every   time.Duration
	eager   bool
	eight   bool // a pseudo-terminal: data bits stay eight
	deaf    bool // settings mean nothing
	answers string
	r       *rand.Rand
	now     time.Duration
	next    time.Duration
	spoken  int
}

func (w *wired) Settable() bool { return true }

func (w *wired) Listen(ctx context.Context, s port.Settings, say []byte, most time.Duration, hear func([]byte, time.Duration) bool) error {
	if w.eight {
		s.DataBits = 8
	}
	if w.deaf {
		s = w.sends
	}
	from := w.now
	receiver := uart.Receiver{Settings: s, Eager: w.eager}
	if len(say) > 0 {
		w.spoken++
		asked := uart.Bytes(uart.Receiver{Settings: w.sends}.Receive(uart.Send(s, say, 0)), w.sends.Parity != port.NoParity)
		if w.answers != "" && string(asked) == w.answers {
			wire := uart.Send(w.sends, []byte(w.message(w.r)), 0)
			at := 20*time.Millisecond + time.Duration(wire.Seconds()*1e9)
			hear(uart.Bytes(receiver.Receive(wire), s.Parity != port.NoParity), at)
		}
	}
	for w.every > 0 && w.next < from+most {
		wire := uart.Send(w.sends, []byte(w.message(w.r)), 0)
		end := w.next + time.Duration(wire.Seconds()*1e9)
		cut := time.Duration(0)
		if w.next < from {
			cut = from - w.next
		}
		w.next += max(w.every, end-w.next)
		if end <= from {
			continue
		}
		b := uart.Bytes(receiver.Receive(wire.After(cut.Seconds())), s.Parity != port.NoParity)
		if len(b) > 0 && hear(b, min(end, from+most)-from) {
			w.now = end
			return nil
		}
	}
	w.now = from + most
	return nil
}

type trial struct {
	shape, line string
	every       time.Duration
	eager       bool
}

func (c trial) run(t testing.TB, seed uint64) (*Result, *wired) {
	s, err := port.ParseSettings(c.line)
	if err != nil {
		t.Fatal(err)
	}
	w := &wired{sends: s, message: shapes[c.shape], every: c.every, eager: c.eager, r: rand.New(rand.NewPCG(seed, 5))}
	w.next = time.Duration(w.r.IntN(int(c.every)))
	r, err := Search(context.Background(), w, Options{Drivers: known(t, seed)})
	if err != nil {
		t.Fatalf("%+v: %v", c, err)
	}
	return r, w
}

// known are the drivers of a search: every other time a user's own odd ones lie
// among them, which must not mislead it.
func known(t testing.TB, seed uint64) []*drivers.Driver {
	if seed%2 == 0 {
		return drivers.BuiltIn().All()
	}
	c, errs := drivers.Load("../../drivers/testdata/odd")
	if len(errs) > 0 || len(c.All()) < len(drivers.BuiltIn().All())+20 {
		t.Fatal("odd drivers: ", errs)
	}
	return c.All()
}

// right tells whether the result names the driver and the settings, or ones
// that it says give the same bytes and readings (a gauge whose unit line did
// not come while anybody listened is a plain one so far).
func (c trial) right(r *Result) bool {
	return (r.Driver == c.shape || contains(r.Also, c.shape)) && (r.Line == c.line || contains(r.Same, c.line))
}

func contains(all []string, s string) bool {
	for _, t := range all {
		if t == s {
			return true
		}
	}
	return false
}

var frames = []string{"8N1", "8N2", "8E1", "8E2", "8O1", "8O2", "7N1", "7N2", "7E1", "7E2", "7O1", "7O2"}

// At least 95 in 100 are found, nothing wrong is ever said, and a gauge that
// sends five readings a second or more is found within 10 s. The lean form
// takes every shape at a few settings and every setting for a few shapes;
// scripts/sniff-matrix.sh runs them all.
func TestMatrix(t *testing.T) {
	var names []string
	for name := range shapes {
		names = append(names, name)
	}
	sort.Strings(names)
	var trials []trial
	n := 0
	for _, name := range names {
		for bi, baud := range []int{1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200} {
			for fi, frame := range frames {
				n++
				if !*full && (n*7+bi+fi)%29 != 0 && !(name == "signed-decimal" && bi%3 == 0) {
					continue
				}
				for _, eager := range []bool{false, true} {
					if !*full && eager != (n%2 == 0) {
						continue
					}
					every := []time.Duration{200 * time.Millisecond, 100 * time.Millisecond, 20 * time.Millisecond, 300 * time.Millisecond}[n%4]
					if every < 100*time.Millisecond && (baud < 4800 || name == "idle-gap") { // no room, or no pause
						every = 200 * time.Millisecond
					}
					trials = append(trials, trial{name, fmt.Sprintf("%d %s", baud, frame), every, eager})
				}
			}
		}
	}
	found, wrong := 0, 0
	var slowest time.Duration
	var misses []string
	for i, c := range trials {
		r, w := c.run(t, uint64(i))
		switch {
		case c.right(r):
			found++
			if c.every <= 200*time.Millisecond && w.now > slowest {
				slowest = w.now
			}
		case r.Sure():
			wrong++
			t.Errorf("%+v: wrongly found %s at %s (same %v), %s", c, r.Driver, r.Line, r.Same, r.Why)
		default:
			misses = append(misses, fmt.Sprintf("%+v: not sure, %s", c, r.Why))
		}
	}
	t.Logf("%d trials: %d found, %d wrong, %d not sure; slowest %v", len(trials), found, wrong, len(misses), slowest)
	if found*100 < 95*len(trials) || os.Getenv("MISSES") != "" {
		for _, m := range misses[:min(20, len(misses))] {
			t.Log(m)
		}
	}
	if found*100 < 95*len(trials) {
		t.Errorf("only %d of %d found", found, len(trials))
	}
	if slowest > 10*time.Second {
		t.Errorf("took %v", slowest)
	}
	if len(trials) < 80 {
		t.Errorf("only %d trials", len(trials))
	}
}
