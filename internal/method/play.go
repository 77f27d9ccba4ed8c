package method

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/motion"
)

// play measures the play between two stops, or an end play: a hand moves the
// part from stop to stop and holds it there a moment.
type play struct {
	core
	rests   restList
	out     []turn // turning points of the last evaluation
	series  series
	fit     line
	points  []point
	unsure  bool // a rest found by silence is not proved by a later reading
	done    bool
	counted int
	leftOut int
	reason  string
	say     string
	prog    Progress
}

func newPlay(s Spec, memory, minus *GaugeMemory) *play {
	return &play{core: newCore(s, memory, minus), say: "rock from stop to stop, hold a moment at each"}
}

func (m *play) Reading(r Reading, out *Out) {
	if m.done {
		return
	}
	ev, ok := m.core.reading(r)
	if !ok {
		return
	}
	if r.Pressed || m.spec.Gauge.Sends == ledger.OnPress {
		m.pressed(r, out)
		return
	}
	m.events(ev, out)
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
	ev := m.core.tick(t)
	m.unsure = m.unsure || ev&motion.RestConfirmed != 0
	m.events(ev, out)
}

func (m *play) Deadline() float64 {
	if m.done {
		return inf
	}
	return m.find.Deadline()
}

func (m *play) AtRest() bool { return m.find.Resting() }

// pressed takes a reading sent by the gauge's button as a rest of its own.
func (m *play) pressed(r Reading, out *Out) {
	m.rests.add(motion.Rest{FirstSeq: r.Seq, LastSeq: r.Seq, Start: r.T, End: r.T, T: r.T, Count: 1, Used: 1,
		Value: r.Value, Low: r.Value, High: r.Value}, false)
	out.Notes = append(out.Notes, Note{Kind: RestFound, T: r.T})
	m.evaluate(out)
}

func (m *play) events(ev motion.Event, out *Out) {
	if ev&motion.RestEnded != 0 {
		m.rests.add(m.find.Ended(), false)
	}
	if ev&motion.RestConfirmed != 0 {
		m.rests.add(m.find.Current(), true)
		out.Notes = append(out.Notes, Note{Kind: RestFound, T: m.now})
		m.evaluate(out)
	}
}

// window is the least movement that can be told from standing still.
func (m *play) window() float64 {
	if m.spec.Gauge.Sends == ledger.OnPress {
		return m.step
	}
	return m.find.Window()
}

// evaluate looks at all rests afresh: the longest run of strokes up to now
// that agree is the take in progress.
func (m *play) evaluate(out *Out) {
	if m.rests.live {
		m.rests.add(m.find.Current(), true)
	}
	all := m.rests.turning(m.window())
	floor := math.Max(1.5*m.step, m.spec.twoMicron())
	var s series
	found := false
	for from := 0; from+3 <= len(all); from++ {
		if s, found = sortStrokes(all[from:], floor); found && m.agrees(all[from:], s) {
			s.from = from
			break
		}
		found = false
	}
	if !found {
		m.series, m.points = series{}, m.points[:0]
		m.note(out, 0, 0, "")
		return
	}
	run := all[s.from:]
	m.out, m.series = run, s
	m.points = m.points[:0]
	reason := ""
	for i, t := range run {
		if p := s.placed[i]; p.used {
			m.points = append(m.points, point{t: t.T, y: t.Value, side: t.side, level: p.level})
		} else {
			reason = p.reason
		}
	}
	m.fit = fitPlay(m.points, s.levels)
	m.note(out, s.strokes, s.leftOut, reason)
	if m.complete() {
		m.finish(out)
	}
}

// agrees tells whether a run of strokes is a hand going from stop to stop, and
// not a gauge being handled: the ends must agree far better than chance would
// have it.
func (m *play) agrees(run []turn, s series) bool {
	paused := 0
	for _, t := range run[1:] {
		paused += t.paused
	}
	return paused <= 1+len(run)/6
}

func (m *play) note(out *Out, counted, leftOut int, reason string) {
	if counted > m.counted {
		out.Notes = append(out.Notes, Note{Kind: StrokeCounted, T: m.now})
	}
	if leftOut > m.leftOut {
		out.Notes = append(out.Notes, Note{Kind: StrokeLeftOut, T: m.now, Text: reason})
		m.reason = reason
	}
	m.counted, m.leftOut = counted, leftOut
}

