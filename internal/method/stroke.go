package method

import (
	"math"

	"thouwright/internal/motion"
)

// turn is a rest at which the movement turned round: the end of a stroke.
type turn struct {
	motion.Rest
	side   float64 // +1 the gauge reads high, -1 low; 0 until there is a second
	paused int     // rests on the way to it, which were no turning points
}

// restList keeps the rests of a take, the last one possibly still going on.
type restList struct {
	rests []motion.Rest
	live  bool // the last one may still grow
	turns []turn
}

// keepRests bounds what aimless movement before the first stroke may keep.
const keepRests = 96

func (l *restList) add(r motion.Rest, live bool) {
	if n := len(l.rests); l.live && n > 0 {
		l.rests[n-1] = r
	} else {
		if n == keepRests {
			l.rests = l.rests[:copy(l.rests, l.rests[keepRests/3:])]
		}
		l.rests = append(l.rests, r)
	}
	l.live = live
}

func (l *restList) reset() { l.rests, l.live = l.rests[:0], false }

// turning finds the turning points among the rests. Rests closer together than
// hysteresis, or further out on the same side, belong to one: creep while held
// stays one rest, and a pause on the way to a stop is none.
func (l *restList) turning(hysteresis float64) []turn {
	t := l.turns[:0]
	for _, r := range l.rests {
		n := len(t)
		if n == 0 {
			t = append(t, turn{Rest: r})
			continue
		}
		last := &t[n-1]
		delta := r.Value - last.Value
		if last.side == 0 && math.Abs(delta) > hysteresis {
			last.side = -math.Copysign(1, delta)
		}
		switch {
		case last.side != 0 && delta*last.side < -hysteresis:
			t = append(t, turn{Rest: r, side: -last.side})
		case math.Abs(delta) <= 2*hysteresis:
			last.Rest = joined(last.Rest, r)
		case delta*last.side > 0 || last.side == 0:
			r.Path += last.Path
			last.Rest = r
			last.paused++
		}
	}
	l.turns = t
	return t
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
