package method

import (
	"math"

	"thouwright/internal/motion"
)

// turningPoint finds where a rocked gauge turns: a bore gauge reads least (or,
// by its build, most) when it stands square.
type turningPoint struct {
	turning string // rest, least, most
	since   Reading
	best    Reading
	started bool
	fell    bool // it has come down to the extreme from clearly beyond it

	last   [2]Reading // the two readings before this one
	before [2]Reading // the two before the extreme
	after  Reading    // the one after it
}

func (p *turningPoint) wanted() bool { return p.turning == "least" || p.turning == "most" }

// reading follows the values; found is the extreme of a swing that rose on both sides
// of it by more than window. A gauge hardly ever sends its reading at the very moment
// of turning: between two readings a swing of second difference c turns up to c/8
// beyond the nearer one, so that half of this is added and half is the limit of what
// that may be wrong by, open.
func (p *turningPoint) reading(r Reading, window, step float64) (g motion.Rest, open float64, found bool) {
	defer func() { p.last = [2]Reading{p.last[1], r} }()
	way := 1.0
	if p.turning == "most" {
		way = -1
	}
	v := way * r.Value
	best := func() { p.best, p.before, p.after = r, p.last, Reading{Value: math.NaN()} }
	if !p.started {
		p.started, p.since, p.last = true, r, [2]Reading{r, r}
		best()
		return g, 0, false
	}
	if !p.fell {
		// Looking for the way down from a high place.
		if v > way*p.since.Value {
			p.since = r
		}
		if way*p.since.Value-v > window {
			p.fell = true
			best()
		}
		return g, 0, false
	}
	if v <= way*p.best.Value {
		best()
		return g, 0, false
	}
	if math.IsNaN(p.after.Value) {
		p.after = r
	}
	if v-way*p.best.Value > window {
		b := p.best
		open = p.between(step)
		b.Value -= way * open
		p.fell, p.since = false, r
		return motion.Rest{FirstSeq: b.Seq, LastSeq: r.Seq, Start: b.T, End: b.T, T: b.T, Count: 1, Used: 1, Value: b.Value, Low: b.Value, High: b.Value}, open, true
	}
	return g, 0, false
}

// between is half of how far beyond the extreme reading the swing may have turned.
// One step off is the rounding of a slow swing, and where three readings stood at the
// extreme the hand had stopped there.
func (p *turningPoint) between(step float64) float64 {
	off := func(r Reading) float64 { return math.Max(0, math.Abs(r.Value-p.best.Value)-1.01*step) }
	if off(p.before[1]) == 0 && off(p.before[0]) == 0 {
		return 0
	}
	return (off(p.before[1]) + off(p.after)) / 16
}
