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

// presentFloors is how many times what the grid or a hand makes they may differ by at most.
const presentFloors = 25

func (m *play) present(p *Progress) {
	s := m.now
	strokes := make([]float64, 0, len(s.turns))
	for k := 1; k < len(s.turns); k++ {
		a, b := &s.turns[k-1], &s.turns[k]
		strokes = append(strokes, math.Abs(b.Value-a.Value-s.fit.drift*(b.T-a.T)))
	}
	// Of a few strokes that are all different the scatter says nothing, and swings of the
	// set-up differ by more than any stops do.
	tol := m.floor() + min(presentSigmas*math.Sqrt2*stopScatter(strokes, m.step), s.fit.play/3, presentFloors*m.floor())
	last := strokes[max(0, len(strokes)-3):]
	three, mean := inf, 0.0 // how far the last three lie apart
	if len(last) == 3 {
		three, mean = slices.Max(last)-slices.Min(last), (last[0]+last[1]+last[2])/3
	}
	// Three that agree and are not what all make together are another play: on a coarse
	// gauge the mean of the two is like either.
	other := three <= m.floor() && math.Abs(mean-s.fit.play) > m.floor()
	switch {
	case !other && math.Abs(last[len(last)-1]-s.fit.play) <= tol && 2*alike(strokes, s.fit.play, tol) >= len(strokes):
	case three <= tol: // and swings of the set-up have a mean too
		p.Result *= mean / s.fit.play
		p.U95 = math.Max(p.U95, tol)
	default:
		p.HasResult = false
	}
}

// alike counts the strokes that are as long as the play.
func alike(strokes []float64, play, tol float64) (n int) {
	for _, l := range strokes {
		if math.Abs(l-play) <= tol {
			n++
		}
	}
	return n
}

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
