package method

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/motion"
)

// size measures a size: a rest reached from movement and inside what is
// expected of the part; three agreeing gaugings or one press.
type size struct {
	core
	seen    gaugings
	used    []motion.Rest // what makes the size, once it is complete
	leftOut []motion.Rest // gaugings of the same part that did not agree with them
	varied  bool          // all are used, and they do not agree
	live    bool          // the last rest of seen goes on
	moved   bool          // since the last gauging: a rest must be reached from movement
	away    float64       // where it last stood; NaN before the first reading
	done    bool
	reason  string
	extreme turningPoint
	zero    closure
}

func newSize(s Spec, memory, minus *GaugeMemory) *size {
	return &size{core: newCore(s, memory, minus, new(motion.Finder)), seen: gaugings{hasZero: s.HasMaster}, away: math.NaN(), extreme: turningPoint{turning: s.Turning}}
}

func (m *size) AtRest() bool { return m.find.Resting() }

func (m *size) Deadline() float64 {
	if m.done {
		return inf
	}
	return m.find.Deadline()
}

func (m *size) Tick(t float64, out *Out) {
	if !m.done {
		m.events(m.core.tick(t), out)
	}
}

func (m *size) Reading(r Reading, out *Out) {
	if m.done {
		return
	}
	stood, last := m.find.Resting(), m.last
	ev, ok := m.core.reading(r)
	if !ok {
		return
	}
	if stood && m.zero.wanted {
		step, step2 := m.steps()
		m.zero.after(last, r, m.agree(), step+step2)
	}
	if r.Pressed || m.spec.Gauge.Sends == ledger.OnPress {
		g := motion.Rest{FirstSeq: r.Seq, LastSeq: r.Seq, Start: r.T, End: r.T, T: r.T, Count: 1, Used: 1, Value: r.Value, Low: r.Value, High: r.Value}
		out.Notes = append(out.Notes, Note{Kind: RestFound, T: r.T})
		if m.isPart(g, 0, out) {
			m.used, m.leftOut = []motion.Rest{g}, nil
			out.Notes = append(out.Notes, Note{Kind: StrokeCounted, T: r.T})
			m.gaugedEnough(out)
		}
		return
	}
	if m.extreme.wanted() {
		step, step2 := m.steps()
		if g, open, found := m.extreme.reading(r, m.find.Window(), step+step2); found {
			out.Notes = append(out.Notes, Note{Kind: RestFound, T: m.now})
			if m.isPart(g, open, out) {
				m.gauged(g, open, out)
			}
		}
		return
	}
	switch {
	case math.IsNaN(m.away): // it may stand on the part before this one
		m.away = r.Value
	case !m.find.InRest() && math.Abs(r.Value-m.away) > 3*m.find.Window():
		m.moved = true
	}
	m.events(ev, out)
}

func (m *size) events(ev motion.Event, out *Out) {
	if ev&motion.RestEnded != 0 && m.live {
		m.live = false
		r := m.find.Ended()
		m.seen.rests[len(m.seen.rests)-1] = r
		for i := range m.used { // it is whole only now
			if m.used[i].Start == r.Start {
				m.used[i] = r
			}
		}
	}
	if ev&motion.RestConfirmed == 0 {
		return
	}
	r := m.find.Current()
	if !m.moved {
		m.away = r.Value
		if !m.zero.wanted && m.zero.before.count(r.Value, m.agree()) == 0 {
			m.zero.before.add(r.Value)
		}
		return
	}
	m.moved, m.away = false, r.Value
	out.Notes = append(out.Notes, Note{Kind: RestFound, T: m.now})
	if m.isPart(r, 0, out) {
		m.live = true
		m.gauged(r, 0, out)
	}
}

// isPart takes a rest, with what its turning leaves open, and tells whether it may be
// a gauging of the part: that of the master is looked at here.
func (m *size) isPart(r motion.Rest, open float64, out *Out) bool {
	if m.zero.wanted {
		m.looked(r, open, out)
		return false
	}
	m.zero.before.add(r.Value)
	return m.expected(r.Value, m.now, out)
}

// expected tells whether a value can be this part's size.
func (m *size) expected(v, t float64, out *Out) bool {
	s := m.shown(v)
	switch {
	case s < m.spec.ExpectLow || s > m.spec.ExpectHigh:
		m.reason = "not counted: outside what is expected of this part"
	case m.isClosed(v):
		m.reason = "not counted: the gauge stands closed, and its zero is no size"
	default:
		return true
	}
	out.Notes = append(out.Notes, Note{Kind: StrokeLeftOut, T: t, Text: m.reason})
	return false
}

