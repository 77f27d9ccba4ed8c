package method

import (
	"math"
	"slices"

	"thouwright/internal/ledger"
	"thouwright/internal/motion"
)

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
	of := 0 // whose rests the strokes up to now were made of
	if m.isFine {
		of = 1
	}
	m.now = nil
	m.isFine = false
	m.search(m.refresh(0, m.find), m.floor(), false)
	if fine := m.refresh(1, m.fine); m.now == nil && len(fine) > 4 {
		m.search(fine, 1.5*m.step, true)
		m.isFine = m.now != nil
	}
	m.sayLost(m.turns[of].turns, out)
	if m.now == nil {
		m.counted, m.leftOut = 0, 0
		return
	}
	m.note(out)
	if !m.complete() {
		return
	}
	if !m.isFine && m.spec.Gauge.Sends != ledger.OnPress {
		if from := m.now.changed(m.floor(), m.step); from > 0 {
			m.startAfter(from, out)
			return
		}
	}
	m.finish(out)
}

// sayLost says why the strokes begin anew, where a pause was too long to go on after.
func (m *play) sayLost(turns []turn, out *Out) {
	if m.counted < lostSaid || m.now != nil && m.now.strokes > m.counted/2 {
		return
	}
	for _, t := range turns[max(0, len(turns)-3):] {
		if t.End-t.Start > longestHold {
			m.reason = reasonPaused
			out.Notes = append(out.Notes, Note{Kind: StrokeLeftOut, T: m.core.now, Text: m.reason})
			return
		}
	}
}

const (
	lostSaid     = 3 // strokes lost that are worth a word
	reasonPaused = "a pause of more than 8 s: the strokes begin anew"
)

// startAfter goes on with what was measured since the play changed at a turning point.
func (m *play) startAfter(from int, out *Out) {
	m.after = m.now.turns[from].Start
	m.reason = reasonChanged
	out.Notes = append(out.Notes, Note{Kind: StrokeLeftOut, T: m.core.now, Text: m.reason})
	m.evaluate(out)
}

// floor is what two strokes may differ by for the grid's or a hand's sake.
func (m *play) floor() float64 { return max(1.5*m.step, m.spec.twoMicron()) }

// What regular work looks like: nobody holds a part longer, or takes longer
// from stop to stop. Anything else begins a new run.
const (
	longestHold   = 8.0 // s
	longestStroke = 3.5 // s, and what a slow gauge misses, and a hold for each pause on the way
	mostPauses    = 2
	// likelyRun: a run is shown as a take in progress when handling would look
	// like it less often than this (natural logarithm).
	likelyRun = -1.0
	// And it is complete only when it would less often than sure. Chosen by simulation
	// between false takes and takes that never complete (scripts/proving -hours 100 and
	// -byplay; DEVELOPERS.md has both).
	sure = -5.2
	// Past max_strokes it eases, by so much for as many strokes again, to no more than
	// sureMost: handling does not go to and fro for so long, and whoever rocks a worn part
	// is owed an end ('strokes do not agree').
	sureEases = 3.7
	sureMost  = -1.5
	// straight: a stroke goes there and rebounds, by a third of the play and more;
	// wandering goes much further than it gets.
	straight = 1.8
)

// search looks for the best run that ends with the last turning point.
func (m *play) search(all []turn, floor float64, fine bool) {
	n := len(all)
	first := n - 1
	for first > 0 && all[first-1].Start >= m.after && m.regular(all[first-1], all[first], fine) {
		first--
	}
	first = max(first, n-2*m.spec.MaxStrokes-4)
	a, b := m.claimSteps()
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
		strokes, alike := before(all[:from+1], s.fit.play)
		s.rate(a+b, max(a+b, m.spec.twoMicron()), strokes, alike)
		if fine && (s.fit.play > 1.2*m.find.Window() || !m.clean(s)) {
			continue
		}
		if s.chance-s.strange < likelyRun && (m.now == nil || s.chance < m.now.chance) {
			m.now = s
			s.longer = longerBefore(all[first:from+1], s.fit.play, floor)
		}
	}
}

// before counts the strokes just before a run that are no part of it, and those of
// them of like size: handling goes on, where a person who rocks starts and stays.
func before(turns []turn, play float64) (strokes, alike int) {
	last := turns[len(turns)-1]
	for k := len(turns) - 1; k > 0 && last.Start-turns[k-1].End < beforeSeconds; k-- {
		strokes++
		if l := math.Abs(turns[k].Value - turns[k-1].Value); l > play/3 && l < 3*play {
			alike++
		}
	}
	return strokes, alike
}

// beforeSeconds is how long before a run that is asked.
const beforeSeconds = 20.0

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
	most := longestStroke + 1.5*m.find.Between() + float64(b.paused)*longestHold
	if b.Start-a.End > most || b.End-b.Start > longestHold || a.End-a.Start > longestHold {
		return false
	}
	return b.paused <= mostPauses
}

