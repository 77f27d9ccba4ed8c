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
	// sizeNear times what agrees on a fine gauge, and sizeNearCoarse times what agrees on
	// this one, is the furthest from one gauging of a part to the next, gauged badly;
	// beyond it the gauge stood free.
	sizeNear       = 15
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
	near  float64   // and with no wider gap between neighbours one part
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
// within what agrees, and the others of the same part, which do not.
func (g *gaugings) about(i int) (same, near []motion.Rest) {
	at := g.rests[i].Value
	low, most := at, 0
	for _, r := range g.rests {
		if r.Value > at || !within(at-r.Value, g.agree) {
			continue
		}
		n := 0
		for _, q := range g.rests {
			if q.Value >= r.Value && within(q.Value-r.Value, g.agree) {
				n++
			}
		}
		if n > most {
			low, most = r.Value, n
		}
	}
	least, greatest := g.part(at)
	for _, r := range g.rests {
		switch {
		case r.Value >= low && within(r.Value-low, g.agree):
			same = append(same, r)
		case g.isZero(r):
		case r.Value >= least && r.Value <= greatest:
			near = append(near, r)
		}
	}
	return same, near
}

// part is the least and the greatest gauging of the part that was gauged at a value:
// from each to the next one up or down is no further than near. However wide a hand
// scatters, each is near some other, where not all are near the last.
func (g *gaugings) part(at float64) (least, greatest float64) {
	values := make([]float64, 0, len(g.rests))
	for _, r := range g.rests {
		if !g.isZero(r) {
			values = append(values, r.Value)
		}
	}
	slices.Sort(values)
	least, greatest = at, at
	for _, v := range values {
		if v > greatest && v-greatest <= g.near {
			greatest = v
		}
	}
	for _, v := range slices.Backward(values) {
		if v < least && least-v <= g.near {
			least = v
		}
	}
	return least, greatest
}

func (g *gaugings) isZero(r motion.Rest) bool { return g.hasZero && math.Abs(r.Value) <= g.agree }

// within tells whether gaugings so far apart agree.
func within(apart, agree float64) bool {
	const rounding = 1e-9
	return apart <= agree*(1+rounding)
}

// best are the rests of the part that was gauged most, the newest where two stops are
// alike in that.
func (g *gaugings) best() (same, near []motion.Rest) {
	most := 0
	for i, r := range g.rests {
		s, n := g.about(i)
		all := len(s) + len(n)
		if g.isZero(r) { // what lies near is the part's, and counted there
			all = len(s)
		}
		if all > most || all == most && len(s) >= len(same) {
			same, near, most = s, n, all
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

// scatter is the standard deviation that gaugings are charged with: their own, and
// where they do not all agree, what may lie between two that do (agree, and the step
// that rounding hides) beside it in squares, up to as much again.
//
// Three that agree end the take, and a hand that scatters by sd gauges three alike by
// luck in a share of its takes that falls as (agree/sd)². Waiting for agreement selects
// a small scatter: where sd is twice agree, half of those miss the true size, and nothing
// in them tells them from good ones. So U95 holds for all takes of such a hand only if
// those that went on miss it less often than 5 %, by what the lucky ones miss more. A
// small relative widening takes from Student's t a share in proportion, so it must be a
// multiple of (agree/sd)²: a multiple of agree² beside sd². That is why it has this form.
// That the multiple may be 1, and that no more than sd² is added (a hand that scatters by
// less than agree seldom goes on, and one stray among good gaugings is no sign of luck),
// was found by simulation: 94 % and more then hold the true size at every scatter
// (go test -v -run SizesCover ./internal/method).
func scatter(rests []motion.Rest, agree, step float64) float64 {
	mean := meanOf(rests)
	least, greatest, sq := mean, mean, 0.0
	for _, r := range rests {
		least, greatest = math.Min(least, r.Value), math.Max(greatest, r.Value)
		sq += (r.Value - mean) * (r.Value - mean)
	}
	sd := math.Sqrt(sq / float64(len(rests)-1))
	if within(greatest-least, agree) {
		return sd
	}
	return math.Hypot(sd, math.Min(sd, agree+step))
}
