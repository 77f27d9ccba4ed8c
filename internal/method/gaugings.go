package method

import (
	"cmp"
	"math"
	"slices"

	"thouwright/internal/motion"
)

const (
	// sizeGaugings is how many gaugings must agree to make a size by themselves;
	// each that lies near them and does not agree asks for one more, so that three
	// which agree by luck are not picked out of a scatter.
	sizeGaugings = 3
	// sizeMost is how many gaugings of one part are waited for.
	sizeMost = 9
	// sizeNear times what agrees on a fine gauge, and sizeNearCoarse times on any, is
	// still the same part, gauged badly; beyond it the gauge stood free.
	sizeNear       = 10
	sizeNearCoarse = 3
	// sizeSlip times what agrees away from those that agree is a slip.
	sizeSlip = 5
	// sizeClosed times what agrees is how far from zero a closed gauge may stand.
	sizeClosed = 5
	// sizeKeep is how many rests are remembered.
	sizeKeep = 32
)

// gaugings are the rests that may have been the part, oldest first. Between two
// gaugings of it the gauge stands open, or is laid down, at a place that does not
// come back; only a stop does.
type gaugings struct {
	rests []motion.Rest
	open  []float64 // beside each: what a turning point leaves open between two readings
	agree float64   // rests no further apart are one size
	near  float64   // and no further are one part
	// The reading of the master, where the gauge was set to one: a rest there is
	// neither the part nor a bad gauging of it.
	hasZero bool
}

// add remembers a rest.
func (g *gaugings) add(r motion.Rest, open float64) {
	if len(g.rests) == sizeKeep {
		g.rests = g.rests[:copy(g.rests, g.rests[1:])]
		g.open = g.open[:copy(g.open, g.open[1:])]
	}
	g.rests, g.open = append(g.rests, r), append(g.open, open)
}

// about sorts the rests that belong to the i-th: the most of them that lie, with it,
// within what agrees, and those near it that do not.
func (g *gaugings) about(i int) (same, near []motion.Rest) {
	at := g.rests[i].Value
	const rounding = 1e-9
	low, most := at, 0
	for _, r := range g.rests {
		if r.Value > at || r.Value < at-g.agree*(1+rounding) {
			continue
		}
		n := 0
		for _, q := range g.rests {
			if q.Value >= r.Value && q.Value <= r.Value+g.agree*(1+rounding) {
				n++
			}
		}
		if n > most {
			low, most = r.Value, n
		}
	}
	for _, r := range g.rests {
		switch {
		case r.Value >= low && r.Value <= low+g.agree*(1+rounding):
			same = append(same, r)
		case g.hasZero && math.Abs(r.Value) <= g.agree:
		case math.Abs(r.Value-at) <= g.near:
			near = append(near, r)
		}
	}
	return same, near
}

// best are the rests that agree most, the newest where two stops are alike in that.
func (g *gaugings) best() (same, near []motion.Rest) {
	for i := range g.rests {
		if s, n := g.about(i); len(s) >= len(same) {
			same, near = s, n
		}
	}
	return same, near
}

// split tells the gaugings that make the size from those left out. A slip lies far
// off; what lies a little outside the others is the scatter, and to leave it out
// would claim less than there is.
func (g *gaugings) split(same, near []motion.Rest) (used, leftOut []motion.Rest) {
	used = slices.Clone(same)
	at := meanOf(same)
	for _, r := range near {
		if math.Abs(r.Value-at) <= sizeSlip*g.agree {
			used = append(used, r)
		} else {
			leftOut = append(leftOut, r)
		}
	}
	slices.SortFunc(used, func(a, b motion.Rest) int { return cmp.Compare(a.T, b.T) })
	return used, leftOut
}
