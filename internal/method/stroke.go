package method

import (
	"math"

	"thouwright/internal/motion"
)

// turn is a rest at which the movement turned round: the end of a stroke.
type turn struct {
	motion.Rest
	side   float64 // +1 the gauge reads high, -1 low; 0 until there is a second
	paused int     // rests on the way to it that were no turning points, and swings without a rest
}

// turnList keeps the turning points among the rests of a take. The last rest may
// still be going on: it is taken out again before it is put in anew.
type turnList struct {
	turns []turn
	most  int // turning points to keep
	live  bool
	kept  int  // turning points without the live rest …
	last  turn // … and what the last of them was
}

// keepTurns bounds what aimless movement before the first stroke may keep, of a take
// of usual length.
const keepTurns = 64

// keptOf is the same of a take of so many strokes: what is left after a third was
// forgotten still holds all of them, and a few that were left out.
func keptOf(strokes int) int { return max(keepTurns, 2*strokes+4) }

// add takes a rest that ended, or one that is live and will be added again.
// Rests closer together than hysteresis, or further out on the same side,
// belong to one turning point: creep while held stays one rest, and a pause on
// the way to a stop is none.
func (l *turnList) add(r *motion.Rest, live bool, hysteresis float64) {
	if l.live {
		l.turns = l.turns[:l.kept]
		if l.kept > 0 {
			l.turns[l.kept-1] = l.last
		}
	}
	if n := len(l.turns); n >= l.most {
		l.turns = l.turns[:copy(l.turns, l.turns[n/3:])]
	}
	l.live = live
	if l.live {
		l.kept = len(l.turns)
		if l.kept > 0 {
			l.last = l.turns[l.kept-1]
		}
	}
	n := len(l.turns)
	if n == 0 {
		l.turns = append(l.turns, turn{Rest: *r})
		return
	}
	last := &l.turns[n-1]
	delta := r.Value - last.Value
	if last.side == 0 && math.Abs(delta) > hysteresis {
		last.side = -math.Copysign(1, delta)
	}
	switch {
	case last.side != 0 && delta*last.side < -hysteresis:
		l.turns = append(l.turns, turn{Rest: *r, side: -last.side})
	case math.Abs(delta) <= hysteresis:
		if r.Path > 2*hysteresis {
			last.paused++ // it swung out and came back without a rest
		}
		last.Rest = joined(last.Rest, *r)
	case delta*last.side > 0 || last.side == 0:
		path := last.Path
		last.Rest = *r
		last.Path += path
		last.paused++
	}
}

// joined is one rest of two, each weighted by the readings used.
func joined(a, b motion.Rest) motion.Rest {
	wa, wb := float64(a.Used), float64(b.Used)
	w := wa + wb
	c := a
	c.LastSeq, c.End, c.Count, c.Used = b.LastSeq, b.End, a.Count+b.Count, a.Used+b.Used
	c.T = (a.T*wa + b.T*wb) / w
	c.Value = (a.Value*wa + b.Value*wb) / w
	c.Scatter = math.Sqrt((a.Scatter*a.Scatter*wa+b.Scatter*b.Scatter*wb)/w + (a.Value-b.Value)*(a.Value-b.Value)*wa*wb/(w*w))
	c.Low, c.High = math.Min(a.Low, b.Low), math.Max(a.High, b.High)
	c.Creep = b.Value - a.Value
	return c
}
