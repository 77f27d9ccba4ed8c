package method

import (
	"math"

	"thouwright/internal/ledger"
)

// Gate stands between two positions: after a take the next position opens
// after a movement larger than three times the play, three seconds of
// stillness (longer than a slow hand holds), or a command, so that going on
// rocking after the sound makes no take for a place where the gauge is not.
type Gate struct {
	still float64 // how far readings may spread and still count as standing
	most  float64 // and no further than this, whatever a digit is worth
	large float64 // a movement beyond this opens
	press bool    // each reading is deliberate, none is wild
	far   int     // readings in a row that lie beyond it: wild, or a movement
	low   float64 // of all readings since the take
	high  float64
	from  float64 // of the present stillness
	quiet [2]float64
	now   float64
	begun bool
	first float64 // reading since the take; NaN before it
	open  bool
	mute  bool    // the gauge's silence means stillness
	wait  float64 // how long a stillness opens the next position
	again float64 // from then on a press of the data button opens it; +Inf never
}

// GateSeconds is how long a stillness opens the next position.
const GateSeconds = 3.0

// gateHolds: and so many times as long as the hand held at the stops.
const gateHolds = 1.5

// gatePress is how long after a take a press of the data button is taken for
// one too many and not for the next place's.
const gatePress = 1.0

// gateSizes is how many times the play a movement must be.
const gateSizes = 3.0

// gateFar is how many readings in a row a movement must last.
const gateFar = 3

// gateShare of the play is the most that readings which stand still may spread: a
// push that stops short moves further.
const gateShare = 0.2

// NewGate gives the gate after a take; last is nil where there was none, and
// then the gate stands open.
func NewGate(s Spec, last *Result) *Gate {
	g := &Gate{open: last == nil, first: math.NaN(), mute: s.Gauge.Sends != ledger.Streams, press: s.Gauge.Sends == ledger.OnPress,
		wait: GateSeconds, again: math.Inf(1)}
	if last == nil {
		return g
	}
	g.wait = math.Max(GateSeconds, gateHolds*last.Hold)
	if s.Method == Size {
		// A size that was pressed is over; nothing goes on that could be taken for
		// the next place's.
		if g.again = last.T + gatePress; g.press {
			g.begun, g.from, g.wait = true, last.T, gatePress
		}
	}
	least := math.Max(2*s.Gauge.Step, 5*s.twoMicron())
	size := math.Abs(last.Value)
	if s.Method != Play && s.Method != EndPlay && s.Method != RunOut {
		size = 0 // a size or a force says nothing of how far the gauge moved
	}
	// The levels of the stops, so that a play of nearly nothing does not open
	// the gate by noise.
	g.large = math.Max(gateSizes*size, 10*least)
	g.still, g.most = math.Max(least, 0.2*size), inf
	if size > 0 {
		// Rocking on between stops a few steps apart is no stillness.
		g.most = gateShare * size
	}
	return g
}

// Reading takes a value of the check's gauge.
func (g *Gate) Reading(r Reading) {
	if g.open || r.Fault || r.Minus || math.IsNaN(r.Value) {
		return
	}
	g.now = r.T
	if r.Pressed && !math.IsInf(g.again, 1) {
		g.open = r.T >= g.again
		return
	}
	if !g.begun {
		// The first reading may be wild: it counts once the next one agrees.
		g.begun = g.press || !math.IsNaN(g.first) && math.Abs(r.Value-g.first) <= g.large
		g.first = r.Value
		g.low, g.high = r.Value, r.Value
		g.rest(r)
		return
	}
	if math.Max(g.high, r.Value)-math.Min(g.low, r.Value) > g.large {
		// A wild reading opens nothing, nor do two.
		g.far++
		g.open = g.far >= gateFar || g.press
		return
	}
	g.far = 0
	g.low, g.high = math.Min(g.low, r.Value), math.Max(g.high, r.Value)
	low, high := math.Min(g.quiet[0], r.Value), math.Max(g.quiet[1], r.Value)
	if high-low > math.Min(math.Max(g.still, 2*r.Step), g.most) {
		g.rest(r)
		return
	}
	g.quiet = [2]float64{low, high}
	g.tick(r.T)
}

func (g *Gate) rest(r Reading) {
	g.from, g.quiet = r.T, [2]float64{r.Value, r.Value}
}

// Tick tells the time where no reading came. The silence of a gauge that
// streams says nothing.
func (g *Gate) Tick(t float64) {
	if g.mute {
		g.tick(t)
	}
}

func (g *Gate) tick(t float64) {
	if g.begun && !g.open && t >= g.from+g.wait-1e-9 {
		g.open = true
	}
}

// Deadline is when Tick is due: +Inf where it is not.
func (g *Gate) Deadline() float64 {
	if g.open || !g.begun || !g.mute {
		return math.Inf(1)
	}
	return g.from + g.wait
}

// Command opens the gate: a person said so.
func (g *Gate) Command() { g.open = true }

// Open tells whether the next position may begin.
func (g *Gate) Open() bool { return g.open }
