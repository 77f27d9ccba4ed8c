package method

import (
	"fmt"
	"math"

	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/motion"
)

// play measures the play between two stops, or an end play: a hand moves the
// part from stop to stop and holds it there a moment.
type play struct {
	core
	fine   *motion.Finder // finds rests one code apart, for a play of a step or two
	turns  [2]turnList    // of the finder's rests and of the fine one's
	best   [2]series      // the better of two is kept while the other is tried
	now    *series        // the take in progress; nil where there is none
	isFine bool
	trail  trail
	asked  float64 // when a person first said that nothing moves; -Inf before
	after  float64 // when the play last changed: what was before is no part of a run

	unsure  bool // a rest found by silence is not proved by a later reading
	done    bool
	counted int
	leftOut int
	reason  string
}

// newPlay makes a machine in the memory of a spent one; nil is none.
func newPlay(s Spec, memory, minus *GaugeMemory, spent *play) *play {
	if spent == nil {
		spent = &play{core: core{find: new(motion.Finder)}, fine: new(motion.Finder)}
		for k := range spent.best {
			spent.best[k].room(s.Strokes + 10)
			spent.turns[k].turns = make([]turn, 0, s.Strokes+10)
		}
	}
	m := &play{core: newCore(s, memory, minus, spent.find), asked: math.Inf(-1), fine: spent.fine.Renew(motion.Settings{
		Seconds: s.RestSeconds, Count: s.RestCount, Steps: 0.9, OnChange: s.Gauge.Sends == ledger.OnChange,
	})}
	m.trail.seen = spent.trail.seen[:0]
	for k := range m.best {
		m.best[k].reuse(&spent.best[k])
		m.turns[k] = turnList{turns: spent.turns[k].turns[:0], most: keptOf(m.spec.MaxStrokes)}
	}
	return m
}

func (m *play) Reading(r Reading, out *Out) {
	if m.done {
		return
	}
	ev, ok := m.core.reading(r)
	if !ok {
		return
	}
	m.trail.add(place{r.T, r.Value, r.second})
	if m.spec.Gauge.Sends == ledger.OnPress {
		m.pressed(r, out)
		return
	}
	m.fine.SetStep(m.step)
	fine := m.fine.Reading(r.T, r.Value, r.Seq)
	if ev|fine != 0 {
		m.events(ev, fine, out)
	}
	if m.unsure && !m.done {
		// The gauge lives: what its silence said is proved.
		m.unsure = false
		m.evaluate(out)
	}
}

func (m *play) Tick(t float64, out *Out) {
	if m.done {
		return
	}
	ev, fine := m.core.tick(t), m.fine.Tick(t)
	m.unsure = m.unsure || (ev|fine)&motion.RestConfirmed != 0
	m.events(ev, fine, out)
}

func (m *play) Deadline() float64 {
	if m.done {
		return inf
	}
	return min(m.find.Deadline(), m.fine.Deadline())
}

func (m *play) AtRest() bool { return m.find.Resting() }

// pressed takes a reading sent by the gauge's button as a rest of its own.
func (m *play) pressed(r Reading, out *Out) {
	p := onePoint(r)
	m.turns[0].add(&p, false, 0.75*m.step)
	out.Notes = append(out.Notes, Note{Kind: RestFound, T: r.T})
	m.evaluate(out)
}

func (m *play) events(ev, fine motion.Event, out *Out) {
	if ev&motion.RestEnded != 0 {
		r := m.find.Ended()
		m.turns[0].add(&r, false, turnShare*m.find.Window())
	}
	if fine&motion.RestEnded != 0 {
		r := m.fine.Ended()
		m.turns[1].add(&r, false, turnShare*m.fine.Window())
	}
	if ev&motion.RestConfirmed != 0 || fine&motion.RestConfirmed != 0 && m.isFine {
		out.Notes = append(out.Notes, Note{Kind: RestFound, T: m.core.now})
	}
	// A fine rest alone has nothing to add to strokes that need none.
	if ev&motion.RestConfirmed != 0 || fine&motion.RestConfirmed != 0 && (m.now == nil || m.isFine) {
		m.evaluate(out)
	}
}

func (m *play) finish(out *Out) {
	if why := m.fault(); why != "" {
		m.drop(why, out)
		return
	}
	m.done = true
	s := m.now
	res := &Result{
		Strokes: s.strokes, LeftOut: s.leftOut,
		DriftPerMin: s.fit.drift * 60,
		Hold:        s.hold(),
		T:           m.last.T, LastSeq: m.last.Seq,
	}
	if m.tooVaried() {
		res.Note = "strokes do not agree"
	}
	if !m.stoodStill() {
		res.NoVerdict = "the stand moved"
	}
	res.Rests = make([]ledger.Rest, 0, len(s.turns))
	res.Value, res.Budget = m.spec.angled(m.result())
	if a := assumedNote(res.Budget); a != "" {
		res.Note = ledger.JoinNotes(res.Note, a)
	}
	for i, t := range s.turns {
		p := s.points[i]
		side := "-"
		if t.side > 0 {
			side = "+"
		}
		res.Rests = append(res.Rests, ledger.Rest{Rest: i + 1, FirstSeq: t.FirstSeq, LastSeq: t.LastSeq, T: t.T, Side: side,
			Level: p.level + 1, Value: t.Value, Used: p.used, Reason: s.reasons[i]})
	}
	res.FirstSeq = res.Rests[0].FirstSeq
	out.Result = res
}

func (m *play) Progress() Progress {
	p := Progress{Strokes: m.counted, Wanted: m.spec.Strokes, Most: m.spec.MaxStrokes, LeftOut: m.leftOut, Say: "rock from stop to stop, hold a moment at each", Reason: m.reason, AtRest: m.find.Resting()}
	s := m.now
	if s == nil {
		return p
	}
	if s.fit.ok && m.counted >= 2 {
		p.HasResult = true
		var b metrology.Budget
		p.Result, b = m.spec.angled(m.result())
		p.U95 = b.Combine().U95
	}
	var sum, n [2]float64
	for _, q := range s.points {
		if q.used {
			k := 0
			if q.side > 0 {
				k = 1
			}
			sum[k] += q.y
			n[k]++
		}
	}
	if n[0] > 0 && n[1] > 0 {
		p.HasLevels, p.LevelLow, p.LevelHigh = true, sum[0]/n[0], sum[1]/n[1]
	}
	if m.counted > 0 {
		p.Wanted, p.Say = m.wanted()
		p.Most = max(p.Most, p.Wanted)
	}
	return p
}

// wanted is how many strokes make the take as it looks now, with words that also say
// why they are more than were asked for. Where there are enough and no take yet it is
// one pair more: nobody should read that all is done, and wait.
func (m *play) wanted() (n int, say string) {
	n = m.needed()
	why := ""
	switch {
	case m.counted >= n && !m.unsure:
		n = m.counted + 2 - m.counted%2
		why = ": go on rocking steadily"
	case n > m.spec.Strokes && n <= plenty && m.now.points[len(m.now.points)-1].level == 0 && m.scatters():
		why = ": the stops scatter"
	}
	return n, fmt.Sprintf("%d of %d strokes%s", m.counted, n, why)
}