// noise is what is known of a rest's repeatability without looking at how the
// rests agree: the step, their own scatter, and what a hand can do.
func (m *play) noise() float64 {
	var own float64
	n := 0
	for i, t := range m.out {
		if m.series.placed[i].used && t.Used > 1 {
			own += t.Scatter * t.Scatter
			n++
		}
	}
	if n > 0 {
		own /= float64(n)
	}
	hand := math.Max(0.6*m.step, 1.5*m.spec.twoMicron())
	share := 0.04 * m.series.typical
	return math.Sqrt(own + hand*hand + share*share)
}

func (m *play) complete() bool {
	s, n := m.series, m.series.strokes
	if m.unsure || n < m.spec.Strokes || n%2 != 0 || !m.fit.ok || m.fit.dof < 3 {
		return false
	}
	if last := s.placed[len(s.placed)-1]; !last.used {
		return false
	}
	if m.tooVaried() {
		return n >= m.spec.MaxStrokes
	}
	return true
}

// tooVaried is the 99 % chi-square test of the strokes against noise known
// independently of them.
func (m *play) tooVaried() bool {
	sigma := m.noise()
	limit := distuv.ChiSquared{K: float64(m.fit.dof)}.Quantile(0.99)
	return m.fit.rss > limit*sigma*sigma
}

// stepPart charges the gauge's step. Where both sides show several codes the
// scatter holds it already; a side that always shows one code teaches nothing
// by being repeated.
func (m *play) stepPart(step float64, scatter *metrology.Part) metrology.Part {
	var low, high [2]float64
	var seen [2]bool
	for i, t := range m.out {
		if !m.series.placed[i].used {
			continue
		}
		k := 0
		if t.side > 0 {
			k = 1
		}
		if !seen[k] {
			seen[k], low[k], high[k] = true, t.Low, t.High
		}
		low[k], high[k] = math.Min(low[k], t.Low), math.Max(high[k], t.High)
	}
	several := 0
	for k := range low {
		if high[k]-low[k] > 0.5*step {
			several++
		}
	}
	if several == 2 {
		if floor := step / math.Sqrt(12) * m.fit.factor; scatter.U < floor {
			*scatter = metrology.Part{Name: metrology.PartScatter, Value: floor / m.fit.factor, Shape: metrology.Normal, Divisor: 1 / m.fit.factor, U: floor, Dof: inf}
		}
		return metrology.Part{Name: metrology.PartStep}
	}
	return metrology.Tri(metrology.PartStep, step)
}

func (m *play) budget() metrology.Budget {
	f := m.fit
	sd := math.Sqrt(f.rss / float64(f.dof))
	scatter := metrology.Part{Name: metrology.PartScatter, Value: sd, Shape: metrology.StudentT, Divisor: 1 / f.factor, U: sd * f.factor, Dof: float64(f.dof)}
	step, step2 := m.steps()
	stepPart := m.stepPart(step+step2, &scatter)
	b := metrology.Budget{scatter, stepPart, metrology.Rect(metrology.PartCreep, m.creep())}
	move := math.Abs(f.play)
	b = append(b, differenceError(m.spec.Gauge, move, step))
	b = append(b, metrology.Rect(metrology.PartHysteresis, m.spec.Gauge.Hysteresis), metrology.Gauss(metrology.PartRepeatability, m.spec.Gauge.Repeatability))
	if g := m.spec.Minus; g != nil {
		b = append(b, differenceError(*g, move, step2), metrology.Rect(metrology.PartHysteresis, g.Hysteresis))
	}
	return withoutZeros(b)
}

// creep is half of the outward change within the rests; both sides move
// outward together, so their halves add.
func (m *play) creep() float64 {
	var sum, sq float64
	n := 0.0
	for i, t := range m.out {
		if m.series.placed[i].used && t.Used >= 4 {
			c := t.Creep * t.side
			sum += c
			sq += c * c
			n++
		}
	}
	if n < 3 {
		return 0
	}
	return math.Max(0, sum/n)
}

// stoodStill compares the first and the last used rest of each side beyond the
// fitted drift.
func (m *play) stoodStill() bool {
	for _, side := range []float64{-1, 1} {
		var first, last *point
		for i := range m.points {
			if p := &m.points[i]; p.side == side {
				if first == nil {
					first = p
				}
				last = p
			}
		}
		if first == nil || first.level != last.level {
			continue
		}
		gap := last.y - first.y - m.fit.drift*(last.t-first.t)
		if math.Abs(gap) > math.Max(m.fit.play/4, 2*m.step) {
			return false
		}
	}
	return true
}

