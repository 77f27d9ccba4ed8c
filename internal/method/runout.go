package method

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/stat/distuv"

	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/motion"
	"thouwright/internal/quantity"
)

// runOut measures total indicated run-out: the largest reading less the
// smallest over at least one whole turn, which a person confirms, or over given
// stations. A part that runs true shows no movement, so nothing but a person
// can tell that it was turned.
type runOut struct {
	core
	kept     []Reading // the last runOutMost readings, a ring
	n        int       // readings taken
	stations []motion.Rest
	pressed  bool // stations are pressed; rests by themselves no longer count
	done     bool
	reason   string
}

const (
	runOutLeast = 24   // readings in a turn
	runOutMost  = 8192 // readings kept
	// A turn shows smooth change; what is larger than the turn itself within
	// one reading was the gauge being set up.
	runOutJump   = 0.5
	runOutClose  = 0.02 // of the run-out: how far a turn may end from where it began
	runOutSmooth = 0.3  // of the run-out: more within one reading is no turn
	runOutFlat   = 8    // readings of a standstill: more than the flat top of a turn of runOutLeast has
	runOutShort  = 2.0  // a turn takes so many times as long as what came before
	runOutStill  = 2 * motion.RestSeconds
	runOutSettle = 3.0 // s after the set-up in which the gauge comes to stand
)

func newRunOut(s Spec, memory, minus *GaugeMemory) *runOut {
	return &runOut{core: newCore(s, memory, minus, new(motion.Finder)), kept: make([]Reading, 0, 256)}
}

func (m *runOut) AtRest() bool { return m.find.Resting() }

func (m *runOut) Deadline() float64 {
	if m.done {
		return inf
	}
	return m.find.Deadline()
}

func (m *runOut) Tick(t float64, out *Out) {
	if !m.done {
		m.events(m.core.tick(t), out)
	}
}

func (m *runOut) Reading(r Reading, out *Out) {
	if m.done {
		return
	}
	ev, ok := m.core.reading(r)
	if !ok {
		return
	}
	if len(m.kept) < runOutMost {
		m.kept = append(m.kept, r)
	} else {
		m.kept[m.n%runOutMost] = r
	}
	m.n++
	if m.spec.Stations > 0 && (r.Pressed || m.spec.Gauge.Sends == ledger.OnPress) {
		m.press(onePoint(r), out)
		return
	}
	m.events(ev, out)
}

func onePoint(r Reading) motion.Rest {
	return motion.Rest{FirstSeq: r.Seq, LastSeq: r.Seq, Start: r.T, End: r.T, T: r.T, Count: 1, Used: 1, Value: r.Value, Low: r.Value, High: r.Value}
}

func (m *runOut) events(ev motion.Event, out *Out) {
	if m.spec.Stations == 0 {
		return
	}
	if ev&motion.RestEnded != 0 && !m.pressed && len(m.stations) > 0 {
		if r := m.find.Ended(); r.Start == m.stations[len(m.stations)-1].Start {
			m.stations[len(m.stations)-1] = r
		}
	}
	if ev&motion.RestConfirmed != 0 {
		out.Notes = append(out.Notes, Note{Kind: RestFound, T: m.now})
		if !m.pressed {
			m.station(m.find.Current(), out)
		}
	}
}

// press takes a station by a person's word. From the first press on only
// presses count: a part that hardly moves between stations shows fewer rests.
func (m *runOut) press(r motion.Rest, out *Out) {
	if !m.pressed {
		m.pressed = true
		m.stations = m.stations[:0]
	}
	m.station(r, out)
}

func (m *runOut) station(r motion.Rest, out *Out) {
	m.stations = append(m.stations, r)
	out.Notes = append(out.Notes, Note{Kind: StrokeCounted, T: m.now})
	if len(m.stations) < m.spec.Stations {
		return
	}
	if n := m.wandered(); n > 0 && !m.pressed {
		m.stations = append(m.stations[:0], m.stations[n:]...)
		return
	}
	m.finishStations(out)
}

// wandered is how many of the first stations were rests of the set-up: going
// back from the later half, the first that lies farther off than all after it
// lie apart.
func (m *runOut) wandered() int {
	least := math.Max(6*m.step, 3*m.spec.twoMicron())
	n := len(m.stations)
	low, high := inf, -inf
	for i := n - 1; i >= 0; i-- {
		v := m.stations[i].Value
		l, h := math.Min(low, v), math.Max(high, v)
		if i < n/2 && h-l-(high-low) > math.Max(high-low, least) {
			return i + 1
		}
		low, high = l, h
	}
	return 0
}

