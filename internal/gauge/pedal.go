package gauge

import (
	"math"
	"time"

	"thouwright/internal/ledger"
)

// Press is what a foot did.
type Press uint8

// The presses.
const (
	NoPress  Press = iota
	Short          // accept and on to the next
	Long           // redo
	VeryLong       // back
)

// Command is what a press asks for. It must not be NoPress.
func (p Press) Command() ledger.Command {
	do := [...]string{Short: ledger.DoAccept, Long: ledger.DoRedo, VeryLong: ledger.DoBack}[p]
	return ledger.Command{Do: do, By: "switch"}
}

// The times of a press (common practice, no source).
const (
	pedalBounce   = 30 * time.Millisecond // contacts chatter for some ms
	pedalLong     = 800 * time.Millisecond
	pedalVeryLong = 2500 * time.Millisecond
	// pedalStuck is when a switch that was closed from the start is taken for one
	// that opens when it is stepped on.
	pedalStuck = 10 * time.Second
)

// Pedal makes presses of the changes of a foot switch. It is pure: it knows the
// time from the elapsed µs it is given. The zero value is ready; make a new one
// when the port was opened again.
type Pedal struct {
	seen      bool
	raw       bool  // the line as last told
	rawAt     int64 // since when
	level     bool  // the line without chatter
	levelAt   int64 // since when
	idle      bool  // the level when nobody steps on it
	fromStart bool  // down since before anyone looked: no press
	fired     bool  // a very long press was told while it lasts
}

// Edge takes the line's state at a moment, and gives the press that was
// completed by then.
func (p *Pedal) Edge(on bool, at int64) Press {
	if !p.seen {
		p.seen, p.raw, p.level, p.rawAt, p.levelAt, p.fromStart = true, on, on, at, at, on
		return NoPress
	}
	press := p.Tick(at)
	if on != p.raw {
		p.raw, p.rawAt = on, at
	}
	return press
}

// Deadline is when Tick is due, math.MaxInt64 for never.
func (p *Pedal) Deadline() int64 {
	switch {
	case !p.seen:
	case p.raw != p.level:
		return p.rawAt + pedalBounce.Microseconds()
	case p.level == p.idle || p.fired:
	case p.fromStart:
		return p.levelAt + pedalStuck.Microseconds()
	default:
		return p.levelAt + pedalVeryLong.Microseconds()
	}
	return math.MaxInt64
}

// Tick gives the press that was completed by the moment at. A short or long one
// is known when the foot is lifted, a very long one while it is still down.
func (p *Pedal) Tick(at int64) Press {
	if !p.seen {
		return NoPress
	}
	press := NoPress
	// The line has left its level for good; the new one began where it left.
	if p.raw != p.level && at-p.rawAt >= pedalBounce.Microseconds() {
		held := p.rawAt - p.levelAt
		if p.level != p.idle && !p.fromStart && !p.fired {
			press = pressOf(held)
		}
		p.level, p.levelAt, p.fromStart, p.fired = p.raw, p.rawAt, false, false
	}
	if p.level == p.idle || p.fired || p.raw != p.level {
		return press
	}
	switch down := at - p.levelAt; {
	case p.fromStart && down >= pedalStuck.Microseconds():
		p.idle, p.fromStart = p.level, false
	case !p.fromStart && down >= pedalVeryLong.Microseconds():
		p.fired, press = true, VeryLong
	}
	return press
}

func pressOf(held int64) Press {
	switch {
	case held >= pedalVeryLong.Microseconds():
		return VeryLong
	case held >= pedalLong.Microseconds():
		return Long
	}
	return Short
}
