package proving

import (
	"math"
	"math/rand/v2"

	"thouwright/internal/method"
	"thouwright/internal/simulate"
)

// Handle makes a path of mere handling: no hand goes from stop to stop. Each
// activity is drawn at random: the gauge lies on the bench, is picked up and
// wanders, is moved between places, hangs free, is held and wobbles, the part
// is pushed about aimlessly with rests in between.
func Handle(p *simulate.Path, r *rand.Rand, seconds float64) {
	scale := func(low, high float64) float64 { return low * math.Pow(high/low, r.Float64()) }
	span := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	free := 5 + 3*r.Float64()
	for end := p.End() + seconds; p.End() < end; {
		switch r.IntN(7) {
		case 0: // lies on the bench
			p.Hold(scale(2, 120), 0, 0.001*r.NormFloat64())
		case 1: // picked up, wanders
			for range 5 + r.IntN(30) {
				p.Glide(p.Place()+scale(0.01, 1)*r.NormFloat64(), span(0.1, 0.8))
			}
		case 2: // moved between places
			for range 1 + r.IntN(4) {
				p.Glide(span(-4, 4), span(0.2, 2))
				p.Hold(scale(0.5, 10), 0.01*r.NormFloat64(), 0)
			}
		case 3: // hangs free: always the same place
			p.Glide(free, span(0.1, 0.5))
			p.Hold(scale(0.5, 20), 0, 0)
		case 4: // held in the hand, wobbles
			at, w := p.Place(), scale(0.003, 0.3)
			for range 5 + r.IntN(40) {
				p.Glide(at+w*r.NormFloat64(), span(0.1, 1))
				if r.Float64() < 0.4 {
					p.Hold(span(0.2, 2), 0, 0)
				}
			}
		case 5: // pushed to anywhere within reach
			at, w := p.Place(), scale(0.02, 3)
			for range 4 + r.IntN(40) {
				p.Glide(at+w*(2*r.Float64()-1), span(0.1, 1))
				p.Hold(span(0.3, 3), 0.1*w*r.NormFloat64(), 0.02*w*r.NormFloat64())
			}
		case 6: // pushed on and on, some way each time
			w := scale(0.02, 2)
			for range 4 + r.IntN(30) {
				p.Glide(p.Place()+w*r.NormFloat64(), span(0.1, 1))
				p.Hold(span(0.3, 3), 0, 0)
			}
		}
	}
}

// HandleGlides is mere handling by package simulate.
func HandleGlides(r *rand.Rand, seconds float64) Case {
	step := Steps[r.IntN(len(Steps))]
	c := Case{Step: step, Digit: digit(step, r)}
	g := simulate.Gauge{
		Step: step, Rate: 2 + 18*r.Float64(), Jitter: 0.3 * r.Float64(), Noise: c.Unit() * 0.4 * r.Float64() * r.Float64(),
		Memory: 0.95 * r.Float64(), Truncate: r.Float64() < 0.5, OnChange: r.Float64() < 0.3,
		Drift: 0.0001 * r.NormFloat64(), Drop: 0.05 * r.Float64(), Wild: 0.005 * r.Float64(), WildBy: 2,
	}
	var p simulate.Path
	Handle(&p, r, seconds)
	c.Rate, c.OnChange, c.Readings = g.Rate, g.OnChange, g.Read(&p, r)
	return c
}

// FalseTakes runs so many hours of mere handling through machines for play and
// counts the takes made of it. Each session of ten minutes is one gauge.
func FalseTakes(m Model, r *rand.Rand, hours float64, seen func(c Case, res *method.Result)) (takes int) {
	for range int(math.Round(hours * 6)) {
		c := m.Handle(r, 600)
		mem := new(method.GaugeMemory)
		for readings := c.Readings; len(readings) > 0; {
			res := Feed(c.machine(mem), mem, readings, c.Digit, nil)
			if res == nil {
				break
			}
			takes++
			if seen != nil {
				seen(c, res)
			}
			for len(readings) > 0 && readings[0].T <= res.T {
				readings = readings[1:]
			}
		}
	}
	return takes
}