// isClosed tells whether a gauge that shows sizes stands at its own zero, where
// nothing says that the part may be so small.
func (m *size) isClosed(v float64) bool {
	room := sizeClosed * m.agree()
	small := !math.IsInf(m.spec.ExpectLow, -1) || !math.IsInf(m.spec.Limits.Low, -1) && m.spec.Limits.Low <= room ||
		!math.IsInf(m.spec.Limits.High, 1) && m.spec.Limits.High <= 2*room
	return !m.spec.HasMaster && !small && math.Abs(v) <= room
}

// agree is how far apart two gaugings of one size may lie.
func (m *size) agree() float64 {
	step, step2 := m.steps()
	return math.Max(2*(step+step2), 2*m.spec.twoMicron())
}

// shown is the size that a reading stands for.
func (m *size) shown(v float64) float64 {
	if m.spec.HasMaster {
		return m.spec.Master + float64(m.spec.Sense)*v
	}
	return v
}

// gauged takes a rest that may be the part's, with what its turning leaves open.
func (m *size) gauged(r motion.Rest, open float64, out *Out) {
	m.seen.agree = m.agree()
	m.seen.near = sizeNear*2*m.spec.twoMicron() + sizeNearCoarse*m.seen.agree
	m.seen.add(r, open)
	same, near := m.seen.about(len(m.seen.rests) - 1)
	m.reason = "" // of an earlier one, or of the open instrument between
	note := Note{Kind: StrokeCounted, T: m.now}
	best, others := m.seen.best()
	if len(near) >= len(same) && len(best) > len(same) {
		m.reason = "not counted: it does not agree with the gaugings before it"
		note = Note{Kind: StrokeLeftOut, T: m.now, Text: m.reason}
	}
	out.Notes = append(out.Notes, note)
	switch {
	case len(same)+len(near) < len(best)+len(others): // three free rests that agree by luck
		return
	case len(same) >= sizeGaugings+len(near):
		m.used, m.leftOut = m.seen.split(same, near)
	case len(same)+len(near) >= sizeMost:
		// It varies, and that is the finding: all of them count.
		m.used, m.varied = append(same, near...), true
		slices.SortFunc(m.used, func(a, b motion.Rest) int { return cmp.Compare(a.T, b.T) })
	default:
		return
	}
	m.gaugedEnough(out)
}

// gaugedEnough closes the take, or asks for the master once more where the size
// was read as a difference from it.
func (m *size) gaugedEnough(out *Out) {
	if m.spec.HasMaster && !m.zero.wanted {
		m.zero.wanted, m.reason = true, ""
		out.Notes = append(out.Notes, Note{Kind: NextStep, T: m.now, Text: askMaster})
		return
	}
	m.finish(out)
}

func meanOf(rests []motion.Rest) float64 {
	var mean float64
	for _, g := range rests {
		mean += g.Value / float64(len(rests))
	}
	return mean
}

func (m *size) finish(out *Out) {
	m.done = true
	n := float64(len(m.used))
	mean := meanOf(m.used)
	step, step2 := m.claimSteps()
	var b metrology.Budget
	if n > 1 {
		b = append(b, metrology.Student(metrology.PartScatter, scatter(m.used, m.agree(), step+step2)/math.Sqrt(n), n-1))
	}
	b = append(b, metrology.Rect(metrology.PartStep, step/2), metrology.Rect(metrology.PartStep, step2/2))
	g := m.spec.Gauge
	if m.spec.HasMaster {
		b = append(b, metrology.Rect(PartSetting, step/2), metrology.FromU95(metrology.PartMaster, m.spec.MasterU95))
		b = append(b, differenceError(g, mean, step), metrology.Rect(PartClosure, math.Abs(m.zero.at)))
	} else {
		b = append(b, readingError(g, step))
	}
	b = append(b, metrology.Rect(metrology.PartHysteresis, g.Hysteresis), metrology.Gauss(metrology.PartRepeatability, g.Repeatability))
	b = append(b, metrology.Rect(PartTurning, m.openAtTurning()))
	if g := m.spec.Minus; g != nil {
		b = append(b, readingError(*g, step2), metrology.Rect(metrology.PartHysteresis, g.Hysteresis))
	}
	res := &Result{Budget: withoutZeros(b), Strokes: len(m.used), LeftOut: len(m.leftOut), T: m.now, LastSeq: m.last.Seq, Rests: m.kept()}
	res.FirstSeq = res.Rests[0].FirstSeq
	value, budget := m.spec.angledSize(m.shown(mean), mean, res.Budget)
	at20, warm := m.spec.At20(value)
	res.Value, res.Budget = at20, append(budget, warm...)
	for _, g := range m.used {
		if !m.inRange(g.Value) {
			res.NoVerdict = "end of travel"
		}
	}
	res.Note = assumedNote(res.Budget)
	if m.varied {
		res.Note = ledger.JoinNotes(res.Note, "gaugings do not agree")
	}
	m.closed(res)
	if m.spec.Warmth.Given {
		res.Note = ledger.JoinNotes(res.Note, m.spec.Warmth.says(value, m.spec.Unit))
		res.Extras = append(res.Extras, ledger.Extra{Quantity: "correction to 20 °C", Value: at20 - value, Unit: m.spec.Unit, U95: warm.Combine().U95})
	}
	out.Result = res
}

