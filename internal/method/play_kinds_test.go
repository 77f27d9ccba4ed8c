package method

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
	"thouwright/internal/simulate"
)

// Each press of a gauge's button is a rest. By hand, from JCGM 100, 4.2 and the
// two sides' means: 0.4 less 0.1 and what the seven differ by.
func TestEachPressIsARest(t *testing.T) {
	s := Spec{Method: Play, Unit: quantity.MM, Gauge: Gauge{Sends: ledger.OnPress, Step: 0.001, HasError: true}}
	m, err := New(s, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	var out Out
	low, high := []float64{0.110, 0.114, 0.112, 0.108}, []float64{0.420, 0.415, 0.419}
	for i := range 7 {
		v := low[i/2]
		if i%2 == 1 {
			v = high[i/2]
		}
		if out.Result != nil {
			t.Fatalf("done after %d presses", i)
		}
		m.Reading(Reading{Seq: uint64(i + 1), T: 4 * float64(i), Value: v, Step: 0.001, Pressed: true}, &out)
	}
	r := out.Result
	if r == nil {
		t.Fatalf("seven presses made no take: %+v", m.Progress())
	}
	if want := 0.418 - 0.111; math.Abs(r.Value-want) > 1e-9 {
		t.Errorf("play %.5f, the means' difference is %.5f", r.Value, want)
	}
	if r.Strokes != 6 || len(r.Rests) != 7 || r.LeftOut != 0 {
		t.Errorf("%d strokes of %d rests, %d left out", r.Strokes, len(r.Rests), r.LeftOut)
	}
}

// A gauge of two readings a second gives two or three a hold; one that sends only
// on change is silent at the stops. Both give the play and cover it.
func TestSlowGaugesAndSilentOnes(t *testing.T) {
	for _, c := range []struct {
		name string
		g    simulate.Gauge
		hold [2]float64
	}{
		{"two readings a second", simulate.Gauge{Step: 0.01, Rate: 2, Jitter: 0.1, Offset: 1}, [2]float64{2.2, 3}},
		{"on change", simulate.Gauge{Step: 0.01, Rate: 10, OnChange: true, Offset: 1}, [2]float64{0.8, 1.6}},
	} {
		covered, done := 0, 0
		for seed := range uint64(40) {
			r := rand.New(rand.NewPCG(seed, 31))
			play := 0.08 + 0.3*r.Float64()
			h := simulate.Hand{Hold: c.hold, Stroke: [2]float64{0.2, 0.4}, Noise: 0.002}
			var p simulate.Path
			h.SetUp(&p, r, 2, 6)
			h.Rock(&p, r, 0, play, 14)
			mem := new(GaugeMemory)
			m, err := New(mmSpec(Play, c.g), mem, nil)
			if err != nil {
				t.Fatal(err)
			}
			res := run(t, m, mem, c.g.Read(&p, r), 0.01)
			if res == nil {
				continue
			}
			done++
			if math.Abs(res.Value-play) <= res.Budget.Combine().U95 {
				covered++
			}
		}
		if done < 38 || covered < done*9/10 {
			t.Errorf("%s: %d of 40 done, %d covered", c.name, done, covered)
		}
	}
}

// A play that never changes the reading is an upper bound, 0.78 of the step by the
// density 2 (1 - P/d)/d (1 - sqrt 0.05), never an invented number; and only where
// the gauge has moved in this set-up.
func TestAPlayUnderOneStepIsABound(t *testing.T) {
	s := Spec{Method: Play, Unit: quantity.MM, Gauge: Gauge{Step: 0.01, HasError: true}}
	mem := new(GaugeMemory)
	m, err := New(s, mem, nil)
	if err != nil {
		t.Fatal(err)
	}
	var out Out
	now := 0.0
	read := func(v float64) {
		now += 0.1
		mem.Reading(v, 0.01)
		m.Reading(Reading{Seq: uint64(10*now + 0.5), T: now, Value: v, Step: 0.01}, &out)
	}
	for range 20 {
		read(1.23)
	}
	m.Finish(now, &out)
	if out.Result != nil || len(out.Notes) == 0 || !strings.Contains(out.Notes[len(out.Notes)-1].Text, "has not moved") {
		t.Fatalf("a gauge that never moved gave %+v", out)
	}
	for _, v := range []float64{1.5, 1.9, 2.4, 1.7, 1.3} {
		read(v)
	}
	for range 40 {
		read(1.23)
	}
	m.Finish(now, &out)
	if out.Result != nil || !strings.Contains(out.Notes[len(out.Notes)-1].Text, "accept again") {
		t.Fatalf("one word passes a part that nobody may have rocked: %+v", out)
	}
	read(1.23)
	if m.Finish(now, &out); out.Result != nil {
		t.Fatal("so does a second one without time to rock it")
	}
	for range 30 {
		read(1.23)
	}
	m.Finish(now, &out)
	r := out.Result
	if r == nil || !r.Bound {
		t.Fatalf("no bound: %+v %+v", r, out.Notes)
	}
	if want := 0.01 * (1 - math.Sqrt(0.05)); math.Abs(r.Value-want) > 1e-7 {
		t.Errorf("bound %.6f, expected %.6f", r.Value, want)
	}
	c := r.Budget.Combine()
	if below := c.CDF(0); math.Abs(below-0.95) > 1e-6 || !c.UpperBound {
		t.Errorf("the play stays under the bound with %.4f", below)
	}
	v := metrology.Decide(r.Value, c, metrology.Limits{Low: math.Inf(-1), High: 0.01}, 0.95, metrology.Guarded)
	if v.Verdict != ledger.Pass {
		t.Errorf("a play under a step against a limit of a step: %v", v.Verdict)
	}
}

// A gauge near the end of its range stands as still as any rest.
func TestEndOfTravelIsAFault(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	h := simulate.Hand{Hold: [2]float64{0.6, 1.2}, Stroke: [2]float64{0.2, 0.5}, Noise: 0.001}
	g := simulate.Gauge{Step: 0.001, Rate: 10}
	var p simulate.Path
	h.SetUp(&p, r, 2, 6)
	h.Rock(&p, r, 9.7, 0.2, 20)
	s := mmSpec(Play, g)
	s.Gauge.RangeLow, s.Gauge.RangeHigh = -10, 10
	mem := new(GaugeMemory)
	m, err := New(s, mem, nil)
	if err != nil {
		t.Fatal(err)
	}
	if res := run(t, m, mem, g.Read(&p, r), 0.001); res != nil {
		t.Fatalf("a play of %.3f at the end of the travel", res.Value)
	}
	if why := m.Progress().Reason; !strings.Contains(why, "end of travel") {
		t.Errorf("reason %q", why)
	}
}

// A gauge of coarse steps shows one code and nothing else at each stop of a wide play.
// Rocked again at the same place, for another stage or once more, its stops are still
// stops and no end of the gauge's travel, however often they were come to.
func TestRockedAgainAtTheSamePlace(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	h := simulate.Hand{Hold: [2]float64{0.8, 1.2}, Stroke: [2]float64{0.2, 0.4}}
	g := simulate.Gauge{Step: 0.01, Rate: 10, Offset: 5}
	mem := new(GaugeMemory)
	for again := range 4 {
		m, err := New(mmSpec(Play, g), mem, nil)
		if err != nil {
			t.Fatal(err)
		}
		var p simulate.Path
		h.Rock(&p, r, 0.2, 0.4, 12)
		if res := run(t, m, mem, g.Read(&p, r), 0.01); res == nil || math.Abs(res.Value-0.4) > 0.01 {
			t.Fatalf("time %d: %+v, %+v", again+1, res, m.Progress())
		}
	}
}

// A gauge that hung free three times, at the end of its travel, and at one stop of the
// part stands there again, has lost the part.
func TestNoContactIsAFault(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	h := simulate.Hand{Hold: [2]float64{0.8, 1.2}, Stroke: [2]float64{0.2, 0.4}}
	g := simulate.Gauge{Step: 0.01, Rate: 10}
	var p simulate.Path
	for range 4 {
		p.Glide(0, 0.5)
		p.Hold(1, 0, 0)
		p.Glide(6, 0.7)
	}
	h.Rock(&p, r, 0.2, 0.4, 20)
	mem := new(GaugeMemory)
	m, err := New(mmSpec(Play, g), mem, nil)
	if err != nil {
		t.Fatal(err)
	}
	if res := run(t, m, mem, g.Read(&p, r), 0.01); res != nil {
		t.Fatalf("a play of %.3f with the gauge off the part", res.Value)
	}
	if why := m.Progress().Reason; !strings.Contains(why, "no contact") {
		t.Errorf("reason %q", why)
	}
}

// The stand sinks away on one side only, as an oval or loose stand does: the take
// is shown, and gives no verdict.
func TestTheStandMoved(t *testing.T) {
	s := Spec{Method: Play, Unit: quantity.MM, Strokes: 6, MaxStrokes: 6, Gauge: Gauge{Sends: ledger.OnPress, Step: 0.001, HasError: true}}
	m, err := New(s, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	var out Out
	for i, v := range []float64{0.100, 0.400, 0.102, 0.470, 0.099, 0.560, 0.101} {
		m.Reading(Reading{Seq: uint64(i + 1), T: 4 * float64(i), Value: v, Step: 0.001, Pressed: true}, &out)
	}
	// By hand: the high stops climb by 0.16, of which the fitted drift is 0.046;
	// what is left is more than a quarter of the play of 0.376.
	if out.Result == nil || out.Result.NoVerdict != "the stand moved" {
		t.Errorf("high stops that climb: %+v", out.Result)
	}
}

// Shaft less housing: the housing's own movement, which is twice the play, is
// gone from the result, whenever the two gauges happen to send.
func TestTwoGaugesSubtracted(t *testing.T) {
	// What each gauge moves itself is three and two times the play: more than the short
	// movement of which its certificate speaks.
	short := Gauge{HasErrorLocal: true, ErrorLocal: 1e-6, ErrorSpan: 0.2, HasError: true, Error: 0.0005}
	first, second := short, short
	first.Name, second.Name = "shaft", "housing"
	s := Spec{Method: Play, Unit: quantity.MM, Gauge: first, Minus: &second}
	mem, minus := new(GaugeMemory), new(GaugeMemory)
	m, err := New(s, mem, minus)
	if err != nil {
		t.Fatal(err)
	}
	const play = 0.1234
	r := rand.New(rand.NewPCG(8, 1))
	var out Out
	at := func(now float64) (shaft, housing float64) {
		phase := math.Mod(now, 2.4)
		side := math.Tanh(12*(phase-0.3)) - math.Tanh(12*(phase-1.5)) - 1
		if phase > 2.1 { // the next stroke begins at 2.4 + 0.3
			side = -1
		}
		housing = play * side // moves with the hand, ± a whole play
		return side*play/2 + housing + 0.4, housing - 0.9
	}
	round := func(v float64) float64 { return math.Round(v/0.001) * 0.001 }
	t1, t2, seq := 0.0, 0.03, uint64(0)
	for t1 < 60 && out.Result == nil {
		seq++
		if t1 <= t2 {
			shaft, _ := at(t1)
			mem.Reading(round(shaft), 0.001)
			m.Reading(Reading{Seq: seq, T: t1, Value: round(shaft + 0.0002*r.NormFloat64()), Step: 0.001}, &out)
			t1 += 0.09 + 0.02*r.Float64()
		} else {
			_, housing := at(t2)
			minus.Reading(round(housing), 0.001)
			m.Reading(Reading{Seq: seq, T: t2, Value: round(housing + 0.0002*r.NormFloat64()), Step: 0.001, Minus: true}, &out)
			t2 += 0.07 + 0.04*r.Float64()
		}
	}
	if out.Result == nil {
		t.Fatalf("no take: %+v", m.Progress())
	}
	c := out.Result.Budget.Combine()
	if math.Abs(out.Result.Value-play) > c.U95 || c.U95 > 0.004 {
		t.Errorf("%.4f ± %.4f, the shaft moves %.4f in its housing", out.Result.Value, c.U95, play)
	}
	errors := 0
	for _, p := range out.Result.Budget {
		if p.Name == metrology.PartError && p.Value == 2*short.Error {
			errors++
		}
	}
	if errors != 2 {
		t.Errorf("errors of %d gauges over their travel, of 2: %+v", errors, out.Result.Budget)
	}
}

// A gauge that sends when its button is pressed, and one beside a shaft that turns, are
// held against their own travel too.
func TestEachGaugesOwnTravel(t *testing.T) {
	short := Gauge{HasErrorLocal: true, ErrorLocal: 1e-6, ErrorSpan: 0.5, HasError: true, Error: 0.0005}
	for _, name := range []string{Play, RunOut} {
		pressed, second := short, short
		s := Spec{Method: name, Unit: quantity.MM, Gauge: pressed, Minus: &second}
		if name == Play {
			s.Gauge.Sends = ledger.OnPress
		}
		m, err := New(s, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		var out Out
		for i := range 41 {
			// Both move by a whole millimetre, and only 0.1 mm apart.
			at, side := float64(i), math.Cos(float64(i)*math.Pi)
			m.Reading(Reading{Seq: uint64(2*i + 1), T: at, Value: side / 2, Step: 0.001, Minus: true}, &out)
			m.Reading(Reading{Seq: uint64(2*i + 2), T: at, Value: side * 0.55, Step: 0.001, Pressed: name == Play}, &out)
			if out.Result != nil {
				break
			}
		}
		m.Finish(41, &out)
		if out.Result == nil || math.Abs(out.Result.Value-0.1) > 1e-9 {
			t.Fatalf("%s: %+v", name, out.Result)
		}
		whole := 0
		for _, p := range out.Result.Budget {
			if p.Name == metrology.PartError && p.Value == 2*short.Error {
				whole++
			}
		}
		if whole != 2 {
			t.Errorf("%s: errors of %d gauges over their travel, of 2: %+v", name, whole, out.Result.Budget)
		}
	}
}

// A press is a person's word that the reading stands, and not that the part was rocked.
func TestPressesToo(t *testing.T) {
	s := Spec{Method: Play, Unit: quantity.MM, Gauge: Gauge{Sends: ledger.OnPress, Step: 0.01, HasError: true}}
	mem := new(GaugeMemory)
	m, err := New(s, mem, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range []float64{1.5, 1.9, 2.4, 1.7, 1.3} {
		mem.Reading(v, 0.01)
	}
	var out Out
	press := func(at float64) {
		mem.Reading(1.23, 0.01)
		m.Reading(Reading{Seq: uint64(at), T: at, Value: 1.23, Step: 0.01, Pressed: true}, &out)
	}
	press(1)
	for _, at := range []float64{2, 8} { // nothing was pressed between the two
		if m.Finish(at, &out); out.Result != nil || !strings.Contains(out.Notes[len(out.Notes)-1].Text, "press at both stops") {
			t.Fatalf("an accept at %g s passes one press: %+v", at, out)
		}
	}
	press(10)
	press(12)
	if m.Finish(13, &out); out.Result == nil || !out.Result.Bound {
		t.Errorf("no bound: %+v %+v", out.Result, out.Notes)
	}
}

// Drag too: whichever way the gauge counts, whatever its unit and zero, too much
// is above and to be slackened, too little below and to be tightened.
func TestTooStiffAndTooFreeAreNeverConfused(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := rapid.SampledFrom([]quantity.Unit{quantity.N, quantity.Lbf}).Draw(t, "unit")
		sense := rapid.SampledFrom([]float64{1, -1}).Draw(t, "sense")
		low := rapid.Float64Range(3, 12).Draw(t, "low")
		high := low + rapid.Float64Range(2, 6).Draw(t, "width")
		where := rapid.SampledFrom([]string{WhereBelow, WhereAbove}).Draw(t, "where")
		force, way, side := low-1.5, Tighten, metrology.Below
		if where == WhereAbove {
			force, way, side = high+1.5, Slacken, metrology.Above
		}
		one, err := quantity.Convert(1, quantity.N, unit)
		if err != nil {
			t.Fatal(err)
		}
		s := Spec{Method: Drag, Unit: unit, Limits: metrology.Limits{Low: low * one, High: high * one}, Gauge: Gauge{HasError: true}}
		m, err := New(s, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 2))
		var out Out
		now, seq := 0.0, uint64(0)
		read := func(v float64) {
			seq++
			now += 0.1
			if out.Result == nil {
				m.Reading(Reading{Seq: seq, T: now, Value: sense * one * math.Round((v+0.02*r.NormFloat64())*100) / 100, Step: 0.01 * one}, &out)
			}
		}
		for range 20 {
			read(0)
		}
		for i := range 5 {
			read(1.3 * force * float64(i+1) / 5)
		}
		for range 60 {
			read(force)
		}
		for range 20 {
			read(0)
		}
		if out.Result == nil {
			t.Fatalf("no take: %q", m.Progress().Reason)
		}
		c := out.Result.Budget.Combine()
		checked, _ := s.checked()
		if g := Guidance(checked, Adjuster{}, out.Result.Value, c.U95); g.Where != where || g.Way != way || g.Turn != "" {
			t.Fatalf("%.2f N in %.2f..%.2f: %+v", force, low, high, g)
		}
		v := metrology.Decide(out.Result.Value, c, s.Limits, 0.95, metrology.Guarded)
		if v.Side != side || v.Verdict != ledger.Fail {
			t.Fatalf("%.2f N in %.2f..%.2f: verdict %+v", force, low, high, v)
		}
	})
}
