package method

import (
	"math"

	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/motion"
)

// fewStays is how often a gauge may have come from far off to a stop's own code.
const fewStays = 2

// fault says why the stops cannot be trusted: a gauge at the end of its travel,
// or lifted off the part, stands as still as any rest.
func (m *play) fault() string {
	s := m.now
	for i, p := range s.points {
		if p.used && !m.inRange(s.turns[i].Value) {
			if m.spec.Minus != nil {
				return "end of travel: one of the two gauges stands within 5 % of the end of its range; set both so that they read near the middle"
			}
			return "end of travel: a stop lies within 5 % of the end of the gauge's range; set the gauge so that it reads near the middle"
		}
	}
	if m.spec.Minus != nil || m.digit == 0 {
		return ""
	}
	for _, side := range []float64{-1, 1} {
		code, same, n := m.oneCode(side)
		// What came from no further off than the play goes may be this part, rocked
		// here before; and one that lay against its stop as the gauge was set up, or was
		// touched again, is none of this.
		stays, atEnd := m.memory.AtEnd(code/m.digit, endBeyond*math.Abs(s.fit.play)/m.digit)
		if !same || !atEnd {
			continue
		}
		if stays > fewStays {
			return "end of travel or no contact: one stop always shows the code at which the gauge has stood before when it was off the part"
		}
		if n >= 3 && m.spread(-side) > 2.5*m.step {
			return "end of travel or no contact: one stop always shows the gauge's last code while the other varies"
		}
	}
	return ""
}

// oneCode tells whether all used rests of a side show one code and nothing else.
func (m *play) oneCode(side float64) (code float64, same bool, n int) {
	for i, p := range m.now.points {
		if t := &m.now.turns[i]; p.side == side && p.used {
			if n > 0 && t.Low != code || t.Low != t.High {
				return 0, false, n
			}
			code = t.Low
			n++
		}
	}
	return code, n > 0, n
}

// spread is the range of the used rests of a side.
func (m *play) spread(side float64) float64 {
	low, high := inf, -inf
	for _, p := range m.now.points {
		if p.side == side && p.used {
			low, high = min(low, p.y), max(high, p.y)
		}
	}
	return high - low
}

// drop gives up what was gathered and starts over.
func (m *play) drop(reason string, out *Out) {
	out.Notes = append(out.Notes, Note{Kind: DroppedTake, T: m.core.now, Text: reason})
	m.reason = reason
	m.counted, m.leftOut = 0, 0
	m.now, m.isFine = nil, false
	for k := range m.turns {
		m.turns[k] = turnList{turns: m.turns[k].turns[:0], most: m.turns[k].most}
	}
}

// Finish closes a take whose gauge shows the same code at both stops: then the
// play is known only to be less than a step or so. Nobody can tell a part that was
// rocked and did not move from one that was not touched, and one slip on a foot switch
// must not pass it: it takes a second word, after time to rock.
func (m *play) Finish(t float64, out *Out) {
	if m.done || !m.started || m.counted > 0 {
		return
	}
	if !m.memory.Moved() {
		out.Notes = append(out.Notes, Note{Kind: Caution, T: t, Text: "no movement seen, and this gauge has not moved since it was set up: lift its plunger once, then try again"})
		return
	}
	if stays, atEnd := m.memory.AtEnd(m.last.Value/m.digit, 0); !m.inRange(m.last.Value) || atEnd && stays > fewStays {
		out.Notes = append(out.Notes, Note{Kind: Caution, T: t, Text: "end of travel or no contact: the gauge stands at its end; set it so that it reads near the middle"})
		return
	}
	if !m.find.InRest() && m.spec.Gauge.Sends != ledger.OnPress {
		out.Notes = append(out.Notes, Note{Kind: Caution, T: t, Text: "the reading is moving: hold still, then try again"})
		return
	}
	byHand := m.spec.Gauge.Sends == ledger.OnPress
	again := t - m.asked // +Inf of a first word
	looked := m.find.Current().Start <= m.asked
	if byHand {
		looked = m.last.T > m.asked
	}
	if !math.IsInf(again, 1) && again >= askAgain && looked {
		m.bound(t, out)
		return
	}
	if again >= askAgain {
		m.asked = t
	}
	text := "no movement seen: rock from stop to stop for some seconds now; where the reading still does not move, accept again"
	if byHand {
		text = "no movement seen: press at both stops once more; where the reading is still the same, accept again"
	}
	out.Notes = append(out.Notes, Note{Kind: Caution, T: t, Text: text})
}

// askAgain is the time for rocking between the two words, s.
const askAgain = 3.0

// bound gives the upper bound of a play that never changed the reading.
func (m *play) bound(t float64, out *Out) {
	m.done = true
	step, step2 := m.steps()
	r := motion.Rest{FirstSeq: m.last.Seq, LastSeq: m.last.Seq, T: m.last.T, Value: m.last.Value}
	if m.find.InRest() {
		r = m.find.Current()
	}
	widen := metrology.Budget{differenceError(m.spec.Gauge, 0, step), metrology.Rect(metrology.PartHysteresis, m.spec.Gauge.Hysteresis)}
	if g := m.spec.Minus; g != nil {
		widen = append(widen, differenceError(*g, 0, step2), metrology.Rect(metrology.PartHysteresis, g.Hysteresis))
	}
	// What the reading did change by is seen play, and beyond it lies what the
	// grid hides (of readings a code apart, 0.68 of a step with 95 %, so that the
	// 0.78 of none is on the safe side).
	b := metrology.Bound(step+step2, withoutZeros(widen))
	factor, half := m.spec.angles()
	res := &Result{Bound: true, Value: (b.Value + r.High - r.Low) * (factor + half), Budget: b.Budget, T: m.last.T,
		FirstSeq: r.FirstSeq, LastSeq: r.LastSeq, Note: "no movement seen: less than the gauge can show"}
	for i := range res.Budget {
		res.Budget[i] = scaled(res.Budget[i], factor+half)
	}
	res.Rests = []ledger.Rest{{Rest: 1, FirstSeq: r.FirstSeq, LastSeq: r.LastSeq, T: r.T, Side: "+", Level: 1, Value: r.Value, Used: true}}
	out.Result = res
}
