package method

import (
	"math"
	"slices"

	"thouwright/internal/motion"
)

// turn is the readings of the turn: those since the gauge was set up, without
// the standing still after it.
func (m *runOut) turn() []Reading {
	all := m.kept
	if m.n > runOutMost {
		k := m.n % runOutMost
		all = slices.Concat(m.kept[k:], m.kept[:k])
	}
	if len(all) < runOutLeast {
		return all
	}
	least := math.Max(6*m.step, 3*m.spec.twoMicron())
	from := len(all) - runOutLeast
	low, high := inf, -inf
	for _, r := range all[from:] {
		low, high = math.Min(low, r.Value), math.Max(high, r.Value)
	}
	for from > 0 {
		v := all[from-1].Value
		l, h := math.Min(low, v), math.Max(high, v)
		if h-l-(high-low) > math.Max(runOutJump*(high-low), least) {
			break
		}
		low, high = l, h
		from--
	}
	if from > 0 {
		from = m.settled(all, from)
	}
	return m.begun(all[from:])
}

// begun leaves out a gentle set-up, in which nothing jumps. A whole turn ends where
// it began, so that its first reading lies among those after any pause in it; one
// that lies beyond all that came after a standstill was part of the set-up, which
// that standstill ended, if it was short against the rest. A pause within a turn
// never cuts it: that would make the run-out too small, which is the unsafe side.
func (m *runOut) begun(all []Reading) []Reading {
	n := len(all)
	low, high := make([]float64, n+1), make([]float64, n+1) // from each reading to the end
	low[n], high[n] = inf, -inf
	for i := n - 1; i >= 0; i-- {
		low[i], high[i] = math.Min(low[i+1], all[i].Value), math.Max(high[i+1], all[i].Value)
	}
	first := 0
	for i := 1; i < n-runOutLeast; i++ {
		if (all[n-1].T-all[i].T) < runOutShort*(all[i].T-all[first].T) || !m.still(all[i:]) {
			continue
		}
		slack := math.Max(m.find.Window(), runOutClose*(high[i]-low[i]))
		if v := all[first].Value; v < low[i]-slack || v > high[i]+slack {
			// The standstill's first readings may still belong to the set-up.
			for first = i; all[first].T-all[i].T < motion.RestSeconds; first++ {
			}
		}
	}
	return all[first:]
}

// still tells whether readings begin with a standstill.
func (m *runOut) still(all []Reading) bool {
	low, high := inf, -inf
	for _, r := range all {
		low, high = math.Min(low, r.Value), math.Max(high, r.Value)
		if high-low > m.find.Window() {
			return false
		}
		if r.T-all[0].T >= runOutStill {
			return true
		}
	}
	return false
}

// settled is where a set-up that reached up to reading from came to stand: the
// first standstill soon after it, else from itself.
func (m *runOut) settled(all []Reading, from int) int {
	for i := from; i < len(all)-runOutLeast && all[i].T-all[from].T < runOutSettle; i++ {
		low, high := inf, -inf
		for k := i; k < len(all); k++ {
			low, high = math.Min(low, all[k].Value), math.Max(high, all[k].Value)
			if high-low > m.find.Window() {
				break
			}
			if all[k].T-all[i].T >= motion.RestSeconds {
				return i
			}
		}
	}
	return from
}
