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
}

// Reading takes a value and what its last digit is worth, both in the gauge's
// own unit (or any other: only their ratio is kept).
func (m *GaugeMemory) Reading(value, digit float64) {
	if digit <= 0 || math.IsNaN(value) {
		return
	}
	m.steps.Reading(value, digit)
	c := value / digit
	if !m.started || digit != m.digit {
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

// Moved tells whether the gauge has moved in this set-up by clearly more than
// its step, so that a reading that never changes means that the part is still
// and not that the gauge is dead.
func (m *GaugeMemory) Moved() bool { return m.started && m.high-m.low >= 4*m.Ratio() }
