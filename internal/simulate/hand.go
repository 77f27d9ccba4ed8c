package simulate

import (
	"math"
	"math/rand/v2"
)

// Hand is a person rocking a part between two stops.
type Hand struct {
	Hold    [2]float64 // least and longest hold, s
	Stroke  [2]float64 // least and longest stroke, s
	Noise   float64    // standard deviation of a stop: how hard it pushes
	Bounce  float64    // largest rebound
	Creep   float64    // largest creep while held
	Short   float64    // part of strokes that stop short
	Knock   float64    // part of strokes with a knock at the stand
	KnockBy float64    // largest knock
}

func between(r *rand.Rand, b [2]float64) float64 { return b[0] + (b[1]-b[0])*r.Float64() }

// SetUp wanders about before the first stroke: the gauge is being placed.
func (h Hand) SetUp(p *Path, r *rand.Rand, travel, seconds float64) {
	for end := p.End() + seconds; p.End() < end; {
		p.Glide(travel*(2*r.Float64()-1), between(r, [2]float64{0.2, 1.2}))
		if r.Float64() < 0.5 {
			p.Hold(between(r, [2]float64{0.2, 1.5}), 0, 0)
		}
	}
}

// Rock goes from stop to stop, about a middle, the given number of strokes. It
// returns how often it stopped short or knocked the stand.
func (h Hand) Rock(p *Path, r *rand.Rand, middle, play float64, strokes int) (spoilt int) {
	side := 1.0
	if r.Float64() < 0.5 {
		side = -1
	}
	for range strokes + 1 {
		at := middle + side*play/2 + h.Noise*r.NormFloat64()
		if r.Float64() < h.Short {
			at -= side * play * (0.25 + 0.5*r.Float64())
			spoilt++
		}
		creep := h.Creep * r.Float64()
		p.Glide(at+side*min(0, creep), between(r, h.Stroke))
		p.Hold(between(r, h.Hold), -side*h.Bounce*r.Float64(), side*math.Abs(creep))
		if r.Float64() < h.Knock {
			middle += h.KnockBy * (2*r.Float64() - 1)
			spoilt++
		}
		side = -side
	}
	return spoilt
}
