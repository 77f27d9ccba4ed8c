package method

import (
	"math"

	"thouwright/internal/motion"
)

// GaugeMemory is what is learned about a gauge beyond one take: its step, and
// whether it has moved since it was set up. There is one per gauge; feed it
// every reading of the gauge, idle ones too, and hand it to every machine that
// uses the gauge. The zero value is ready. It allocates nothing.
type GaugeMemory struct {
	steps   motion.Steps
	started bool
	low     float64 // range seen in this set-up, in last digits
	high    float64
	digit   float64
	ends    [2]end // lowest and highest code ever seen
}

// end is a code that the gauge never passed.
type end struct {
	code float64
	run  int     // readings in a row that showed it
	far  float64 // how far off the gauge was since it last stayed there, in last digits
	came [endKeep]float64
	n    int // stays, of which the last endKeep are kept with how far off they came from
}

const (
	endRun  = 3  // readings are a stay
	endFar  = 20 // steps are far off
	endKeep = 16
	// endBeyond times the play: what came from no further off may have been the part
	// itself, rocked against its stop before.
	endBeyond = 1.25
)

func (e *end) reading(c, sense, ratio float64) {
	switch d := (e.code - c) * sense; {
	case d < 0:
		*e = end{code: c, run: 1, far: math.Inf(1)}
	case d > 0:
		e.run, e.far = 0, max(e.far, d)
	default:
		if e.run++; e.run == endRun {
			if e.far > endFar*ratio {
				e.came[e.n%endKeep] = e.far
				e.n++
			}
			e.far = 0
		}
	}
}

// stays is how often the gauge came to this code from further off than that.
func (e *end) stays(beyond float64) (n int) {
	for _, far := range e.came[:min(e.n, endKeep)] {
		if far > beyond {
			n++
		}
	}
	return n
}

// Reading takes a value and what its last digit is worth, both in the gauge's
// own unit (or any other: only their ratio is kept).
func (m *GaugeMemory) Reading(value, digit float64) {
	if digit <= 0 || math.IsNaN(value) {
		return
	}
	// A reading may come with fewer digits (a lost one, a gauge that drops
	// zeros); the finest counts.
	fresh := m.digit == 0 || digit < m.digit*(1-1e-9)
	if !fresh {
		digit = m.digit
	}
	m.steps.Reading(value, digit)
	c := value / digit
	code := math.Round(c)
	if fresh {
		m.ends = [2]end{{code: code, far: math.Inf(1)}, {code: code, far: math.Inf(1)}}
	}
	ratio := m.steps.Most()
	m.ends[0].reading(code, -1, ratio)
	m.ends[1].reading(code, 1, ratio)
	if !m.started || fresh {
		m.started, m.digit = true, digit
		m.low, m.high = c, c
		return
	}
	m.low, m.high = min(m.low, c), max(m.high, c)
}

// NewSetUp forgets that the gauge has moved: it was lost, or another
// component is set up. The step stays known.
func (m *GaugeMemory) NewSetUp() { m.started = false }

// Ratio is the gauge's step in last digits.
func (m *GaugeMemory) Ratio() float64 { return m.steps.Ratio() }

// MostRatio is the most the step may still be, in last digits.
func (m *GaugeMemory) MostRatio() float64 { return m.steps.Most() }

// AtEnd tells whether a code (a value in last digits) is the lowest or highest
// the gauge ever showed, and how often it came there from further off than beyond
// (and from far off) and stayed: the end of its travel, or where it stands when it
// hangs free.
func (m *GaugeMemory) AtEnd(code, beyond float64) (stays int, ok bool) {
	for i := range m.ends {
		if e := &m.ends[i]; m.started && math.Abs(e.code-code) < 0.5 {
			return e.stays(beyond), true
		}
	}
	return 0, false
}

// Moved tells whether the gauge has moved in this set-up by clearly more than
// its step, so that a reading that never changes means that the part is still
// and not that the gauge is dead.
func (m *GaugeMemory) Moved() bool { return m.started && m.high-m.low >= 4*m.Ratio() }
