package method

import (
	"fmt"
	"math"
	"slices"

	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/motion"
	"thouwright/internal/quantity"
)

// What a drag check compares.
const (
	Breakaway = "breakaway"
	Running   = "running"
	Peak      = "peak"
	// OverCentre is the peak less the level off it: the preload of a gear that is
	// tight in the middle of its travel.
	OverCentre = "over centre"
)

// drag measures the force or torque over one slow turn: the breakaway, the
// running mean, the peak and its height over the level. A pull begins when the reading rises clearly above
// the level it stood at and ends when it falls back.
type drag struct {
	core
	zero    float64 // the level without a pull
	hasZero bool
	noZero  bool // it was never seen: the first reading lay too high for one
	pull    []Reading
	pulling bool
	low     int // readings in a row below the end's threshold
	top     float64
	done    bool
	reason  string
}

// madToSigma turns a median absolute deviation into a standard deviation.
const madToSigma = 1.4826

const (
	dragSeconds  = 3.0  // of running, at least
	dragReadings = 10   // of running, at least
	dragSettle   = 0.5  // s after the breakaway until it runs
	dragOver     = 0.3  // a pull is over below this part of its level
	dragSteady   = 0.05 // of the highest drag: a gauge that nobody pulls moves less
	dragMost     = 20000
	// What a gauge that sends only on change said stands until it says another thing: so
	// often, in s, it counts as read; and after this silence a pull that fell is over.
	dragStands = 0.1
	dragSilent = 0.5
	dragBlocks = 8 // of the running part, for the scatter of its mean
)

func newDrag(s Spec, memory, minus *GaugeMemory) *drag {
	if s.Compare == "" {
		s.Compare = Running
	}
	return &drag{core: newCore(s, memory, minus, new(motion.Finder)), pull: make([]Reading, 0, 256)}
}

func (m *drag) AtRest() bool { return m.find.Resting() && !m.pulling }

func (m *drag) Deadline() float64 {
	if m.done {
		return inf
	}
	return min(m.find.Deadline(), m.over())
}

// over is when silence ends a pull that fell: of a gauge that sends only on change.
func (m *drag) over() float64 {
	if m.spec.Gauge.Sends != ledger.OnChange || !m.pulling || m.low == 0 {
		return inf
	}
	return m.last.T + dragSilent
}

func (m *drag) Tick(t float64, out *Out) {
	if m.done {
		return
	}
	m.core.tick(t)
	if t >= m.over() {
		m.fallen(out)
	}
}

// stood reads a gauge that sends only on change up to time t.
func (m *drag) stood(t float64) {
	for r := m.pull[len(m.pull)-1]; r.T+1.5*dragStands < t && len(m.pull) < dragMost; {
		r.T += dragStands
		m.pull = append(m.pull, r)
	}
}

// begins is how far above its standing level a reading shows a pull.
func (m *drag) begins() float64 {
	b := math.Max(5*m.step, 8*m.find.Noise())
	if h := m.spec.Limits.High; !math.IsInf(h, 1) {
		b = math.Max(b, 0.05*math.Abs(h))
	}
	return b
}

func (m *drag) Reading(r Reading, out *Out) {
	if m.done {
		return
	}
	ev, ok := m.core.reading(r)
	if !ok {
		return
	}
	if !m.hasZero {
		// The gauge stands at nothing before it is pulled.
		m.zero, m.hasZero = r.Value, true
		if math.Abs(r.Value) > m.begins() {
			m.zero, m.noZero = 0, true
		}
	}
	v := math.Abs(r.Value - m.zero)
	if !m.pulling {
		if ev&motion.RestConfirmed != 0 {
			if z := m.find.Current(); math.Abs(z.Value) <= m.begins() {
				m.zero = z.Value
			}
		}
		if v <= m.begins() {
			m.noZero = false
		} else {
			m.pulling, m.pull, m.low, m.top = true, append(m.pull[:0], r), 0, v
		}
		return
	}
	if m.spec.Gauge.Sends == ledger.OnChange && m.low == 0 {
		m.stood(r.T)
	}
	if len(m.pull) == dragMost {
		m.reason = "the pull is too long"
		m.pulling = false
		return
	}
	m.pull = append(m.pull, r)
	m.top = math.Max(m.top, v)
	if v > math.Max(m.begins(), dragOver*m.level()) {
		m.low = 0
		return
	}
	if m.low++; m.low >= 2 {
		m.fallen(out)
	}
}

// fallen ends a pull whose last readings lie below its end's threshold.
func (m *drag) fallen(out *Out) {
	m.pulling = false
	m.pull = m.pull[:len(m.pull)-m.low]
	m.ended(out)
}

