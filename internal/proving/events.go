package proving

import (
	"math"
	"math/rand/v2"

	"thouwright/internal/simulate"
)

// drawEvents makes one take with Shaft. All lengths in mm.
func drawEvents(r *rand.Rand, step, play, noise float64) Case {
	c := Case{Step: step, Digit: digit(step, r), Play: play, Noise: noise, Strokes: 6, Rate: 2.2 * math.Pow(9, r.Float64())}
	if c.OnChange = r.Float64() < 0.15; c.OnChange {
		c.Rate = 5 + 15*r.Float64()
	}
	s := NewShaft(r)
	s.SetUp()
	s.Rock(play, c.Unit(), noise, c.Rate, 24)
	s.read(&c, 0.25*c.Unit()*math.Pow(r.Float64(), 3))
	return c
}

// HandleEvents is mere handling by Shaft.
func HandleEvents(r *rand.Rand, seconds float64) Case {
	step := Steps[r.IntN(len(Steps))]
	c := Case{Step: step, Digit: digit(step, r), Rate: 2 * math.Pow(10, r.Float64())}
	if c.OnChange = r.Float64() < 0.25; c.OnChange {
		c.Rate = 5 + 15*r.Float64()
	}
	s := NewShaft(r)
	s.Handle(seconds)
	s.read(&c, 0.5*c.Unit()*math.Pow(r.Float64(), 2))
	return c
}

// read lets the gauge look at the shaft; hiss is the noise of a reading.
func (s *Shaft) read(c *Case, hiss float64) {
	r := s.R
	offset, drift := s.In(-6, 6), 3e-5*r.NormFloat64()
	sway, period, phase := 0.0015*r.NormFloat64(), s.In(60, 400), s.In(0, 6)
	lost, wild := s.In(0, 0.04), s.In(0, 0.004)
	if c.OnChange {
		lost = 0 // it would never be sent again, and the rest would be wrong
	}
	jitter, truncates, last := s.In(0.03, 0.25), r.Float64() < 0.3, math.NaN()
	for t := r.Float64() / c.Rate; t < s.Now()-dt; t += (1 + jitter*s.In(-1, 1)) / c.Rate {
		v := (s.At(t) + offset + drift*t + sway*math.Sin(2*math.Pi*t/period+phase) + hiss*r.NormFloat64()) / c.Step
		if truncates {
			v = math.Trunc(v)
		} else {
			v = math.Floor(v + 0.5)
		}
		v *= c.Step
		if r.Float64() < wild {
			v += math.Copysign(math.Pow(10, s.In(-1, 1)), s.In(-1, 1))
		}
		v = math.Round(v/c.Digit) * c.Digit
		if r.Float64() < lost || c.OnChange && v == last {
			continue
		}
		last = v
		c.Readings = append(c.Readings, simulate.Reading{T: t, Value: v})
	}
}
