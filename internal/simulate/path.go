// Package simulate holds mechanisms, hands and gauges as models with known
// truth, for the demo and for the tests. It is pure: all chance comes from the
// source it is given. Lengths are in mm, times in seconds.
package simulate

import "math"

// Path is a movement: where the part (or the stand) is at each moment.
type Path struct{ legs []leg }

type leg struct {
	start, end float64 // time
	from, to   float64 // place
	settles    bool    // held at `to`, with a bounce that dies away and a creep
	bounce     float64
	creep      float64
}

// End is when the movement ends.
func (p *Path) End() float64 {
	if len(p.legs) == 0 {
		return 0
	}
	return p.legs[len(p.legs)-1].end
}

// Place is where it ends, without the creep.
func (p *Path) Place() float64 {
	if len(p.legs) == 0 {
		return 0
	}
	return p.legs[len(p.legs)-1].to
}

// Glide moves to a place within the given time, fastest in the middle.
func (p *Path) Glide(to, seconds float64) {
	t := p.End()
	p.legs = append(p.legs, leg{start: t, end: t + seconds, from: p.Place(), to: to})
}

// Hold stays at the present place: bounce is the first rebound (it dies away
// with 60 ms), creep the distance it moves outward in the end.
func (p *Path) Hold(seconds, bounce, creep float64) {
	t, at := p.End(), p.Place()
	p.legs = append(p.legs, leg{start: t, end: t + seconds, from: at, to: at, settles: true, bounce: bounce, creep: creep})
}

// Walker reads a path in the order of time.
type Walker struct {
	path *Path
	i    int
}

// Walk gives a walker at the path's beginning.
func (p *Path) Walk() *Walker { return &Walker{path: p} }

// At is the place at time t; t never falls.
func (w *Walker) At(t float64) float64 {
	legs := w.path.legs
	if len(legs) == 0 {
		return 0
	}
	for w.i+1 < len(legs) && t >= legs[w.i].end {
		w.i++
	}
	l := &legs[w.i]
	s := t - l.start
	if l.settles {
		return l.to + l.bounce*math.Exp(-s/0.06)*math.Cos(2*math.Pi*9*s) + l.creep*(1-math.Exp(-s/0.5))
	}
	u := math.Min(1, math.Max(0, s/math.Max(1e-9, l.end-l.start)))
	return l.from + (l.to-l.from)*u*u*(3-2*u)
}
