package bench

import (
	"time"

	"thouwright/internal/ledger"
)

// Clock stamps what arrives and times the ports. The demo's quick form hands in
// one that runs faster; nothing else knows.
type Clock struct {
	start time.Time // with its monotonic reading
	speed float64
}

// NewClock is a clock that starts now and runs at speed times real time.
func NewClock(speed float64) *Clock { return &Clock{start: time.Now(), speed: speed} }

// Now is the present time on this clock, for the ports.
func (c *Clock) Now() time.Time { return c.Stamp().Time() }

// Stamp is the present moment. At speed 1 the wall time is the computer's own,
// so a step of it shows; faster, it is counted on from the start.
func (c *Clock) Stamp() ledger.Stamp {
	now := time.Now()
	e := time.Duration(float64(now.Sub(c.start)) * c.speed)
	wall := now.UnixMicro()
	if c.speed != 1 {
		wall = c.start.Add(e).UnixMicro()
	}
	return ledger.Stamp{Wall: wall, Elapsed: e.Microseconds()}
}

// After is time.After on this clock.
func (c *Clock) After(d time.Duration) <-chan time.Time { return time.After(c.real(d)) }

// real is how long d of this clock takes.
func (c *Clock) real(d time.Duration) time.Duration { return time.Duration(float64(d) / c.speed) }

// until is how long it takes until elapsed microseconds are reached.
func (c *Clock) until(elapsed int64) time.Duration {
	e := time.Duration(elapsed) * time.Microsecond
	return c.real(e) - time.Since(c.start)
}