func (m *play) finish(out *Out) {
	m.done = true
	step, _ := m.steps()
	f := m.fit
	res := &Result{
		Strokes: m.series.strokes, LeftOut: m.series.leftOut,
		DriftPerMin: f.drift * 60,
		T:           m.now, LastSeq: m.last.Seq,
	}
	res.Value, res.Budget = m.spec.angled(f.play, m.budget())
	if m.tooVaried() {
		res.Note = "strokes do not agree"
	}
	if !m.stoodStill() {
		res.NoVerdict = "the stand moved"
	}
	if len(res.Budget) > 0 && res.Budget[len(res.Budget)-1].Name == metrology.PartErrorAssumed {
		res.Note = joinNote(res.Note, "gauge error assumed: one step")
	}
	for i, t := range m.out {
		p := m.series.placed[i]
		side := "-"
		if t.side > 0 {
			side = "+"
		}
		res.Rests = append(res.Rests, ledger.Rest{Rest: i + 1, FirstSeq: t.FirstSeq, LastSeq: t.LastSeq, T: t.T, Side: side,
			Level: p.level + 1, Value: t.Value, Used: p.used, Reason: p.reason})
		if !m.inRange(t.Value) {
			res.NoVerdict = "end of travel"
		}
	}
	res.FirstSeq = res.Rests[0].FirstSeq
	_ = step
	out.Result = res
}

func joinNote(a, b string) string {
	if a == "" {
		return b
	}
	return a + "; " + b
}

// Finish closes a take whose gauge shows the same code at both stops: then the
// play is known only to be less than a step or so.
func (m *play) Finish(t float64, out *Out) {
	if m.done || !m.started || m.counted > 0 {
		return
	}
	if !m.memory.Moved() {
		out.Notes = append(out.Notes, Note{Kind: Caution, T: t, Text: "no movement seen, and this gauge has not moved since it was set up: lift its plunger once, then try again"})
		return
	}
	if !m.find.InRest() && m.spec.Gauge.Sends != ledger.OnPress {
		out.Notes = append(out.Notes, Note{Kind: Caution, T: t, Text: "the reading is moving: hold still, then try again"})
		return
	}
	m.bound(t, out)
}

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
	// What the reading did change by is no play that could be told apart.
	b := metrology.Bound(step+step2+(r.High-r.Low), withoutZeros(widen))
	factor, half := m.spec.angles()
	res := &Result{Bound: true, Value: b.Value * (factor + half), Budget: b.Budget, T: m.last.T,
		FirstSeq: r.FirstSeq, LastSeq: r.LastSeq, Note: "no movement seen: less than the gauge can show"}
	for i := range res.Budget {
		res.Budget[i] = scaled(res.Budget[i], factor+half)
	}
	res.Rests = []ledger.Rest{{Rest: 1, FirstSeq: r.FirstSeq, LastSeq: r.LastSeq, T: r.T, Side: "+", Level: 1, Value: r.Value, Used: true}}
	if !m.inRange(r.Value) {
		res.NoVerdict = "end of travel"
	}
	out.Result = res
}

func (m *play) Progress() Progress {
	p := Progress{Strokes: m.counted, Wanted: m.spec.Strokes, Most: m.spec.MaxStrokes, LeftOut: m.leftOut, Say: m.say, Reason: m.reason, AtRest: m.find.Resting()}
	if m.fit.ok && m.counted >= 2 {
		p.HasResult = true
		p.Result, _ = m.spec.angled(m.fit.play, nil)
		if m.fit.dof > 0 {
			p.U95 = m.budget().Combine().U95
		}
	}
	var sum [2]float64
	var n [2]float64
	for _, q := range m.points {
		k := 0
		if q.side > 0 {
			k = 1
		}
		sum[k] += q.y
		n[k]++
	}
	if n[0] > 0 && n[1] > 0 {
		p.HasLevels, p.LevelLow, p.LevelHigh = true, sum[0]/n[0], sum[1]/n[1]
	}
	if m.counted > 0 {
		p.Say = fmt.Sprintf("%d of %d strokes", m.counted, m.spec.Strokes)
	}
	return p
}
