package method

import (
	"math"

	"thouwright/internal/ledger"
)

// trail keeps the latest readings of a take, so that a run of strokes can be looked
// at once more when it is about to be complete.
type trail struct {
	seen []place // a ring
	next int
}

type place struct {
	t, v   float64
	second float64 // of the second gauge, which v is without
}

// trailMost is how many readings are kept: twenty at most a second for as long as
// most takes last. Of a faster gauge it is the end of the run that is looked at.
const trailMost = 512

func (l *trail) add(p place) {
	if len(l.seen) < trailMost {
		l.seen = append(l.seen, p)
		return
	}
	l.seen[l.next] = p
	if l.next++; l.next == trailMost {
		l.next = 0
	}
}

// at is the k-th of the readings kept, the oldest first.
func (l *trail) at(k int) place { return l.seen[(l.next+k)%len(l.seen)] }

// second is what the second gauge moved between the two sides of a run, from the low
// stop of the first to its high one; +Inf where the readings kept do not show both.
func (l *trail) second(turns []turn) float64 {
	var sum, n [2]float64
	k := 0
	for i := range l.seen {
		p := l.at(i)
		for k < len(turns) && p.t > turns[k].End {
			k++
		}
		if k == len(turns) {
			break
		}
		if p.t >= turns[k].Start {
			side := sideOf(turns[k].side)
			sum[side] += p.second
			n[side]++
		}
	}
	if n[0] == 0 || n[1] == 0 {
		return inf
	}
	return sum[1]/n[1] - sum[0]/n[0]
}

// between is the part of a run's time that the part spent in the middle half of a
// stroke. A hand that goes from stop to stop and holds is there a moment only; what
// swings or wanders is there a third of the time. Each stroke is measured by its
// own two ends. A reading stands until the next, but no longer than most.
func (l *trail) between(turns []turn, most float64) float64 {
	var in, all float64
	k := 1
	for i := 0; i+1 < len(l.seen); i++ {
		p := l.at(i)
		if p.t < turns[0].T {
			continue
		}
		for k < len(turns)-1 && p.t >= turns[k].T {
			k++
		}
		if p.t >= turns[k].T {
			break
		}
		if turns[k].paused > 0 {
			continue
		}
		w := min(l.at(i+1).t-p.t, most)
		a, b := turns[k-1].Value, turns[k].Value
		if u := math.Abs(p.v-(a+b)/2) / math.Abs(b-a); u < 0.25 {
			in += w
		}
		all += w
	}
	return in / math.Max(all, 1e-9)
}

// mostBetween: takes of simulated hands have less (95 % of them below 0.15, of plays of
// two steps 0.2; slow strokes between short rests have more), a sine has 0.33.
const mostBetween = 0.2

// dwells tells whether the part stood at its stops for most of the run.
func (m *play) dwells() bool {
	most := 2.5 * m.find.Between()
	if m.spec.Gauge.Sends == ledger.OnChange {
		most = inf
	}
	return m.trail.between(m.now.turns, most) < mostBetween
}