// What is asked of rests one code apart. Two stops on neighbouring codes agree
// by the grid and prove nothing by that; what tells them from the flicker of a
// gauge that stands between two codes is that the steps are clean and quick.
const (
	cleanReadings = 4   // in each rest
	cleanStep     = 0.6 // s from one to the next, and what a slow gauge misses
	cleanHold     = 3.0 // s
	cleanMean     = 1.0 // s, the least: flicker and swaying are quicker
	likelyFine    = -4.2
	likelyHome    = -2.7 // where only what comes home is likelier
	cleanSince    = 15   // s since something last moved by more than that: nobody sets a gauge up and then waits
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

// longerBefore counts the strokes before a run that went further than its play
// and agreed with each other, as setting up does not: the stops as they were
// found before. What lies before a much longer movement was another set-up.
func longerBefore(turns []turn, play, floor float64) (most int) {
	length := func(k int) float64 { return math.Abs(turns[k].Value - turns[k-1].Value) }
	since := 0.0 // the longest from here on
	for k := len(turns) - 1; k > 0; k-- {
		since = max(since, length(k))
		if length(k) < 1.2*play+floor || since > setUpAgain*length(k) {
			continue
		}
		n := 0
		for i := k; i > 0 && length(i) <= setUpAgain*length(k); i-- {
			if math.Abs(length(i)-length(k)) <= floor {
				n++
			}
		}
		most = max(most, n)
	}
	return most
}

// setUpAgain: a movement so many times as long as the strokes before it.
const setUpAgain = 3.0

// needed is how many good strokes complete the take: those asked for where each stop
// shows one code and nothing else, which more of them would not make better known;
// where the stops scatter moreStrokes more, because seven rests leave Student's t so
// wide that two strokes are worth a sixth of U95. Going by whether they scatter, and
// not by how much, chooses no small scatters. Whoever presses a button for each stop
// counts himself.
// One stroke that went much further than the others is a knock, or it is the one that
// reached both stops while the others fell short alike; more strokes tell. Where
// several strokes just before went further and agreed, it takes all there may be.
func (m *play) needed() int {
	s := m.now
	if s.longer >= doubtBefore {
		return m.spec.MaxStrokes
	}
	n := m.spec.Strokes
	if n < plenty && m.scatters() {
		n = min(n+moreStrokes, plenty)
	}
	if last := s.points[len(s.points)-1].level; last != 0 || slices.Contains(s.reasons, reasonFar) {
		n = max(n, m.spec.Strokes+moreStrokes)
		since := -1
		for _, p := range s.points {
			if p.used && p.level == last {
				since++
			}
		}
		if since < doubtSince {
			n = max(n, s.strokes+2)
		}
	}
	return min(n, m.spec.MaxStrokes)
}

const (
	plenty      = 8 // strokes: from here on there is little to win
	moreStrokes = 2 // where the stops scatter, or there was a doubt …
	doubtSince  = 4 // … and how many strokes since
	doubtBefore = 3 // strokes before that went further and agreed
)

// scatters tells whether a stop shows more than one code of the gauge (or of the finer
// of two), as it does after a knock too. Of presses nobody asks.
func (m *play) scatters() bool {
	step, step2 := m.claimSteps()
	if step2 > 0 {
		step = min(step, step2)
	}
	return m.spec.Gauge.Sends != ledger.OnPress && !m.allAlike(step)
}

func (m *play) complete() bool {
	s := m.now
	n := s.strokes
	if m.unsure || n < m.needed() || n%2 != 0 && s.leftOut == 0 || !s.fit.ok || s.fit.dof < 3 || !s.points[len(s.points)-1].used {
		return false
	}
	if m.isFine && m.spec.Gauge.Sends == ledger.OnPress {
		return false
	}
	byHand := m.spec.Gauge.Sends == ledger.OnPress // each press is meant: nothing of it is handling
	if !byHand && (s.doubt > m.sureAt(n) || !m.isFine && s.detour > straight) {
		// One code apart every flicker agrees: only many clean strokes tell.
		if !(m.isFine && s.chance < likelyFine && s.doubt < likelyHome && s.meanHold() >= cleanMean && s.leftOut == 0 && s.scatter < 0.6*m.step && n >= m.spec.MaxStrokes) {
			return false
		}
	}
	return (!m.tooVaried() || n >= m.spec.MaxStrokes) && (byHand || m.dwells())
}

// sureAt is what the doubt may be after n strokes.
func (m *play) sureAt(n int) float64 {
	past := float64(max(0, n-m.spec.MaxStrokes)) / float64(m.spec.MaxStrokes)
	return min(sureMost, sure+sureEases*past)
}

// tooVaried is the 99 % chi-square test of the strokes against noise known
// independently of them.
func (m *play) tooVaried() bool {
	sigma := m.known()
	return m.now.fit.rss > quantileOf(&chi99, m.now.fit.dof)*sigma*sigma
}

// meanHold is how long the rests lasted, but for the last, which still does.
func (s *series) meanHold() float64 {
	var sum float64
	n := len(s.turns) - 1
	for _, t := range s.turns[:n] {
		sum += t.End - t.Start
	}
	return sum / float64(n)
}

// hold is the upper quartile of how long the rests lasted, but for the last: one that
// was two, or began long before the strokes, does not count.
func (s *series) hold() float64 {
	s.work = s.work[:0]
	for _, t := range s.turns[:len(s.turns)-1] {
		s.work = append(s.work, t.End-t.Start)
	}
	slices.Sort(s.work)
	h := s.work[3*len(s.work)/4]
	s.work = s.work[:0]
	return h
}