// Finish confirms the whole turn, or takes a station.
func (m *runOut) Finish(t float64, out *Out) {
	switch {
	case m.done || !m.started:
	case m.spec.Stations > 0:
		if m.find.InRest() {
			m.press(m.find.Current(), out)
		} else {
			m.press(onePoint(m.last), out)
		}
	default:
		turn, ok := m.turn()
		if !ok {
			m.reason = "the part stood still before the turn was accepted, and what came before may have been the set-up: turn once more, and accept as the turn ends"
			out.Notes = append(out.Notes, Note{Kind: Caution, T: t, Text: m.reason})
			m.kept, m.n = m.kept[:0], 0
			return
		}
		if n := m.turned(turn); n < runOutLeast {
			m.reason = fmt.Sprintf("turn slower: %d readings in the turn, at least %d are needed", n, runOutLeast)
			out.Notes = append(out.Notes, Note{Kind: Caution, T: t, Text: m.reason})
			m.kept, m.n = m.kept[:0], 0
			return
		}
		m.finishTurn(turn, out)
	}
}

func (m *runOut) finishTurn(turn []Reading, out *Out) {
	low, high := turn[0], turn[0]
	for _, r := range turn {
		if r.Value < low.Value {
			low = r
		}
		if r.Value > high.Value {
			high = r
		}
	}
	sigma := turnNoise(turn, m.step)
	bias := extremeBias(turn, high.Value, sigma) + extremeBias(turn, low.Value, sigma)
	res := &Result{Strokes: len(turn), T: m.last.T, FirstSeq: turn[0].Seq, LastSeq: m.last.Seq}
	res.Rests = []ledger.Rest{point1(1, low, "-"), point1(2, high, "+")}
	res.Extras = []ledger.Extra{
		{Quantity: "noise bias", Value: bias, Unit: m.spec.Unit, U95: math.NaN()},
		{Quantity: "readings in the turn", Value: float64(len(turn)), Unit: quantity.None, U95: math.NaN()},
	}
	m.close(res, high.Value-low.Value, bias, sigma, out)
}

func point1(n int, r Reading, side string) ledger.Rest {
	return ledger.Rest{Rest: n, FirstSeq: r.Seq, LastSeq: r.Seq, T: r.T, Side: side, Level: 1, Value: r.Value, Used: true}
}

// extremeBias is how far noise alone pushes an extreme outward: the expected
// largest of as many readings as lie within three sigma of it (Blom 1958).
// Both ends together make about 4.6 sigma for 60 readings of a round part.
func extremeBias(turn []Reading, extreme, sigma float64) float64 {
	if sigma <= 0 {
		return 0
	}
	n := 0.0
	for _, r := range turn {
		if math.Abs(r.Value-extreme) <= 3*sigma {
			n++
		}
	}
	if n < 2 {
		return 0
	}
	return sigma * distuv.UnitNormal.Quantile((n-0.375)/(n+0.25))
}

func (m *runOut) finishStations(out *Out) {
	n := len(m.stations)
	values := make([]float64, n)
	res := &Result{Strokes: n, T: m.last.T, FirstSeq: m.stations[0].FirstSeq, LastSeq: m.last.Seq}
	for i, r := range m.stations {
		values[i] = r.Value
		res.Rests = append(res.Rests, ledger.Rest{Rest: i + 1, FirstSeq: r.FirstSeq, LastSeq: r.LastSeq, T: r.T,
			Side: strconv.Itoa(i + 1), Level: 1, Value: r.Value, Used: true})
	}
	c := FitCircle(values)
	unit := m.spec.Unit
	res.Extras = []ledger.Extra{
		{Quantity: "eccentricity", Value: c.Eccentricity, Unit: unit, U95: c.EccentricityU95},
		{Quantity: "eccentricity at", Value: c.AngleDeg, Unit: quantity.Deg, U95: math.NaN()},
		{Quantity: "form, bearing error and noise", Value: c.Form, Unit: unit, U95: math.NaN()},
	}
	m.close(res, slices.Max(values)-slices.Min(values), 0, 0, out, metrology.Rect(PartStations, c.between(n)))
}

// between is how far the two extremes of an eccentric part can lie beyond its stations:
// half of the way between two. Form that is narrower than that is seen by no station.
func (c Circle) between(stations int) float64 {
	e := c.Eccentricity
	if !math.IsNaN(c.EccentricityU95) {
		e += c.EccentricityU95
	}
	return 2 * e * (1 - math.Cos(math.Pi/float64(stations)))
}

// turnNoise is the standard deviation of single readings by third differences,
// which a smooth turn leaves alone: for independent readings their variance is
// twenty times a reading's. Large ones, of wild readings, are clipped.
func turnNoise(turn []Reading, step float64) float64 {
	n := len(turn) - 3
	if n < 1 {
		return 0
	}
	d := make([]float64, n)
	for i := range d {
		d[i] = math.Abs(turn[i+3].Value - 3*turn[i+2].Value + 3*turn[i+1].Value - turn[i].Value)
	}
	slices.Sort(d)
	clip := 4*middle(d) + step
	var sum float64
	for _, x := range d {
		sum += math.Min(x, clip)
	}
	return sum / float64(n) / (math.Sqrt(2/math.Pi) * math.Sqrt(20))
}

