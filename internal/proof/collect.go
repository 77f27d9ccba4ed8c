// Package proof finds a gauge's error over a short movement, and its
// hysteresis, from rests on known sizes. It is pure.
package proof

import (
	"math"

	"thouwright/internal/motion"
)

// Rest is a stretch on one known size, in the gauge's unit.
type Rest struct {
	T     float64 // seconds
	Value float64
	From  int // +1 reached from smaller readings, -1 from larger ones, 0 not known
	Count int
}

// Reading is one value of the gauge.
type Reading struct {
	Seq     uint64
	T       float64 // seconds
	Value   float64
	Digit   float64 // what its last digit is worth
	Pressed bool    // the gauge's data button: a rest by itself
}

// Collector finds the rests of a proof.
type Collector struct {
	Rests []Rest

	step   float64 // declared; 0: learned
	digit  float64
	steps  motion.Steps
	find   *motion.Finder
	told   float64
	recent []Reading // since the end of the rest before
	last   float64   // time
}

// recentMost bounds what is kept of a long pause between rests.
const recentMost = 256

// NewCollector takes the declared step (0: learn it) and the least window of
// rest beyond it (2 µm in the gauge's unit), and whether the gauge sends only
// on change.
func NewCollector(step, floor float64, onChange bool) *Collector {
	return &Collector{step: step, find: motion.NewFinder(motion.Settings{Floor: floor, OnChange: onChange})}
}

// Step is the gauge's step as far as it is known.
func (c *Collector) Step() float64 {
	if c.step > 0 {
		return c.step
	}
	return c.steps.Ratio() * c.digit
}

// Reading takes one value and tells whether a rest is confirmed with it.
func (c *Collector) Reading(r Reading) (confirmed bool) {
	c.last = r.T
	if r.Digit > 0 && (c.digit == 0 || r.Digit < c.digit) {
		c.digit = r.Digit
	}
	c.steps.Reading(r.Value, c.digit)
	if r.Pressed {
		c.add(Rest{T: r.T, Value: r.Value, From: c.from(r.Value, r.T), Count: 1})
		return true
	}
	if s := c.Step(); s != c.told {
		c.told = s
		c.find.SetStep(s)
	}
	ev := c.find.Reading(r.T, r.Value, r.Seq)
	c.take(ev)
	if len(c.recent) == recentMost {
		c.recent = append(c.recent[:0], c.recent[recentMost/2:]...)
	}
	c.recent = append(c.recent, r)
	return ev&motion.RestConfirmed != 0
}

// Tick tells the time where no reading came.
func (c *Collector) Tick(t float64) (confirmed bool) {
	c.last = max(c.last, t)
	ev := c.find.Tick(t)
	c.take(ev)
	return ev&motion.RestConfirmed != 0
}

// Deadline is when Tick is due; +Inf for never.
func (c *Collector) Deadline() float64 { return c.find.Deadline() }

// Current is the rest that is confirmed and goes on; ok is false without one.
func (c *Collector) Current() (value float64, ok bool) {
	if !c.find.InRest() {
		return 0, false
	}
	return c.find.Current().Value, true
}

// Finish closes a rest that still goes on.
func (c *Collector) Finish() { c.take(c.find.Break()) }

func (c *Collector) take(ev motion.Event) {
	if ev&motion.RestEnded == 0 {
		return
	}
	r := c.find.Ended()
	c.add(Rest{T: r.T, Value: r.Value, From: c.from(r.Value, r.Start), Count: r.Count})
}

func (c *Collector) add(r Rest) {
	c.Rests = append(c.Rests, r)
	// What came after the rest began to end belongs to the next approach.
	c.recent = c.recent[:0]
}

// from is the side a rest that began at start was reached from: that of the
// last reading before it which lies clearly outside.
func (c *Collector) from(value, start float64) int {
	outside := func(v float64) int {
		d := v - value
		if math.Abs(d) <= c.find.Window() {
			return 0
		}
		if d < 0 {
			return +1
		}
		return -1
	}
	for i := len(c.recent) - 1; i >= 0; i-- {
		if c.recent[i].T < start {
			if side := outside(c.recent[i].Value); side != 0 {
				return side
			}
		}
	}
	if n := len(c.Rests); n > 0 {
		return outside(c.Rests[n-1].Value)
	}
	return 0
}
