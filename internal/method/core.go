package method

import (
	"math"

	"thouwright/internal/ledger"
	"thouwright/internal/motion"
)

// core is what every machine does with the readings of its gauge: the step,
// the rests, the first and last reading.
type core struct {
	spec   Spec
	memory *GaugeMemory
	minus  *GaugeMemory
	find   *motion.Finder

	digit   float64 // last digit of the gauge's readings, in Spec.Unit
	digit2  float64 // of the second gauge's
	step    float64 // what the finder was told
	now     float64
	last    Reading
	started bool
	low     float64
	high    float64
}

// newCore works with the finder find, made anew.
func newCore(s Spec, memory, minus *GaugeMemory, find *motion.Finder) core {
	return core{spec: s, memory: memory, minus: minus, find: find.Renew(motion.Settings{
		Seconds:  s.RestSeconds,
		Count:    s.RestCount,
		Floor:    s.twoMicron(),
		OnChange: s.Gauge.Sends == ledger.OnChange,
	})}
}

// steps gives the step of the gauge and of the second gauge (0 without one):
// the declared one, else the learned one, never below the last digit seen.
func (c *core) steps() (step, step2 float64) {
	return c.stepsBy((*GaugeMemory).Ratio)
}

// claimSteps gives the steps that a result must answer for: the largest they
// may still be.
func (c *core) claimSteps() (step, step2 float64) {
	return c.stepsBy((*GaugeMemory).MostRatio)
}

func (c *core) stepsBy(ratio func(*GaugeMemory) float64) (step, step2 float64) {
	step = c.spec.Gauge.Step
	if step <= 0 {
		step = ratio(c.memory) * c.digit
	}
	if c.spec.Minus != nil {
		if step2 = c.spec.Minus.Step; step2 <= 0 {
			step2 = ratio(c.minus) * c.digit2
		}
	}
	return step, step2
}

// reading feeds the finder; ok is false where the reading has no value.
func (c *core) reading(r Reading) (motion.Event, bool) {
	c.now = r.T
	if r.Fault || math.IsNaN(r.Value) {
		return 0, false
	}
	if r.Step > 0 {
		// A gauge may send fewer digits now and then; the finest one counts.
		if c.digit == 0 || r.Step < c.digit {
			c.digit = r.Step
		}
	}
	if r.step2 > 0 && (c.digit2 == 0 || r.step2 < c.digit2) {
		c.digit2 = r.step2
	}
	if !c.started {
		c.started, c.low, c.high = true, r.Value, r.Value
	}
	c.low, c.high = min(c.low, r.Value), max(c.high, r.Value)
	if s := c.window(); s != c.step {
		c.step = s
		c.find.SetStep(s)
	}
	c.last = r
	return c.find.Reading(r.T, r.Value, r.Seq), true
}

// window is the step of what the finder is fed: of both gauges' readings
// together. It is asked for at every reading.
func (c *core) window() float64 {
	s := c.spec.Gauge.Step
	if s <= 0 {
		s = c.memory.Ratio() * c.digit
	}
	if c.spec.Minus != nil {
		_, b := c.steps()
		s += b
	}
	return s
}

func (c *core) tick(t float64) motion.Event {
	c.now = max(c.now, t)
	return c.find.Tick(t)
}

// inRange tells whether a value lies where its gauge can be trusted, and where there is a
// second one, whether both do: the difference of two gauges is no reading of either. A
// second gauge moves by little in a take, next to its range.
func (c *core) inRange(v float64) bool {
	if c.spec.Minus == nil {
		return c.spec.Gauge.holds(v)
	}
	return c.spec.Minus.holds(c.last.second) && c.spec.Gauge.holds(v+c.last.second)
}

// holds tells whether a reading lies 5 % of the gauge's range inside its ends.
func (g *Gauge) holds(v float64) bool {
	margin := 0.05 * (g.RangeHigh - g.RangeLow)
	if math.IsInf(margin, 0) || math.IsNaN(margin) {
		margin = 0
	}
	return v >= g.RangeLow+margin && v <= g.RangeHigh-margin
}