// extremeSpread is the standard deviation of the largest of some tens of
// readings, in their own (Tippett 1925: 0.45 at 60).
const extremeSpread = 0.45

// moved is how far each of two gauges moved by itself since a reading.
func (m *runOut) moved(from uint64) (first, second float64) {
	low, high := [2]float64{inf, inf}, [2]float64{-inf, -inf}
	for i := range m.kept {
		if r := &m.kept[i]; r.Seq >= from {
			for k, v := range [2]float64{r.Value + r.second, r.second} {
				low[k], high[k] = min(low[k], v), max(high[k], v)
			}
		}
	}
	return high[0] - low[0], high[1] - low[1]
}

// close gives the result its budget: the extremes are two readings. more is what else
// leaves them open.
func (m *runOut) close(res *Result, value, bias, sigma float64, out *Out, more ...metrology.Part) {
	m.done = true
	step, step2 := m.claimSteps()
	g := m.spec.Gauge
	// The bias is not taken out, so its limits are what noise can push, twice
	// the spread of both extremes included.
	noise := bias + 2*math.Sqrt2*extremeSpread*sigma
	move, move2 := value, 0.0
	if m.spec.Minus != nil {
		move, move2 = m.moved(res.FirstSeq)
	}
	b := metrology.Budget{metrology.Tri(metrology.PartStep, step), metrology.Rect(PartNoiseBias, noise), differenceError(g, move, step),
		metrology.Rect(metrology.PartHysteresis, g.Hysteresis), metrology.Gauss(metrology.PartRepeatability, g.Repeatability)}
	b = append(b, more...)
	if n := m.spec.Minus; n != nil {
		b = append(b, metrology.Tri(metrology.PartStep, step2), differenceError(*n, move2, step2), metrology.Rect(metrology.PartHysteresis, n.Hysteresis))
	}
	res.Note = assumedNote(b)
	res.Value, res.Budget = m.spec.angled(value, withoutZeros(b))
	for _, r := range res.Rests {
		if !m.inRange(r.Value) {
			res.NoVerdict = "end of travel"
		}
	}
	out.Result = res
}

// assumedNote says where a gauge's error was not given.
func assumedNote(b metrology.Budget) string {
	for _, p := range b {
		if p.Name == metrology.PartErrorAssumed {
			return "gauge error assumed: one step"
		}
	}
	return ""
}

// Circle is what equally spaced stations round a part tell.
type Circle struct {
	Eccentricity    float64 // of the least-squares circle
	EccentricityU95 float64 // from the residuals; NaN with fewer than four stations
	AngleDeg        float64 // from the first station
	Form            float64 // range of the residuals: least-squares roundness, bearing error and noise together
}

// FitCircle fits the first harmonic to readings at equally spaced angles by
// least squares (ISO/TS 12181-1, least squares reference circle, for small
// eccentricity).
func FitCircle(values []float64) Circle {
	n := float64(len(values))
	var mean, a, b float64
	for i, v := range values {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / n)
		mean += v / n
		a += 2 * v * cos / n
		b += 2 * v * sin / n
	}
	low, high, sq := inf, -inf, 0.0
	for i, v := range values {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / n)
		r := v - mean - a*cos - b*sin
		low, high = math.Min(low, r), math.Max(high, r)
		sq += r * r
	}
	c := Circle{Eccentricity: math.Hypot(a, b), EccentricityU95: math.NaN(), Form: high - low}
	if c.AngleDeg = math.Atan2(b, a) * 180 / math.Pi; c.AngleDeg < 0 {
		c.AngleDeg += 360
	}
	if n >= 4 {
		t := distuv.StudentsT{Sigma: 1, Nu: n - 3}.Quantile(0.975)
		c.EccentricityU95 = t * math.Sqrt(sq/(n-3)*2/n)
	}
	return c
}

func (m *runOut) Progress() Progress {
	p := Progress{AtRest: m.find.Resting(), Reason: m.reason}
	if k := m.spec.Stations; k > 0 {
		p.Strokes, p.Wanted, p.Most = len(m.stations), k, k
		p.Say = fmt.Sprintf("station %d of %d: turn, stop, press", min(len(m.stations)+1, k), k)
		if len(m.stations) > 1 {
			low, high := inf, -inf
			for _, r := range m.stations {
				low, high = math.Min(low, r.Value), math.Max(high, r.Value)
			}
			p.HasResult, p.Result = true, high-low
			p.HasLevels, p.LevelLow, p.LevelHigh = true, low, high
		}
		return p
	}
	p.Wanted, p.Most = runOutLeast, runOutLeast
	p.Strokes = min(len(m.kept), runOutLeast)
	p.Say = "turn once round by hand, slowly; after the whole turn accept it"
	return p
}
