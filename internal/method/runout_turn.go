package method

import (
	"math"
	"slices"

	"thouwright/internal/motion"
)

// turn is the readings of the turn: those since the gauge was set up. A part that stood
// still for a while when it was confirmed looks like one that ran true, and everything
// before that like the set-up. Where that moved smoothly and came back to where it
// stands it was the turn, where it did neither the set-up; ok is false where nobody
// can tell.
func (m *runOut) turn() (turn []Reading, ok bool) {
	all := m.kept
	if m.n > runOutMost {
		k := m.n % runOutMost
		all = slices.Concat(m.kept[k:], m.kept[:k])
	}
	turn = m.sinceSetUp(all)
	stood := m.stood(len(all), func(i int) float64 { return all[len(all)-1-i].Value })
	before := m.sinceSetUp(all[:len(all)-stood])
	width := rangeOf(before)
	if width <= 2*math.Max(rangeOf(turn), m.jump()) {
		return turn, true
	}
	switch smooth, back := smoothly(before, width), m.comesBack(before, width); {
	case smooth && back:
		return before, true
	case !smooth && !back:
		return turn, true
	}
	return nil, false
}

// smoothly tells whether readings so wide apart never jump, not even as in a turn of a
// dozen.
func smoothly(turn []Reading, width float64) bool {
	for i := 1; i < len(turn); i++ {
		if math.Abs(turn[i].Value-turn[i-1].Value) > runOutSmooth*width {
			return false
		}
	}
	return true
}

func rangeOf(readings []Reading) float64 {
	low, high := inf, -inf
	for _, r := range readings {
		low, high = math.Min(low, r.Value), math.Max(high, r.Value)
	}
	return math.Max(0, high-low)
}

// comesBack tells whether readings that are so wide apart were where they end before they
// reached either extreme, as in a whole turn or more.
func (m *runOut) comesBack(turn []Reading, width float64) bool {
	end := turn[len(turn)-1].Value
	low, high := 0, 0
	for i, r := range turn {
		if r.Value < turn[low].Value {
			low = i
		}
		if r.Value > turn[high].Value {
			high = i
		}
	}
	slack := math.Max(m.find.Window(), runOutClose*width)
	above := turn[0].Value > end
	for _, r := range turn[:min(low, high)+1] {
		if math.Abs(r.Value-end) <= slack || r.Value > end != above {
			return true
		}
	}
	return false
}

// jump is the least change within one reading that is no part of a turn.
func (m *runOut) jump() float64 { return math.Max(6*m.step, 3*m.spec.twoMicron()) }

// sinceSetUp goes back from the last readings to where the gauge was set up.
func (m *runOut) sinceSetUp(all []Reading) []Reading {
	if len(all) < runOutLeast {
		return all
	}
	least := m.jump()
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

// turned is how many readings came while the part was turned: a hand rests before a turn
// and after it, and of how fast it was those readings say nothing. Of a run-out of only
// a few standstills' width all count.
func (m *runOut) turned(all []Reading) int {
	n := len(all)
	if rangeOf(all) <= 4*m.find.Window() {
		return n
	}
	return n - m.stood(n, func(i int) float64 { return all[i].Value }) - m.stood(n, func(i int) float64 { return all[n-1-i].Value })
}

// stood is how many of n readings, from the first on, a standstill takes; the last of it
// begins the movement.
func (m *runOut) stood(n int, value func(i int) float64) int {
	low, high := inf, -inf
	for i := range n {
		low, high = math.Min(low, value(i)), math.Max(high, value(i))
		if high-low > m.find.Window() {
			if i < runOutFlat {
				return 0
			}
			return i - 1
		}
	}
	return 0
}