// level is the running level so far: the median of the pull, which neither the
// breakaway nor a hump over centre moves.
func (m *drag) level() float64 {
	// A long pull is looked at in steps, so that this stays cheap.
	var room [32]float64
	some := room[:0]
	for i, stride := 0, max(1, (len(m.pull)+15)/16); i < len(m.pull); i += stride {
		some = append(some, math.Abs(m.pull[i].Value-m.zero))
	}
	slices.Sort(some)
	return middle(some)
}

// parts splits the pull into breakaway, running part and release.
func (m *drag) parts() (breakaway float64, running []Reading) {
	p := m.pull
	if len(p) == 0 {
		return 0, nil
	}
	start := p[0].T
	at := 0
	for i, r := range p {
		if r.T-start > 1 {
			break
		}
		if v := math.Abs(r.Value - m.zero); v > breakaway {
			breakaway, at = v, i
		}
	}
	from := at
	for from < len(p) && p[from].T < p[at].T+dragSettle {
		from++
	}
	to := len(p)
	level := m.level()
	for to > from && math.Abs(p[to-1].Value-m.zero) < 0.7*level {
		to--
	}
	return breakaway, p[from:to]
}

// offZero tells whether the pull begins with a gauge that stood where its zero should be,
// and was not set to it: what stood there would count as drag.
func (m *drag) offZero() bool {
	n := 0
	low, high := inf, -inf
	for _, r := range m.pull {
		if low, high = math.Min(low, r.Value), math.Max(high, r.Value); high-low > math.Max(m.find.Window(), dragSteady*m.top) {
			break
		}
		n++
	}
	return m.noZero && n >= motion.RestCount && m.pull[n-1].T-m.pull[0].T >= motion.RestSeconds &&
		math.Abs(m.pull[0].Value-m.zero) < 0.5*m.top
}

func enough(running []Reading) bool {
	return len(running) >= dragReadings && running[len(running)-1].T-running[0].T >= dragSeconds-1e-9
}

func (m *drag) ended(out *Out) {
	if _, running := m.parts(); !enough(running) {
		if len(m.pull) >= 3 {
			m.reason = fmt.Sprintf("too short a pull: turn slowly for %.0f s or more, once round", dragSeconds)
			out.Notes = append(out.Notes, Note{Kind: StrokeLeftOut, T: m.now, Text: m.reason})
		}
		return
	}
	m.finish(out)
}

func (m *drag) finish(out *Out) {
	m.done = true
	breakaway, running := m.parts()
	mean, u, dof := m.blockMean(running)
	step, _ := m.claimSteps()
	g := m.spec.Gauge
	peak, off, uOff, sigma, bias := m.hump(running, step)
	reading := metrology.Budget{metrology.Tri(metrology.PartStep, step), readingError(g, step),
		metrology.Rect(metrology.PartHysteresis, g.Hysteresis), metrology.Gauss(metrology.PartRepeatability, g.Repeatability)}
	whole := append(metrology.Budget{metrology.Student(metrology.PartScatter, u, dof)}, reading...)
	// One reading is as noisy as all are; the largest of many lies too high by what
	// noise can push.
	single := append(metrology.Budget{metrology.Gauss(metrology.PartScatter, sigma)}, reading...)
	noise := metrology.Rect(PartNoiseBias, bias+2*extremeSpread*sigma)
	budgets := map[string]metrology.Budget{
		Breakaway: single, Running: whole, Peak: append(metrology.Budget{noise}, reading...),
		OverCentre: {noise, metrology.Student(metrology.PartScatter, uOff, dragBlocks-1), metrology.Tri(metrology.PartStep, step), differenceError(g, peak-off, step),
			metrology.Rect(metrology.PartHysteresis, g.Hysteresis), metrology.Gauss(metrology.PartRepeatability, g.Repeatability)},
	}
	values := map[string]float64{Breakaway: breakaway, Running: mean, Peak: peak, OverCentre: peak - off}
	if m.spec.Arm > 0 && m.spec.ArmU95 > 0 {
		for q, b := range budgets {
			budgets[q] = append(slices.Clone(b), metrology.FromU95(PartArm, values[q]*m.spec.ArmU95/m.spec.Arm))
		}
	}
	read := 0
	for i, r := range running {
		if i == 0 || r.Seq != running[i-1].Seq { // what stood was read once
			read++
		}
	}
	res := &Result{T: running[len(running)-1].T, FirstSeq: m.pull[0].Seq, LastSeq: m.last.Seq, Strokes: read}
	res.Value = values[m.spec.Compare]
	res.Budget = withoutZeros(slices.Clone(budgets[m.spec.Compare]))
	res.Note = m.spec.Compare + " compared"
	if a := assumedNote(res.Budget); a != "" {
		res.Note = ledger.JoinNotes(res.Note, a)
	}
	for _, q := range []string{Breakaway, Running, Peak} {
		res.Extras = append(res.Extras, ledger.Extra{Quantity: q, Value: values[q], Unit: m.spec.Unit, U95: budgets[q].Combine().U95})
	}
	if m.spec.Compare == OverCentre {
		res.Extras = append(res.Extras, ledger.Extra{Quantity: "level off centre", Value: off, Unit: m.spec.Unit, U95: math.NaN()})
	}
	res.Extras = append(res.Extras, ledger.Extra{Quantity: "zero", Value: m.zero, Unit: m.spec.Unit, U95: math.NaN()},
		ledger.Extra{Quantity: "readings in the turn", Value: float64(read), Unit: quantity.None, U95: math.NaN()})
	first, last := running[0], running[len(running)-1]
	res.Rests = []ledger.Rest{{Rest: 1, FirstSeq: first.Seq, LastSeq: last.Seq, T: (first.T + last.T) / 2, Side: "+", Level: 1, Value: mean, Used: true}}
	if !m.inRange(m.zero+peak) && !m.inRange(m.zero-peak) {
		res.NoVerdict = "beyond the gauge's range"
	}
	if m.offZero() {
		res.NoVerdict = "the gauge did not stand at zero without a pull: set it to zero and pull again"
	}
	out.Result = res
}

