package method

import (
	"math"
	"slices"

	"thouwright/internal/motion"
)

// turn is the readings of the turn: those since the gauge was set up. A part that stands
// still in mid-turn or after it looks for that while like one that runs true, and what
// was before like the set-up. So where they make no whole turn by themselves, what moved
// is looked at without the last standstill, and without any: what moved smoothly and came
// back to where it stands was the turn, what did neither the set-up; ok is false where
// nobody can tell.
func (m *runOut) turn() (turn []Reading, ok bool) {
	all := m.kept
	if m.n > runOutMost {
		k := m.n % runOutMost
		all = slices.Concat(m.kept[k:], m.kept[:k])
	}
	turn = m.sinceSetUp(all)
	width := rangeOf(turn)
	moving := [][]Reading{all[:len(all)-m.stoodLast(all)]}
	switch whole := width > m.jump() && m.turned(turn) >= runOutLeast && m.comesBack(turn, width); {
	case whole && width > 4*m.find.Window():
		return turn, true
	case !whole: // a slow turn of so little is standstills for the most part
		moving = append(moving, m.moving(all))
	}
	for _, moved := range moving {
		whole := m.sinceSetUp(moved)
		wide := rangeOf(whole)
		if wide <= math.Max(1.05*width+m.find.Window(), 2*m.jump()) {
			continue
		}
		switch smooth, back := smoothly(whole, wide), m.comesBack(whole, wide); {
		case smooth && back:
			from := slices.IndexFunc(all, func(r Reading) bool { return r.Seq == whole[0].Seq })
			return all[from:], true
		case smooth || back:
			return nil, false
		}
	}
	return turn, true
}

// moving is readings with only the first and the last of every standstill.
func (m *runOut) moving(all []Reading) (moved []Reading) {
	for i := 0; i < len(all); {
		n := m.stood(all[i:])
		if n > 0 {
			moved = append(moved, all[i])
			i += n - 1
		}
		moved = append(moved, all[i])
		i++
	}
	return moved
}

func rangeOf(readings []Reading) float64 {
	low, high := inf, -inf
	for _, r := range readings {
		low, high = math.Min(low, r.Value), math.Max(high, r.Value)
	}
	return math.Max(0, high-low)
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
	return n - max(0, m.stood(all)-1) - m.stoodLast(all)
}

// stoodLast is how many readings a standstill at the end takes but for its first.
func (m *runOut) stoodLast(all []Reading) int {
	back := slices.Clone(all)
	slices.Reverse(back)
	return max(0, m.stood(back)-1)
}

// stood is how many readings the standstill takes that they begin with; 0 without one.
func (m *runOut) stood(all []Reading) int {
	low, high, n := inf, -inf, 0
	for _, r := range all {
		low, high = math.Min(low, r.Value), math.Max(high, r.Value)
		if high-low > m.find.Window() {
			break
		}
		n++
	}
	if n < runOutFlat {
		return 0
	}
	return n
}
