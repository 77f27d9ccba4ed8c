package proving

import (
	"math"
	"math/rand/v2"
)

// Shaft is a third model, made of events and of nothing that package simulate
// is made of: a stroke is a sigmoid of random skew, the contact rebounds like a
// dropped ball, a held part creeps by relaxation and trembles. Lengths in mm.
type Shaft struct {
	R  *rand.Rand
	at []float64 // place, every dt
}

const dt = 0.002 // s

// NewShaft gives a shaft that stands at 0.
func NewShaft(r *rand.Rand) *Shaft { return &Shaft{R: r, at: []float64{0}} }

// Now is when what was done so far ends; At is the place at a time before it.
func (s *Shaft) Now() float64            { return float64(len(s.at)) * dt }
func (s *Shaft) At(t float64) float64    { return s.at[min(int(t/dt), len(s.at)-1)] }
func (s *Shaft) Last() float64           { return s.at[len(s.at)-1] }
func (s *Shaft) In(a, b float64) float64 { return a + (b-a)*s.R.Float64() }

// Stroke moves to a place and rebounds there.
func (s *Shaft) Stroke(to, seconds, rebound float64) {
	from, a, b := s.Last(), s.In(1.3, 3.5), s.In(1.3, 3.5)
	for n, i := int(seconds/dt), 1; i <= n; i++ {
		u := float64(i) / float64(n)
		x := math.Pow(u, a)
		s.at = append(s.at, from+(to-from)*x/(x+math.Pow(1-u, b)))
	}
	back := math.Copysign(rebound, from-to)
	for t := s.In(0.03, 0.08); t > 3*dt; t *= 0.6 {
		for u := 0.0; u < 1; u += dt / t {
			s.at = append(s.at, to+back*4*u*(1-u))
		}
		back *= 0.35
	}
	s.at = append(s.at, to)
}

// Hold stays, creeps and trembles.
func (s *Shaft) Hold(seconds, creep, tremble float64) {
	from, tau := s.Last(), s.In(0.25, 0.55)
	hertz := 0.0
	if tremble != 0 {
		hertz = s.In(6, 11)
	}
	for t := dt; t < seconds; t += dt {
		s.at = append(s.at, from+creep*(1-math.Exp(-t/tau))+tremble*math.Sin(2*math.Pi*hertz*t)*(0.6+0.4*math.Sin(5.65*t)))
	}
}

// Rock moves from stop to stop; some pushes stop short, some knock the stand.
func (s *Shaft) Rock(play, unit, noise, rate float64, strokes int) {
	low, side := s.Last()-play/2, 1.0
	least := math.Max(0.4, 3.6/rate)
	var hold, creep, rebound, pace [2]float64 // seldom alike on both sides
	for k := range hold {
		hold[k] = s.In(least, math.Max(1.4, 1.2*least))
		creep[k] = 0.08 * unit * s.R.NormFloat64()
		rebound[k] = play * s.In(0, 0.2)
		pace[k] = s.In(0.1, 0.5)
	}
	short, knock := 0.0, 0.0
	if s.R.Float64() < 0.25 {
		short, knock = 0.1, 0.03
	}
	for range strokes {
		k := int(side+1) / 2
		to := low + float64(k)*play + noise*s.R.NormFloat64()
		if s.R.Float64() < short {
			to -= side * play * s.In(0.25, 0.75)
		}
		s.Stroke(to, pace[k]*s.In(0.8, 1.3), rebound[k])
		s.Hold(hold[k]*s.In(1, 1.3), creep[k], 0)
		s.at = append(s.at, to)
		if s.R.Float64() < knock {
			low += 0.7 * play * s.R.NormFloat64()
		}
		side = -side
	}
}

// SetUp moves the gauge about before the first stroke.
func (s *Shaft) SetUp() {
	for end := s.In(2, 8); s.Now() < end; {
		s.Stroke(s.In(-2, 2), s.In(0.15, 0.9), 0)
		s.Hold(s.In(0.05, 1), 0, 0)
	}
}

// Handle is mere handling for so many seconds: nothing goes from stop to stop.
func (s *Shaft) Handle(seconds float64) {
	norm := s.R.NormFloat64
	either := func() float64 { return float64(2*s.R.IntN(2) - 1) }
	for end := s.Now() + seconds; s.Now() < end; {
		w, here := 0.005*math.Pow(600, s.R.Float64()), s.Last()
		switch s.R.IntN(9) {
		case 0: // lies still
			s.Hold(2*math.Pow(30, s.R.Float64()), 0.02*w*norm(), 0)
		case 1: // pushes with rests
			for range 3 + s.R.IntN(37) {
				s.Stroke(here+w*norm(), s.In(0.1, 0.7), 0.1*w*s.R.Float64())
				s.Hold(s.In(0.2, 2.5), 0.03*w*norm(), 0.02*w*s.R.Float64()*s.R.Float64())
			}
		case 2: // is carried
			for range 3 + s.R.IntN(17) {
				s.Stroke(0.7*s.Last()+2*norm(), s.In(0.2, 2), 0)
				if s.R.Float64() < 0.5 {
					s.Hold(s.In(0.1, 1.5), 0, 0.05*s.R.Float64())
				}
			}
		case 3: // shakes on a bench with a motor
			hertz, by := s.In(3, 30), math.Min(0.1*w, 0.01)
			for t, n := 0.0, s.In(2, 40); t < n; t += dt {
				s.at = append(s.at, here+by*math.Sin(2*math.Pi*hertz*t))
			}
		case 4: // creeps
			far := 0.3 * w * norm()
			for t, n := 0.0, s.In(3, 60); t < n; t += dt {
				s.at = append(s.at, here+far*math.Sqrt(t/60))
			}
		case 5: // looks for its place
			for range 4 + s.R.IntN(26) {
				s.Stroke(s.Last()+w*norm()/math.Sqrt(s.In(0.1, 1.9)), s.In(0.1, 1), 0)
				s.Hold(s.In(0.2, 3), 0, 0)
			}
		case 6: // pushed out, comes back roughly
			for range 2 + s.R.IntN(12) {
				s.Stroke(here+w*s.In(0.2, 1)*either(), s.In(0.15, 0.6), 0)
				s.Hold(s.In(0.2, 2), 0, 0)
				s.Stroke(here+0.08*w*norm(), s.In(0.15, 0.6), 0)
				s.Hold(s.In(0.2, 2), 0, 0)
			}
		case 7: // on and on the same way, as a nut is turned
			way := either()
			for range 3 + s.R.IntN(22) {
				s.Stroke(s.Last()+way*w*s.In(0.05, 0.4), s.In(0.2, 1), 0)
				s.Hold(s.In(0.4, 3), 0, 0)
			}
		case 8: // the plunger is lifted and let go
			for range 1 + s.R.IntN(3) {
				s.Stroke(here+s.In(0.5, 5), s.In(0.2, 0.6), 0)
				s.Hold(s.In(0.1, 1.5), 0, 0.2*s.R.Float64())
				s.Stroke(here+0.05*w*norm(), s.In(0.1, 0.3), 0.2)
				s.Hold(s.In(0.5, 4), 0, 0)
			}
		}
		if math.Abs(s.Last()) > 6 {
			s.Stroke(s.In(-2, 2), 1, 0)
		}
	}
}
