// Package proving measures the measuring: it runs simulated takes with known
// truth through the machines and counts what they owe. Tests run it lean, scripts/proving
// runs it deep and prints the table of DEVELOPERS.md.
package proving

import (
	"math"
	"math/rand/v2"

	"thouwright/internal/ledger"
	"thouwright/internal/method"
	"thouwright/internal/quantity"
	"thouwright/internal/simulate"
)

// Case is one simulated take: what the gauge sends and what is true.
type Case struct {
	Readings            []simulate.Reading // values in mm
	Step                float64            // mm, not told to the machine
	Digit               float64            // mm, the last digit sent
	OnChange            bool
	Play                float64 // the truth
	Noise               float64 // standard deviation of a stop
	Spoilt              int     // strokes that stopped short, knocks
	Strokes             int     // asked for
	Wide                float64 // reading noise
	Rate, Creep, Bounce float64
}

// Unit is what the figures of a take are counted in: the step, or 2 µm.
func (c Case) Unit() float64 { return math.Max(c.Step, 0.002) }

// Outcome is what the machine made of it.
type Outcome struct {
	Done    bool
	Error   float64 // result less truth
	U95     float64
	Bound   bool
	Strokes int
	LeftOut int
	Result  *method.Result
}

// Model simulates takes and mere handling. What holds only for one model is tuned
// to it.
type Model struct {
	Name   string
	Take   func(r *rand.Rand, step, play, noise float64) Case
	Handle func(r *rand.Rand, seconds float64) Case
}

// Models are three ways of simulating that share nothing but this package.
var Models = []Model{
	{"glides", drawGlides, HandleGlides},
	{"forces", drawForces, HandleFoe},
	{"events", drawEvents, HandleEvents},
}

// machine is a fresh machine for the case's gauge, whose step is not told.
func (c Case) machine(mem *method.GaugeMemory) method.Machine {
	s := method.Spec{Method: method.Play, Unit: quantity.MM, Strokes: c.Strokes, Gauge: method.Gauge{Name: "g", HasError: true}}
	if c.OnChange {
		s.Gauge.Sends = ledger.OnChange
	}
	m, err := method.New(s, mem, nil)
	if err != nil {
		panic(err) // the spec above is constant
	}
	return m
}

// Run feeds one case to a fresh machine with a fresh gauge's memory.
func Run(c Case) Outcome {
	mem := new(method.GaugeMemory)
	m := c.machine(mem)
	res := Feed(m, mem, c.Readings, c.Digit, nil)
	if res == nil {
		return Outcome{}
	}
	comb := res.Budget.Combine()
	return Outcome{Done: true, Error: res.Value - c.Play, U95: comb.U95, Bound: res.Bound, Strokes: res.Strokes, LeftOut: res.LeftOut, Result: res}
}

// Feed passes readings to a machine as the capture loop does: time passes at
// each deadline, then the reading comes. It stops at the result.
func Feed(m method.Machine, mem *method.GaugeMemory, readings []simulate.Reading, digit float64, note func(method.Note)) *method.Result {
	var out method.Out
	told := func() {
		if note != nil {
			for _, n := range out.Notes {
				note(n)
			}
		}
	}
	for i, r := range readings {
		for d := m.Deadline(); d < r.T; d = m.Deadline() {
			out.Reset()
			m.Tick(d, &out)
			if told(); out.Result != nil {
				return out.Result
			}
		}
		mem.Reading(r.Value, digit)
		out.Reset()
		m.Reading(method.Reading{Seq: uint64(i + 1), T: r.T, Value: r.Value, Step: digit}, &out)
		if told(); out.Result != nil {
			return out.Result
		}
	}
	return nil
}

// Steps are the steps the takes are drawn for, in mm: a thousandth, half a
// thousandth, a hundredth, a micron, half a micron.
var Steps = []float64{0.0254, 0.0127, 0.01, 0.001, 0.0005}

// digits are the last digits that gauges of a step send, in mm.
func digit(step float64, r *rand.Rand) float64 {
	switch step {
	case 0.0254:
		return []float64{0.0254, 0.00254, 0.0001}[r.IntN(3)]
	case 0.0127:
		return []float64{0.0127, 0.00254, 0.0001}[r.IntN(3)]
	case 0.01:
		return []float64{0.01, 0.001}[r.IntN(2)]
	case 0.001:
		return []float64{0.001, 0.0001}[r.IntN(2)]
	}
	return 0.0005 / []float64{1, 5}[r.IntN(2)]
}

// Draw makes one take of a gauge with the given step (mm): the play is uniform
// over whole units and the noise of a stop (its standard deviation) is in units.
func (m Model) Draw(r *rand.Rand, step, noise float64) Case {
	unit := math.Max(step, 0.002)
	return m.Take(r, step, (float64(1+r.IntN(30))+r.Float64())*unit, noise*unit)
}

// drawGlides makes one take with package simulate. All lengths in mm.
func drawGlides(r *rand.Rand, step, play, noise float64) Case {
	c := Case{Step: step, Digit: digit(step, r), Play: play, Noise: noise, Strokes: 6}
	unit := c.Unit()
	rate := 4 + 16*r.Float64()
	least := math.Max(0.4, 4.5/rate)
	h := simulate.Hand{
		Hold:   [2]float64{least, math.Max(2, least+0.5)},
		Stroke: [2]float64{0.1 + 0.2*r.Float64(), 0.3 + 0.4*r.Float64()},
		Noise:  noise,
		Bounce: 0.2 * c.Play * r.Float64(),
		Creep:  0.3 * unit * (2*r.Float64() - 1),
	}
	if r.Float64() < 0.3 {
		h.Short = 0.12
	}
	if r.Float64() < 0.2 {
		h.Knock, h.KnockBy = 0.05, 0.5*c.Play
	}
	c.Rate, c.Creep, c.Bounce = rate, h.Creep, h.Bounce
	c.Wide = 0.3 * unit * r.Float64() * r.Float64()
	g := simulate.Gauge{
		Step: step, Rate: rate, Jitter: 0.3 * r.Float64(), Noise: c.Wide, Memory: 0.8 * r.Float64(),
		Truncate: r.Float64() < 0.3, OnChange: r.Float64() < 0.2,
		Offset: 10 * (r.Float64() - 0.5), Drift: 0.0002 * (r.Float64() - 0.5) * r.Float64(),
		Drop: 0.05 * r.Float64(), Wild: 0.01 * r.Float64(), WildBy: 2,
	}
	if c.OnChange = g.OnChange; c.OnChange {
		// What such a gauge loses it never sends again, and the rest is wrong.
		g.Drop *= 0.1
	}
	var p simulate.Path
	h.SetUp(&p, r, 3, 2+8*r.Float64())
	c.Spoilt = h.Rock(&p, r, 0, c.Play, 20)
	c.Readings = g.Read(&p, r)
	return c
}
