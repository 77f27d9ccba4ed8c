package method

import (
	"math"
	"slices"
)

// Present is how far a machine is whose part is being adjusted. The result of a take
// is that of all its strokes; whoever turns an adjuster between two of them needs the
// play as the last ones show it, on which the word for the way to turn rests. Where
// the last stroke is not like those before, and no three that agree have confirmed it
// (one push that stops short makes two short strokes), there is no result.
func Present(m Machine) Progress {
	p := m.Progress()
	if s, ok := m.(*subtract); ok {
		m = s.Machine
	}
	if q, ok := m.(*play); ok && p.HasResult {
		q.present(&p)
	}
	return p
}

// presentSigmas is how many standard deviations two strokes may differ by that are
// alike.
const presentSigmas = 3.5

func (m *play) present(p *Progress) {
	s := m.now
	strokes := make([]float64, 0, len(s.turns))
	for k := 1; k < len(s.turns); k++ {
		a, b := &s.turns[k-1], &s.turns[k]
		strokes = append(strokes, math.Abs(b.Value-a.Value-s.fit.drift*(b.T-a.T)))
	}
	// Of a few strokes that are all different the scatter says nothing.
	tol := m.floor() + math.Min(presentSigmas*math.Sqrt2*stopScatter(strokes, m.step), s.fit.play/3)
	last := strokes[max(0, len(strokes)-3):]
	switch {
	case p.U95 > swings*p.Result:
		p.HasResult = false
	case math.Abs(last[len(last)-1]-s.fit.play) <= tol:
	case len(last) == 3 && slices.Max(last)-slices.Min(last) <= tol:
		p.Result *= (last[0] + last[1] + last[2]) / 3 / s.fit.play
		p.U95 = math.Max(p.U95, tol)
	default:
		p.HasResult = false
	}
}

// swings: an uncertainty so many times the play is that of the swings of a set-up.
const swings = 2

// stopScatter is the standard deviation of a stop from the strokes' lengths in their
// order: a length's second difference holds four stops' worth of it (1, 2 and 1), so
// that a drift falls out, and the median keeps a change of the play out.
func stopScatter(strokes []float64, step float64) float64 {
	d := make([]float64, 0, len(strokes))
	for k := 1; k < len(strokes); k++ {
		d = append(d, math.Abs(strokes[k]-strokes[k-1]))
	}
	if len(d) == 0 {
		return math.Inf(1)
	}
	slices.Sort(d)
	return math.Max(madToSigma*middle(d)/math.Sqrt(6), step/math.Sqrt(12))
}
