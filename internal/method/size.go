package method

import (
	"fmt"
	"math"

	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/motion"
)

// sizeGaugings is how many gaugings must agree to make a size by themselves.
const sizeGaugings = 3

// size measures a size: a rest reached from movement and inside what is
// expected of the part; three agreeing gaugings or one press.
type size struct {
	core
	gaugings []motion.Rest // the last that agreed
	live     bool
	moved    bool // since the last gauging: a rest must be reached from movement
	away     float64
	done     bool
	reason   string
	extreme  turningPoint
	zero     bool // the part is gauged: the master is looked at again
	closure  float64
	closed   bool
}

func newSize(s Spec, memory, minus *GaugeMemory) *size {
	return &size{core: newCore(s, memory, minus), extreme: turningPoint{turning: s.Turning}}
}

func (m *size) AtRest() bool      { return m.find.Resting() }
func (m *size) Deadline() float64 { return m.find.Deadline() }

func (m *size) Tick(t float64, out *Out) {
	if !m.done {
		m.events(m.core.tick(t), out)
	}
}

func (m *size) Reading(r Reading, out *Out) {
	if m.done {
		return
	}
	ev, ok := m.core.reading(r)
	if !ok {
		return
	}
	if r.Pressed || m.spec.Gauge.Sends == ledger.OnPress {
		g := motion.Rest{FirstSeq: r.Seq, LastSeq: r.Seq, Start: r.T, End: r.T, T: r.T, Count: 1, Used: 1, Value: r.Value, Low: r.Value, High: r.Value}
		out.Notes = append(out.Notes, Note{Kind: RestFound, T: r.T})
		switch {
		case m.zero:
			m.looked(g, out)
		case m.expected(r.Value, r.T, out):
			m.gaugings = append(m.gaugings[:0], g)
			out.Notes = append(out.Notes, Note{Kind: StrokeCounted, T: r.T})
			m.gaugedEnough(out)
		}
		return
	}
	if m.extreme.wanted() {
		if g, found := m.extreme.reading(r, m.find.Window()); found {
			out.Notes = append(out.Notes, Note{Kind: RestFound, T: m.now})
			switch {
			case m.zero:
				m.looked(g, out)
			case m.expected(g.Value, m.now, out):
				m.gauged(g, out)
			}
		}
		return
	}
	if !m.find.InRest() && math.Abs(r.Value-m.away) > 3*m.find.Window() {
		m.moved = true
	}
	m.events(ev, out)
}

func (m *size) events(ev motion.Event, out *Out) {
	if ev&motion.RestEnded != 0 && m.live {
		m.live = false
		m.gaugings[len(m.gaugings)-1] = m.find.Ended()
	}
	if ev&motion.RestConfirmed == 0 {
		return
	}
	r := m.find.Current()
	if !m.moved {
		m.away = r.Value
		return
	}
	m.moved, m.away = false, r.Value
	out.Notes = append(out.Notes, Note{Kind: RestFound, T: m.now})
	if m.zero {
		m.looked(r, out)
		return
	}
	if m.expected(r.Value, m.now, out) {
		m.live = true
		m.gauged(r, out)
	}
}

// expected tells whether a value can be this part's size.
func (m *size) expected(v, t float64, out *Out) bool {
	s := m.shown(v)
	if s >= m.spec.ExpectLow && s <= m.spec.ExpectHigh {
		return true
	}
	m.reason = "not counted: outside what is expected of this part"
	out.Notes = append(out.Notes, Note{Kind: StrokeLeftOut, T: t, Text: m.reason})
	return false
}

// shown is the size that a reading stands for.
func (m *size) shown(v float64) float64 {
	if m.spec.HasMaster {
		return m.spec.Master + float64(m.spec.Sense)*v
	}
	return v
}

func (m *size) gauged(r motion.Rest, out *Out) {
	step, step2 := m.steps()
	agree := math.Max(2*(step+step2), 2*m.spec.twoMicron())
	for len(m.gaugings) > 0 && math.Abs(m.gaugings[0].Value-r.Value) > agree {
		m.gaugings = m.gaugings[:copy(m.gaugings, m.gaugings[1:])]
	}
	m.gaugings = append(m.gaugings, r)
	m.reason = "" // of an earlier one, or of the open instrument between
	out.Notes = append(out.Notes, Note{Kind: StrokeCounted, T: m.now})
	if len(m.gaugings) >= sizeGaugings {
		m.gaugedEnough(out)
	}
}

// gaugedEnough closes the take, or asks for the master once more where the size
// was read as a difference from it.
func (m *size) gaugedEnough(out *Out) {
	if m.spec.HasMaster && !m.zero {
		m.zero = true
		return
	}
	m.finish(out)
}

// looked takes the reading of the master: how far the zero has moved.
func (m *size) looked(r motion.Rest, out *Out) {
	step, step2 := m.steps()
	if most := math.Max(10*(step+step2), 10*m.spec.twoMicron()); math.Abs(r.Value) > most {
		m.reason = "that is not the master: its reading is not near zero"
		if math.Abs(r.Value-m.gaugings[0].Value) > most {
			m.reason = "the zero has moved: set the gauge to its master again and start over"
		}
		out.Notes = append(out.Notes, Note{Kind: Caution, T: m.now, Text: m.reason})
		return
	}
	m.closure, m.closed = r.Value, true
	m.finish(out)
}