// openAtTurning is the most that the turning of what makes the size, or of the master,
// leaves open. A gauge that is moved about elsewhere turns too, and tells nothing.
func (m *size) openAtTurning() float64 {
	most := m.zero.open
	for i, g := range m.seen.rests {
		if slices.Contains(m.used, g) {
			most = math.Max(most, m.seen.open[i])
		}
	}
	return most
}

// kept are the rests of the take, in the order of time.
func (m *size) kept() []ledger.Rest {
	all := slices.Concat(m.used, m.leftOut)
	slices.SortFunc(all, func(a, b motion.Rest) int { return cmp.Compare(a.T, b.T) })
	rests := make([]ledger.Rest, len(all))
	for i, g := range all {
		rests[i] = ledger.Rest{Rest: i + 1, FirstSeq: g.FirstSeq, LastSeq: g.LastSeq, T: g.T, Side: "+", Level: 1, Value: m.shown(g.Value), Used: slices.Contains(m.used, g)}
		if !rests[i].Used {
			rests[i].Reason = "does not agree with the others"
		}
	}
	return rests
}

// readingError is what a gauge's error does to one of its readings.
func readingError(g Gauge, step float64) metrology.Part {
	if g.HasError {
		return metrology.Rect(metrology.PartError, g.Error)
	}
	return metrology.Rect(metrology.PartErrorAssumed, math.Max(step, g.ErrorLocal))
}

// Finish accepts what was gauged so far.
func (m *size) Finish(t float64, out *Out) {
	if m.done {
		return
	}
	if m.reason == reasonMoved { // what stands there is the master
		out.Notes = append(out.Notes, Note{Kind: Caution, T: t, Text: reasonMoved})
		return
	}
	if !m.zero.wanted {
		if len(m.seen.rests) == 0 && m.find.InRest() {
			if r := m.find.Current(); m.expected(r.Value, t, out) {
				m.seen.add(r, 0)
			}
		}
		m.used, m.leftOut = m.seen.split(m.seen.best())
	}
	if len(m.used) > 0 {
		m.finish(out)
	}
}

func (m *size) Progress() Progress {
	same, near := m.seen.best()
	wanted := max(len(same), min(sizeGaugings+len(near), sizeMost-len(near)))
	p := Progress{Strokes: len(same), LeftOut: len(near), Wanted: wanted, Most: sizeMost, AtRest: m.find.Resting(), Reason: m.reason,
		Say: "gauge the part three times, or press once"}
	if len(same) > 0 {
		p.HasResult = true
		p.Result, _ = m.spec.At20(m.shown(meanOf(same)))
		p.Say = fmt.Sprintf("%d of %d gaugings", len(same), wanted)
	}
	if m.zero.wanted {
		p.Say = askMaster
	}
	return p
}

// angledSize corrects a size for known angles: only the difference from the
// master is read along the gauge's line, the whole size where there is none.
func (s Spec) angledSize(value, read float64, b metrology.Budget) (float64, metrology.Budget) {
	if !s.HasMaster {
		return s.angled(value, b)
	}
	factor, half := s.angles()
	if half > 0 {
		b = append(b, metrology.Rect(metrology.PartAngles, math.Abs(read)*half))
	}
	return s.Master + float64(s.Sense)*read*factor, b
}