// hump is the peak of the running part and the level off it, which is the median:
// over centre is less than half of the way. The median's standard uncertainty comes
// from the median absolute deviation, as of so many independent readings as there are
// blocks (a median of normal readings has 1.25 times the mean's). sigma is the noise
// of one reading, and bias how far it pushes the peak up.
func (m *drag) hump(running []Reading, step float64) (peak, off, uOff, sigma, bias float64) {
	drags := slices.Clone(running)
	values := make([]float64, len(drags))
	for i := range drags {
		drags[i].Value = math.Abs(drags[i].Value - m.zero)
		values[i] = drags[i].Value
		peak = math.Max(peak, values[i])
	}
	slices.Sort(values)
	off = middle(values)
	for i := range values {
		values[i] = math.Abs(values[i] - off)
	}
	slices.Sort(values)
	uOff = 1.25 * madToSigma * middle(values) / math.Sqrt(dragBlocks)
	sigma = turnNoise(drags, step)
	return peak, off, uOff, sigma, extremeBias(drags, peak, sigma)
}

// blockMean is the mean of the running part with its standard uncertainty from
// the means of blocks: neighbouring readings of one turn are not independent.
func (m *drag) blockMean(running []Reading) (mean, u, dof float64) {
	n := len(running)
	for _, r := range running {
		mean += math.Abs(r.Value-m.zero) / float64(n)
	}
	blocks := min(dragBlocks, n/2)
	var sq float64
	for k := range blocks {
		part := running[k*n/blocks : (k+1)*n/blocks]
		var s float64
		for _, r := range part {
			s += math.Abs(r.Value-m.zero) / float64(len(part))
		}
		sq += (s - mean) * (s - mean)
	}
	dof = float64(blocks - 1)
	return mean, math.Sqrt(sq / dof / float64(blocks)), dof
}

// Finish ends a pull that goes on: the turn is complete.
func (m *drag) Finish(t float64, out *Out) {
	if m.done || !m.pulling {
		return
	}
	if m.spec.Gauge.Sends == ledger.OnChange && m.low == 0 {
		m.stood(t)
	}
	if _, running := m.parts(); enough(running) {
		m.finish(out)
		return
	}
	m.reason = fmt.Sprintf("too short a pull: turn slowly for %.0f s or more", dragSeconds)
	out.Notes = append(out.Notes, Note{Kind: Caution, T: t, Text: m.reason})
}

func (m *drag) Progress() Progress {
	p := Progress{Wanted: 1, Most: 1, AtRest: m.AtRest(), Reason: m.reason, Say: "pull slowly and evenly, once round, then let go"}
	if !m.pulling || len(m.pull) < 4 {
		return p
	}
	if breakaway, running := m.parts(); len(running) > 3 {
		p.HasResult = true
		switch m.spec.Compare {
		case Breakaway:
			p.Result = breakaway
		case Peak:
			p.Result = m.top
		case OverCentre:
			peak, off, _, _, _ := m.hump(running, m.step)
			p.Result = peak - off
		default:
			p.Result, _, _ = m.blockMean(running)
		}
	}
	return p
}