func (m *size) finish(out *Out) {
	m.done = true
	n := float64(len(m.gaugings))
	var mean float64
	low, high := m.gaugings[0].Value, m.gaugings[0].Value
	for _, g := range m.gaugings {
		mean += g.Value / n
		low, high = math.Min(low, g.Value), math.Max(high, g.Value)
	}
	var sq float64
	for _, g := range m.gaugings {
		sq += (g.Value - mean) * (g.Value - mean)
	}
	step, step2 := m.claimSteps()
	var b metrology.Budget
	if n > 1 && sq > 0 {
		sd := math.Sqrt(sq / (n - 1))
		b = append(b, metrology.Student(metrology.PartScatter, sd/math.Sqrt(n), n-1))
	}
	b = append(b, metrology.Rect(metrology.PartStep, step/2), metrology.Rect(metrology.PartStep, step2/2))
	g := m.spec.Gauge
	if m.spec.HasMaster {
		b = append(b, metrology.Rect(PartSetting, step/2), metrology.Gauss(metrology.PartMaster, m.spec.MasterU95/1.96))
		b = append(b, differenceError(g, mean, step), metrology.Rect(PartClosure, math.Abs(m.closure)))
	} else {
		b = append(b, readingError(g, step))
	}
	b = append(b, metrology.Rect(metrology.PartHysteresis, g.Hysteresis), metrology.Gauss(metrology.PartRepeatability, g.Repeatability))
	res := &Result{Budget: withoutZeros(b), Strokes: len(m.gaugings), T: m.now, FirstSeq: m.gaugings[0].FirstSeq, LastSeq: m.last.Seq}
	res.Value, res.Budget = m.spec.angledSize(m.shown(mean), mean, res.Budget)
	for i, g := range m.gaugings {
		res.Rests = append(res.Rests, ledger.Rest{Rest: i + 1, FirstSeq: g.FirstSeq, LastSeq: g.LastSeq, T: g.T, Side: "+", Level: 1, Value: m.shown(g.Value), Used: true})
		if !m.inRange(g.Value) {
			res.NoVerdict = "end of travel"
		}
	}
	res.Note = assumedNote(res.Budget)
	switch {
	case m.closed:
		res.Extras = append(res.Extras, ledger.Extra{Quantity: "closure", Value: m.closure, Unit: m.spec.Unit, U95: math.NaN()})
	case m.spec.HasMaster:
		res.Note = joinNote(res.Note, "the zero was not looked at again")
	}
	out.Result = res
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
	if len(m.gaugings) == 0 && m.find.InRest() {
		if r := m.find.Current(); m.expected(r.Value, t, out) {
			m.gaugings = append(m.gaugings, r)
		}
	}
	if len(m.gaugings) > 0 {
		m.finish(out)
	}
}

func (m *size) Progress() Progress {
	p := Progress{Strokes: len(m.gaugings), Wanted: sizeGaugings, Most: sizeGaugings, AtRest: m.find.Resting(), Reason: m.reason,
		Say: "gauge the part three times, or press once"}
	if len(m.gaugings) > 0 {
		p.HasResult, p.Result = true, m.shown(m.gaugings[len(m.gaugings)-1].Value)
		p.Say = fmt.Sprintf("%d of %d gaugings", len(m.gaugings), sizeGaugings)
	}
	if m.zero {
		p.Say = "now look at the master again"
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

// turningPoint finds where a rocked gauge turns: a bore gauge reads least (or,
// by its build, most) when it stands square.
type turningPoint struct {
	turning string // rest, least, most
	since   Reading
	best    Reading
	started bool
	fell    bool // it has come down to the extreme from clearly beyond it
}

func (p *turningPoint) wanted() bool { return p.turning == "least" || p.turning == "most" }

// reading follows the values; found is the extreme of a swing that rose on
// both sides of it by more than window.
func (p *turningPoint) reading(r Reading, window float64) (g motion.Rest, found bool) {
	way := 1.0
	if p.turning == "most" {
		way = -1
	}
	v := way * r.Value
	if !p.started {
		p.started, p.best, p.since = true, r, r
		return g, false
	}
	if !p.fell {
		// Looking for the way down from a high place.
		if v > way*p.since.Value {
			p.since = r
		}
		if way*p.since.Value-v > window {
			p.fell, p.best = true, r
		}
		return g, false
	}
	if v <= way*p.best.Value {
		p.best = r
		return g, false
	}
	if v-way*p.best.Value > window {
		b := p.best
		p.fell, p.since = false, r
		return motion.Rest{FirstSeq: b.Seq, LastSeq: r.Seq, Start: b.T, End: b.T, T: b.T, Count: 1, Used: 1, Value: b.Value, Low: b.Value, High: b.Value}, true
	}
	return g, false
}
