package method

import "thouwright/internal/motion"

// turningPoint finds where a rocked gauge turns: a bore gauge reads least (or,
// by its build, most) when it stands square.
type turningPoint struct {
	turning string // rest, least, most
	since   Reading
	best    Reading
	started bool
	fell    bool // it has come down to the extreme from clearly beyond it
}

func (p *turningPoint) wanted() bool { return p.turning == "least" || p.turning == "most" }

// reading follows the values; found is the extreme of a swing that rose on
// both sides of it by more than window.
func (p *turningPoint) reading(r Reading, window float64) (g motion.Rest, found bool) {
	way := 1.0
	if p.turning == "most" {
		way = -1
	}
	v := way * r.Value
	if !p.started {
		p.started, p.best, p.since = true, r, r
		return g, false
	}
	if !p.fell {
		// Looking for the way down from a high place.
		if v > way*p.since.Value {
			p.since = r
		}
		if way*p.since.Value-v > window {
			p.fell, p.best = true, r
		}
		return g, false
	}
	if v <= way*p.best.Value {
		p.best = r
		return g, false
	}
	if v-way*p.best.Value > window {
		b := p.best
		p.fell, p.since = false, r
		return motion.Rest{FirstSeq: b.Seq, LastSeq: r.Seq, Start: b.T, End: b.T, T: b.T, Count: 1, Used: 1, Value: b.Value, Low: b.Value, High: b.Value}, true
	}
	return g, false
}
