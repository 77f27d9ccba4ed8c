package simulate

import (
	"math"
	"math/rand/v2"
)

// Gauge is a digital indicator: what it shows of a path.
type Gauge struct {
	Step     float64 // mm
	Rate     float64 // readings a second
	Jitter   float64 // of the interval, as a part of it
	Noise    float64 // standard deviation of a reading, before the step
	Memory   float64 // of the noise from reading to reading, 0 to below 1
	Truncate bool    // cuts off instead of rounding
	OnChange bool    // sends only when the value changes
	Offset   float64 // of the zero
	Drift    float64 // mm a second
	Drop     float64 // part of readings lost
	Wild     float64 // part of readings that are wild
	WildBy   float64 // how far, mm
}

// Reading is what the gauge sends.
type Reading struct {
	T     float64
	Value float64 // mm, a whole number of steps
}

// Shows is the value the gauge shows for a place.
func (g Gauge) Shows(x float64) float64 {
	if g.Truncate {
		return math.Trunc(x/g.Step) * g.Step
	}
	return math.Round(x/g.Step) * g.Step
}

// Read samples a path from its beginning to its end.
func (g Gauge) Read(p *Path, r *rand.Rand) []Reading {
	var out []Reading
	w := p.Walk()
	last := math.NaN()
	var noise float64
	fresh := math.Sqrt(1 - g.Memory*g.Memory)
	for t := r.Float64() / g.Rate; t < p.End(); t += (1 + g.Jitter*(2*r.Float64()-1)) / g.Rate {
		noise = g.Memory*noise + fresh*r.NormFloat64()
		v := g.Shows(w.At(t) + g.Offset + g.Drift*t + g.Noise*noise)
		switch {
		case r.Float64() < g.Drop:
			continue
		case r.Float64() < g.Wild:
			v += g.Shows(g.WildBy * (2*r.Float64() - 1))
		}
		if g.OnChange && v == last {
			continue
		}
		last = v
		out = append(out, Reading{t, v})
	}
	return out
}
