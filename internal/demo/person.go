package demo

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"

	"thouwright/internal/ledger"
)

// person does the job by hand: looks up what is to be measured, does it until
// the sound of a take, and goes on. Plays and sizes are the machine's truth,
// which the daemon does not know.
type person struct {
	ears  *ears
	hands map[string]*hand
	rand  *rand.Rand
	say   func(string)
	tap   func(ctx context.Context) // the foot switch
	step  func(ctx context.Context) // the page's button for the procedure's next step

	nut      float64 // end play of the hub as the nut now stands, mm
	nutTries int
}

// truth of the machine.
var (
	pinPlay  = map[string]float64{"straight ahead": 0.214, "left lock": 0.086, "right lock": 0.150}
	pinSize  = 27.968
	bushBore = 28.019
	rimThrow = 0.055 // eccentricity of the belt pulley's rim, mm
	dragPull = 14.0  // N at the arm
)

// work does one place after the other until the job is through or ctx is done.
func (p *person) work(ctx context.Context) {
	for ctx.Err() == nil {
		a, ok := p.ears.active()
		if !ok {
			sleep(ctx, 1e7)
			continue
		}
		if a.Phase == ledger.PhaseDone {
			return
		}
		heard := p.ears.heard()
		p.place(ctx, a)
		if p.ears.heard() == heard && ctx.Err() == nil {
			p.say("nothing was heard: once more")
		}
	}
}

// place does what is to be done at one place, until a take is heard.
func (p *person) place(ctx context.Context, a ledger.LiveActive) {
	h := p.hands[a.Gauge]
	where := a.Component + ", " + a.Check
	if a.Position != "" {
		where += ", " + a.Position
	}
	switch a.Method {
	case "play":
		p.say(where + ": the gauge is set up, the shaft rocked from stop to stop")
		p.setUp(ctx, h, 2.2)
		p.rock(ctx, h, pinPlay[a.Position], 20)
	case "size":
		p.say(where + ": the gauge is closed on it, opened, and closed again")
		size := pinSize
		if a.Gauge == "bore-1" {
			size = bushBore
		}
		p.gauging(ctx, h, size)
	case "end-play":
		p.endPlay(ctx, h, a, where)
	case "run-out":
		p.say(where + ": the gauge is set up and left alone, then the pulley is turned by hand, slowly, once round; a tap on the foot switch ends it")
		p.turn(ctx, h)
	case "drag":
		p.say(where + ": the swivel is pulled slowly from lock to lock")
		p.pull(ctx, h)
	}
}

func (p *person) between(low, high float64) float64 { return low + (high-low)*p.rand.Float64() }

// setUp places the gauge: large, aimless movement with pauses.
func (p *person) setUp(ctx context.Context, h *hand, travel float64) {
	home := 4.8
	for range 3 {
		h.move(ctx, home+travel*(2*p.rand.Float64()-1), p.between(0.3, 0.8))
		h.hold(ctx, p.between(0.1, 0.6), 0, 0)
	}
	h.move(ctx, home+0.3*(2*p.rand.Float64()-1), 0.6)
}

// rock goes from stop to stop until a take is heard, and once or twice more, as
// one does before the sound has sunk in.
func (p *person) rock(ctx context.Context, h *hand, play float64, most int) (heard bool) {
	middle, side, after := h.at(), 1.0, 0
	before := p.ears.heard()
	for range most {
		h.move(ctx, middle+side*play/2+0.0015*p.rand.NormFloat64(), p.between(0.25, 0.45))
		h.hold(ctx, p.between(0.6, 0.9), -side*0.004*p.rand.Float64(), side*0.001*p.rand.Float64())
		side = -side
		if p.ears.heard() > before {
			if after++; after > 1 {
				return true
			}
		}
		if ctx.Err() != nil {
			return false
		}
	}
	return p.ears.heard() > before
}

// gauging closes an instrument on a part and opens it, until a take is heard.
func (p *person) gauging(ctx context.Context, h *hand, size float64) {
	before := p.ears.heard()
	for range 10 {
		h.move(ctx, size+p.between(1.5, 3), p.between(0.4, 0.8))
		h.move(ctx, size+0.0004*p.rand.NormFloat64(), p.between(0.5, 0.9))
		h.hold(ctx, p.between(1, 1.4), 0, 0)
		if p.ears.heard() > before || ctx.Err() != nil {
			break
		}
	}
	h.move(ctx, size+4, 0.6)
}

// endPlay rocks the hub along its axle, listens, and turns the nut until it
// passes with the lock fastened.
func (p *person) endPlay(ctx context.Context, h *hand, a ledger.LiveActive, where string) {
	switch {
	case a.Phase == ledger.PhaseWaiting:
		p.say(where + ": the lock is fastened")
		p.goTo(ctx, a, fastenLock)
		p.nut -= 0.003 // locking moves the play
		h.hold(ctx, 3.6, 0, 0)
		p.step(ctx) // to measure
	case a.Phase == ledger.PhaseAdjusting:
		p.nutTries++
		p.nut = [...]float64{0.21, 0.13, 0.066}[min(p.nutTries, 2)]
		p.say(fmt.Sprintf("%s: the nut is tightened (try %d)", where, p.nutTries))
		p.goTo(ctx, a, turnNut)
		p.setUp(ctx, h, 0.8)
	default:
		p.nut, p.nutTries = 0.21, 0
		p.say(where + ": the hub is pushed and pulled along the axle")
		p.setUp(ctx, h, 1.5)
	}
	p.rock(ctx, h, p.nut, 20)
}

// The steps of the hub's procedure in the job sheet that are not its first.
const (
	turnNut = 1 + iota
	fastenLock
)

// goTo goes to a step of the procedure.
func (p *person) goTo(ctx context.Context, a ledger.LiveActive, step int) {
	for at := a.StepNow; at != step && ctx.Err() == nil; at = (at + 1) % len(a.Steps) {
		p.step(ctx)
	}
}

// turn sets the gauge up, leaves it alone for a moment, and turns the pulley once
// round, slowly, and a little further. A tap on
// the foot switch says that the turn was whole, which no gauge can see.
func (p *person) turn(ctx context.Context, h *hand) {
	p.setUp(ctx, h, 1)
	home := h.at() - rimThrow
	h.move(ctx, home+rimThrow, 0.5)
	h.hold(ctx, 1, 0, 0)
	const parts = 72
	for k := range parts + 4 {
		a := 2 * math.Pi * float64(k) / parts
		h.move(ctx, home+rimThrow*math.Cos(a)+0.006*math.Cos(2*a+1), 0.15)
	}
	p.tap(ctx)
	h.hold(ctx, 1, 0, 0)
}

// pull breaks the swivel away and turns it slowly.
func (p *person) pull(ctx context.Context, h *hand) {
	before := p.ears.heard()
	h.move(ctx, 0, 0.5)
	h.hold(ctx, 1, 0, 0)
	h.move(ctx, dragPull*1.35, 0.5)
	h.move(ctx, dragPull, 0.4)
	for range 18 {
		h.move(ctx, dragPull+0.5*p.rand.NormFloat64(), 0.4)
		if p.ears.heard() > before || ctx.Err() != nil {
			break
		}
	}
	h.move(ctx, 0, 0.5)
	h.hold(ctx, 2, 0, 0)
}
