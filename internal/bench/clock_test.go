//go:build !windows

package bench

import (
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"thouwright/internal/journal"
	"thouwright/internal/ledger"
)

// The wall clock is stepped under a running daemon: an hour back, a day on,
// and to 1970. Order and elapsed times stay right, the gauge stays up, a gauge
// that falls silent is noticed as ever, and each step is an event.
func TestTheWallClockIsStepped(t *testing.T) {
	var shift atomic.Int64
	d := newDial(t)
	r := &rig{t: t, dir: t.TempDir(), given: NewClock(1)}
	r.given.wall = func(now time.Time) int64 { return now.UnixMicro() + shift.Load() }
	r.write("bench.toml", fmt.Sprintf(rigBench, d.port))
	r.write("jobs/R-1.toml", rigJob)
	r.start(false)
	stop, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		for {
			select {
			case <-stop:
				return
			case <-time.After(50 * time.Millisecond):
				fmt.Fprint(d.master, "+1.234\r\n")
			}
		}
	}()
	r.until("up", gaugeIs("up"))
	for _, by := range []time.Duration{-time.Hour, 24 * time.Hour, -56 * 365 * 24 * time.Hour} {
		shift.Add(by.Microseconds())
		seq := r.d.hub.State().LoggedSeq
		r.until("readings go on", func(l ledger.Live) bool { return l.LoggedSeq > seq+5 })
		if !gaugeIs("up")(r.d.hub.State()) {
			t.Errorf("after a step of %v the gauge is %+v", by, r.d.hub.State().Gauges)
		}
	}
	close(stop)
	<-stopped
	began := time.Now()
	r.until("silent", gaugeIs("silent"))
	if wait := time.Since(began); wait > 20*time.Second {
		t.Errorf("silence was noticed after %v", wait)
	}
	r.stop()
	f, err := journal.Load(r.d.JobDir())
	if err != nil {
		t.Fatal(err)
	}
	var last ledger.Reading
	for x, err := range f.Readings() {
		if err != nil || x.Seq != last.Seq+1 || x.At.Elapsed < last.At.Elapsed || x.At.Elapsed > last.At.Elapsed+2e6 && last.Seq > 0 {
			t.Fatalf("reading %d at %d follows %d at %d, %v", x.Seq, x.At.Elapsed, last.Seq, last.At.Elapsed, err)
		}
		last = x
	}
	steps, lost := 0, 0
	for _, e := range f.Events {
		switch {
		case e.Kind == ledger.EvClock && strings.Contains(e.Text, "stepped"):
			steps++
		case e.Kind == ledger.EvGaugeLost:
			lost++
		}
	}
	if steps != 3 || lost > 1 {
		t.Errorf("%d steps are told and %d losses of the gauge, expected 3 and at most the one at the end", steps, lost)
	}
}

// A clock that was set back shows the earlier time and the same elapsed one.
func TestClockIsSetBack(t *testing.T) {
	c := NewClock(10)
	c.SetBack(24 * time.Hour)
	if s := c.Stamp(); s.Time().After(time.Now().Add(-time.Hour)) || s.Elapsed < 0 {
		t.Errorf("a day back it shows %v, %d µs on", s.Time(), s.Elapsed)
	}
}
