package method

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
)

// Adjuster is the thread or nut that sets an end play or a drag. Pitch is in
// the check's unit and zero where it is not known.
type Adjuster struct {
	Pitch float64
	Left  bool // a left-hand thread
	Slots int  // of a castellated nut
	Holes int  // mouths of the split-pin holes
}

// The ways to turn an adjuster.
const (
	Tighten = "tighten"
	Slacken = "slacken"
	Hold    = "hold" // in the band, but not surely
	Lock    = "lock" // in the band with the asked confidence
)

// Where a value lies against its limits.
const (
	WhereBelow = "below"
	WhereIn    = "in"
	WhereAbove = "above"
)

// Guidance says what to do with the adjuster for a value measured while its
// lock is open: where the value lies, how far from the middle of the band, which
// way to go and, for end play with a known pitch, how far. Less end play is
// tighter; less drag is looser. Tightening is always clockwise on a right-hand
// thread, seen facing the nut.
func Guidance(s Spec, a Adjuster, value, u95 float64) ledger.Guide {
	low, high := s.Limits.Low, s.Limits.High
	g := ledger.Guide{Where: WhereIn, Way: Hold}
	if math.IsNaN(value) || (math.IsInf(low, -1) && math.IsInf(high, 1)) {
		return g
	}
	switch {
	case value < low:
		g.Where = WhereBelow
	case value > high:
		g.Where = WhereAbove
	}
	aim, half := middleOf(low, high)
	g.Ratio = math.Abs(value-aim) / half
	g.Sure = g.Where == WhereIn && probabilityIn(value, u95, s.Limits) >= s.Confidence
	switch {
	case g.Sure:
		g.Way = Lock
		return g
	case s.Method == Drag:
		g.Way = wayFor(aim - value)
	default:
		g.Way = wayFor(value - aim)
	}
	past := math.IsInf(high, 1) && value > aim || math.IsInf(low, -1) && value < aim
	if g.Where == WhereIn && (g.Ratio <= 0.5 || past) {
		// Near the middle, or far from the only limit, and still unsure: turning does not
		// help, measuring does.
		g.Way = Hold
		return g
	}
	if s.Method != Drag && a.Pitch > 0 {
		g.Turn = a.turn(math.Abs(value-aim)/a.Pitch*360, g.Way)
	}
	return g
}

// wayFor tells which way closes a gap: too much is to be tightened.
func wayFor(excess float64) string {
	if excess < 0 {
		return Slacken
	}
	return Tighten
}

// middleOf is where to aim in a band, and how far its edge lies from there. An
// open lower end counts as nothing, an open upper end as three times the lower. From a
// limit below zero, which only what is worked out may have, it lies as far the right way.
func middleOf(low, high float64) (aim, half float64) {
	switch {
	case math.IsInf(high, 1):
		high = low + 2*math.Abs(low)
	case math.IsInf(low, -1):
		low = math.Min(0, 3*high)
	}
	half = (high - low) / 2
	if half <= 0 {
		half = math.Max(math.Abs(high), 1) * 1e-9
	}
	return (low + high) / 2, half
}

func probabilityIn(value, u95 float64, l metrology.Limits) float64 {
	if u95 <= 0 {
		return 1
	}
	n := distuv.Normal{Mu: value, Sigma: u95 / metrology.Normal95}
	p := 1.0
	if !math.IsInf(l.High, 1) {
		p = n.CDF(l.High)
	}
	if !math.IsInf(l.Low, -1) {
		p -= n.CDF(l.Low)
	}
	return p
}

// turn says a turn in words: in places of the nut where it has slots.
func (a Adjuster) turn(deg float64, way string) string {
	side := "clockwise"
	if (way == Slacken) != a.Left {
		side = "anticlockwise"
	}
	if a.Slots > 0 {
		places := a.Slots
		if a.Holes > 0 {
			places = a.Slots / gcd(a.Slots, a.Holes) * a.Holes
		}
		n := int(math.Round(deg * float64(places) / 360))
		switch {
		case n == 0:
			return fmt.Sprintf("less than one slot %s", side)
		case places != a.Slots:
			return fmt.Sprintf("%.0f deg %s, %s", float64(n)*360/float64(places), side, count(n, "place", "places"))
		default:
			return fmt.Sprintf("%s %s", count(n, "slot", "slots"), side)
		}
	}
	switch {
	case deg >= 720:
		return fmt.Sprintf("%.1f turns %s", deg/360, side)
	case deg >= 20:
		deg = 5 * math.Round(deg/5)
	}
	return fmt.Sprintf("%.0f deg %s", math.Max(1, deg), side)
}

func count(n int, one, many string) string {
	if n == 1 {
		return "one " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
