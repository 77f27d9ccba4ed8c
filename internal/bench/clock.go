package bench

import (
	"sync/atomic"
	"time"

	"thouwright/internal/ledger"
)

// Clock stamps what arrives and times the ports. The demo's quick form hands in
// one that runs faster; nothing else knows.
type Clock struct {
	start time.Time    // with its monotonic reading
	zero  atomic.Int64 // wall time of elapsed 0, in microseconds
	speed float64
	wall  func(now time.Time) int64 // what the computer's wall clock says, in microseconds
}

// NewClock is a clock that starts now and runs at speed times real time.
func NewClock(speed float64) *Clock {
	c := &Clock{start: time.Now(), speed: speed, wall: time.Time.UnixMicro}
	c.zero.Store(c.start.UnixMicro())
	return c
}

// SetBack lets a clock of another speed than 1 show an earlier time.
func (c *Clock) SetBack(d time.Duration) { c.zero.Add(-d.Microseconds()) }

// Now is the present time on this clock, for the ports.
func (c *Clock) Now() time.Time { return c.Stamp().Time() }

// sameWall is how far, in microseconds, the wall clock may lie from where the
// elapsed time puts it and still be the same: both are read at once, and only
// their rounding differs.
const sameWall = 10

// Stamp is the present moment. The wall time is the computer's own, so a step
// of it shows; while it isn't stepped it is the start plus the elapsed time to
// the microsecond, which a replay can therefore compute again. At another speed
// than 1 it always is.
func (c *Clock) Stamp() ledger.Stamp {
	now := time.Now()
	e := time.Duration(float64(now.Sub(c.start)) * c.speed).Microseconds()
	wall := c.zero.Load() + e
	if d := c.wall(now) - wall; c.speed == 1 && (d > sameWall || d < -sameWall) {
		c.zero.Store(wall + d - e)
		wall += d
	}
	return ledger.Stamp{Wall: wall, Elapsed: e}
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
