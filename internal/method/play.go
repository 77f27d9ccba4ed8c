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

	unsure  bool // a rest found by silence is not proved by a later reading
	done    bool
	counted int
	leftOut int
	reason  string
}

func newPlay(s Spec, memory, minus *GaugeMemory) *play {
	m := &play{core: newCore(s, memory, minus), fine: motion.NewFinder(motion.Settings{
		Seconds: s.RestSeconds, Count: s.RestCount, Steps: 0.9, OnChange: s.Gauge.Sends == ledger.OnChange,
	})}
	for k := range m.best {
		m.best[k].room(s.Strokes + 10)
		m.turns[k].turns = make([]turn, 0, s.Strokes+10)
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

// turnShare of a window is the least movement that turns round.
const turnShare = 0.75

// refresh measures a rest that is going on once more.
func (m *play) refresh(k int, f *motion.Finder) []turn {
	if f.InRest() && m.spec.Gauge.Sends != ledger.OnPress {
		r := f.Current()
		m.turns[k].add(&r, true, turnShare*f.Window())
	}
	return m.turns[k].turns
}

// evaluate looks at all turning points afresh: the run of strokes up to now
// that aimless handling would be least likely to make is the take in progress.
func (m *play) evaluate(out *Out) {
	m.now = nil
	m.isFine = false
	m.search(m.refresh(0, m.find), max(1.5*m.step, m.spec.twoMicron()), false)
	if fine := m.refresh(1, m.fine); m.now == nil && len(fine) > 4 {
		m.search(fine, 1.5*m.step, true)
		m.isFine = m.now != nil
	}
	if m.now == nil {
		m.counted, m.leftOut = 0, 0
		return
	}
	m.note(out)
	if m.complete() {
		m.finish(out)
	}
}

// What regular work looks like: nobody holds a part longer, or takes longer
// from stop to stop. Anything else begins a new run.
const (
	longestHold   = 5.0 // s
	longestStroke = 2.0 // s, and what a slow gauge misses
	// likelyRun: a run is shown as a take in progress when handling would look
	// like it less often than this (natural logarithm).
	likelyRun = -1.0
	// And it is complete only when it would less often than sureLeast, and less
	// often than sureRun less sureSize times the logarithm of how many steps (or
	// 2 µm) the play is wide. Handling moves things by millimetres and hardly
	// ever by a few steps, so that wide plays must agree better.
	sureLeast = -5.5
	sureRun   = 6.0
	sureSize  = 5.0
	// straight: a stroke goes there and rebounds a little; wandering goes much
	// further than it gets.
	straight = 1.8
	// earlyShare: how much a scatter at the very limit is widened.
	earlyShare = 0.7
)

// search looks for the best run that ends with the last turning point.
func (m *play) search(all []turn, floor float64, fine bool) {
	n := len(all)
	first := n - 1
	for first > 0 && m.regular(all[first-1], all[first], fine) {
		first--
	}
	first = max(first, n-2*m.spec.MaxStrokes-4)
	for from := first; from+3 <= n; from++ {
		if !likely(all[from:], floor) {
			continue
		}
		s := &m.best[0]
		if s == m.now {
			s = &m.best[1]
		}
		if !s.sort(all[from:], floor) {
			continue
		}
		a, b := m.claimSteps()
		s.rate(a + b)
		if fine && (s.fit.play > 1.2*m.find.Window() || !m.clean(s)) {
			continue
		}
		if s.chance < likelyRun && (m.now == nil || s.chance < m.now.chance) {
			m.now = s
		}
	}
}

// likely is a quick look whether half of the strokes are anything like the
// first, before they are sorted in earnest.
func likely(run []turn, floor float64) bool {
	first := math.Abs(run[1].Value - run[0].Value)
	low, high := first/2-floor, 2*first+floor
	like := 0
	for k := 1; k < len(run); k++ {
		if l := math.Abs(run[k].Value - run[k-1].Value); l >= low && l <= high {
			like++
		}
	}
	return 2*like >= len(run)-1
}

// regular tells whether two turning points can be neighbours in one run.
func (m *play) regular(a, b turn, fine bool) bool {
	if m.spec.Gauge.Sends == ledger.OnPress {
		return true
	}
	if b.Start-a.End > longestStroke+1.5*m.find.Between() || b.End-b.Start > longestHold || a.End-a.Start > longestHold {
		return false
	}
	return b.paused <= 1
}

// What is asked of rests one code apart. Two stops on neighbouring codes agree
// by the grid and prove nothing by that; what tells them from the flicker of a
// gauge that stands between two codes is that the steps are clean and quick.
const (
	cleanReadings = 4   // in each rest
	cleanStep     = 0.6 // s from one to the next, and what a slow gauge misses
	cleanHold     = 3.0 // s
	cleanStrokes  = 2   // more of them
	cleanSince    = 15  // s since something last moved by more than that: nobody sets a gauge up and then waits
)

func (m *play) clean(s *series) bool {
	if m.spec.Gauge.Sends != ledger.Streams || s.fit.play < 0.9*max(m.step, m.spec.twoMicron()) {
		return false
	}
	if !m.find.InRest() || s.turns[0].Start-m.find.Current().Start > cleanSince {
		return false
	}
	readings, wild := 0, 0
	for i, t := range s.turns {
		readings += t.Count
		wild += t.Wild
		if t.End-t.Start > cleanHold || t.Count < cleanReadings {
			return false
		}
		if i > 0 && (t.paused > 0 || t.Start-s.turns[i-1].End > cleanStep+1.5*m.find.Between()) {
			return false
		}
	}
	return wild*20 <= readings
}

func (m *play) note(out *Out) {
	s := m.now
	if s.strokes > m.counted {
		out.Notes = append(out.Notes, Note{Kind: StrokeCounted, T: m.core.now})
	}
	if s.leftOut > m.leftOut {
		for _, r := range s.reasons {
			if r != "" {
				m.reason = r
			}
		}
		out.Notes = append(out.Notes, Note{Kind: StrokeLeftOut, T: m.core.now, Text: m.reason})
	}
	m.counted, m.leftOut = s.strokes, s.leftOut
}

// known is what is known of a rest's repeatability without looking at how the
// rests agree: the step, their own scatter, and what a hand can do.
func (m *play) known() float64 {
	var own float64
	n := 0
	for i, t := range m.now.turns {
		if m.now.points[i].used && t.Used > 1 {
			own += t.Scatter * t.Scatter
			n++
		}
	}
	if n > 0 {
		own /= float64(n)
	}
	hand := 2.5 * max(m.step, m.spec.twoMicron())
	share := 0.05 * m.now.typical
	return math.Sqrt(own + hand*hand + share*share)
}

// sure is the chance below which the present series is no handling.
func (m *play) sure() float64 {
	wide := m.now.fit.play / max(m.step, m.spec.twoMicron())
	return min(sureLeast, sureRun-sureSize*math.Log(max(1, wide)))
}

// early widens the scatter of a series that was nearly too wide to be complete:
// a series that is complete because its scatter came out small is, now and
// then, one whose scatter is larger. (Waiting for strokes that agree by luck
// would cover 83 to 92 %.)
func (m *play) early() float64 {
	most := m.known() * math.Sqrt(quantileOf(&chi99, m.now.fit.dof)/float64(m.now.fit.dof))
	if !m.isFine {
		most = min(most, m.now.mostScatter(m.sure()))
	}
	share := min(1, m.now.scatter/max(most, 1e-12))
	return 1 + earlyShare*share*share*share*share
}

func (m *play) complete() bool {
	s := m.now
	n := s.strokes
	if m.unsure || n < m.spec.Strokes || n%2 != 0 || !s.fit.ok || s.fit.dof < 3 || !s.points[len(s.points)-1].used {
		return false
	}
	if m.isFine && m.spec.Gauge.Sends == ledger.OnPress {
		return false
	}
	if s.chance > m.sure() || !m.isFine && s.detour > straight {
		if !(m.isFine && s.leftOut == 0 && s.scatter < 0.6*m.step && n >= m.spec.Strokes+cleanStrokes) {
			return false
		}
	}
	return !m.tooVaried() || n >= m.spec.MaxStrokes
}

// tooVaried is the 99 % chi-square test of the strokes against noise known
// independently of them.
func (m *play) tooVaried() bool {
	sigma := m.known()
	return m.now.fit.rss > quantileOf(&chi99, m.now.fit.dof)*sigma*sigma
}

// stepParts charges the gauge's step, per side. A side that always shows one
// code teaches nothing by being repeated: its level lies within half a step. On
// a side that shows two codes the level lies between them, the nearer to the
// middle the more even they are. Three codes and more average the step out, and
// the scatter holds it.
func (m *play) stepParts(step float64, scatter *metrology.Part) (b metrology.Budget) {
	s := m.now
	var halves [2]float64
	for k, side := range []float64{-1, 1} {
		var sum, weight float64
		for level := range s.fit.ends {
			low, high, total, n := inf, -inf, 0.0, 0.0
			for _, p := range s.points {
				if p.used && p.side == side && p.level == level {
					low, high = min(low, p.y), max(high, p.y)
					total += p.y
					n++
				}
			}
			if n == 0 {
				continue
			}
			code := math.Floor(low/step+1e-6) * step
			h := 0.0
			if high-code <= step*(1+1e-6) {
				share := (total/n - code) / step
				h = step / 2 * math.Abs(1-2*share)
			}
			sum += n * h
			weight += n
		}
		if weight > 0 {
			halves[k] = sum / weight
		}
	}
	if halves[0] < 1e-3*step && halves[1] < 1e-3*step {
		if floor := step / math.Sqrt(12) * s.fit.factor; scatter.U < floor {
			*scatter = metrology.Part{Name: metrology.PartScatter, Value: step / math.Sqrt(12), Shape: metrology.Normal, Divisor: 1 / s.fit.factor, U: floor, Dof: inf}
		}
		return nil
	}
	if math.Abs(halves[0]-halves[1]) < 1e-3*step {
		return metrology.Budget{metrology.Tri(metrology.PartStep, halves[0]+halves[1])}
	}
	return metrology.Budget{metrology.Rect(metrology.PartStep, halves[0]), metrology.Rect(metrology.PartStep, halves[1])}
}

func (m *play) budget() metrology.Budget {
	f := m.now.fit
	sd := f.sd * m.early()
	scatter := metrology.Part{Name: metrology.PartScatter, Value: sd, Shape: metrology.StudentT, Divisor: 1 / f.factor, U: sd * f.factor, Dof: float64(f.sdDof)}
	step, step2 := m.claimSteps()
	steps := m.stepParts(step+step2, &scatter)
	b := append(metrology.Budget{scatter}, steps...)
	b = append(b, metrology.Rect(metrology.PartCreep, m.creep()))
	move := math.Abs(f.play)
	b = append(b, differenceError(m.spec.Gauge, move, step))
	b = append(b, metrology.Rect(metrology.PartHysteresis, m.spec.Gauge.Hysteresis), metrology.Gauss(metrology.PartRepeatability, m.spec.Gauge.Repeatability))
	if g := m.spec.Minus; g != nil {
		b = append(b, differenceError(*g, move, step2), metrology.Rect(metrology.PartHysteresis, g.Hysteresis))
	}
	return withoutZeros(b)
}

// creep is half of the outward change within the rests, which is that from
// their first half to their second; both sides move outward together, so their
// halves add.
func (m *play) creep() float64 {
	var sum, sq float64
	n := 0.0
	for i, t := range m.now.turns {
		if m.now.points[i].used && t.Used >= 4 {
			c := t.Creep * t.side
			sum += c
			sq += c * c
			n++
		}
	}
	if n < 3 {
		return 0
	}
	return max(0, 2*sum/n)
}

// stoodStill compares the first and the last used rest of each side beyond the
// fitted drift.
func (m *play) stoodStill() bool {
	for _, side := range []float64{-1, 1} {
		var first, last *point
		for i := range m.now.points {
			if p := &m.now.points[i]; p.used && p.side == side {
				if first == nil {
					first = p
				}
				last = p
			}
		}
		if first == nil || first.level != last.level {
			continue
		}
		gap := last.y - first.y - m.now.fit.drift*(last.t-first.t)
		if math.Abs(gap) > max(m.now.fit.play/4, 2*m.step) {
			return false
		}
	}
	return true
}

func (m *play) finish(out *Out) {
	m.done = true
	s := m.now
	res := &Result{
		Strokes: s.strokes, LeftOut: s.leftOut,
		DriftPerMin: s.fit.drift * 60,
		T:           m.last.T, LastSeq: m.last.Seq,
	}
	if m.tooVaried() {
		res.Note = "strokes do not agree"
	}
	if !m.stoodStill() {
		res.NoVerdict = "the stand moved"
	}
	res.Value, res.Budget = m.spec.angled(s.fit.play, m.budget())
	if a := assumedNote(res.Budget); a != "" {
		res.Note = joinNote(res.Note, a)
	}
	for i, t := range s.turns {
		p := s.points[i]
		side := "-"
		if t.side > 0 {
			side = "+"
		}
		res.Rests = append(res.Rests, ledger.Rest{Rest: i + 1, FirstSeq: t.FirstSeq, LastSeq: t.LastSeq, T: t.T, Side: side,
			Level: p.level + 1, Value: t.Value, Used: p.used, Reason: s.reasons[i]})
		if !m.inRange(t.Value) {
			res.NoVerdict = "end of travel"
		}
	}
	res.FirstSeq = res.Rests[0].FirstSeq
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
	p := Progress{Strokes: m.counted, Wanted: m.spec.Strokes, Most: m.spec.MaxStrokes, LeftOut: m.leftOut, Say: "rock from stop to stop, hold a moment at each", Reason: m.reason, AtRest: m.find.Resting()}
	s := m.now
	if s == nil {
		return p
	}
	if s.fit.ok && m.counted >= 2 {
		p.HasResult = true
		p.Result, _ = m.spec.angled(s.fit.play, nil)
		p.U95 = m.budget().Combine().U95
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
		p.Say = fmt.Sprintf("%d of %d strokes", m.counted, m.spec.Strokes)
	}
	return p
}
