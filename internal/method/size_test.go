package method

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/motion"
	"thouwright/internal/quantity"
	"thouwright/internal/simulate"
)

// sizer feeds a size's machine by hand: ten readings a second.
type sizer struct {
	t     *testing.T
	m     Machine
	out   Out
	now   float64
	seq   uint64
	step  float64
	notes []Note
}

func newSizer(t *testing.T, s Spec, step float64) *sizer {
	t.Helper()
	s.Method, s.Unit = Size, quantity.MM
	m, err := New(s, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	return &sizer{t: t, m: m, step: step}
}

func (z *sizer) read(v float64, pressed bool) {
	z.seq++
	z.now += 0.1
	z.out.Notes = z.out.Notes[:0]
	if z.out.Result == nil {
		z.m.Reading(Reading{Seq: z.seq, T: z.now, Value: math.Round(v/z.step) * z.step, Step: z.step, Pressed: pressed}, &z.out)
		z.notes = append(z.notes, z.out.Notes...)
	}
}

// gauge takes the part away and puts it on again.
func (z *sizer) gauge(v float64) {
	for _, off := range []float64{1, 2, 3, 2, 1} {
		z.read(v+off, false)
	}
	for range 10 {
		z.read(v, false)
	}
}

func (z *sizer) part(name string) (u float64) {
	for _, p := range z.out.Result.Budget {
		if p.Name == name {
			u = math.Hypot(u, p.U)
		}
	}
	return u
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-9 {
		t.Errorf("%s is %.9f, by hand %.9f", what, got, want)
	}
}

func TestThreeGaugingsMakeASize(t *testing.T) {
	z := newSizer(t, Spec{ExpectLow: 29, ExpectHigh: 31, Gauge: Gauge{HasError: true, Error: 0.002}}, 0.001)
	z.gauge(29.981)
	z.gauge(25) // something else on the table
	if r := z.m.Progress().Reason; !strings.Contains(r, "not counted") {
		t.Errorf("after something else it says %q", r)
	}
	z.gauge(29.982)
	if r := z.m.Progress().Reason; r != "" {
		t.Errorf("after a gauging that counts it still says %q", r)
	}
	if z.out.Result != nil {
		t.Fatal("two gaugings made a size")
	}
	z.gauge(29.983)
	if z.out.Result == nil {
		t.Fatal("three agreeing gaugings made none")
	}
	near(t, "the size", z.out.Result.Value, 29.982)
	// By hand: s = 0.001 of three, so s/sqrt 3; the step once, d/sqrt 12; the
	// certificate's bound of a reading, a/sqrt 3.
	near(t, "scatter", z.part(metrology.PartScatter), 0.001/math.Sqrt(3))
	near(t, "step", z.part(metrology.PartStep), 0.001/math.Sqrt(12))
	near(t, "gauge error", z.part(metrology.PartError), 0.002/math.Sqrt(3))
	left := 0
	for _, n := range z.notes {
		if n.Kind == StrokeLeftOut && strings.Contains(n.Text, "expected") {
			left++
		}
	}
	if left != 1 {
		t.Errorf("what was not this part was left out %d times, expected once", left)
	}
}

// Where a place opens while the gauge still stands on the part before, that rest is no
// gauging of this one, however long it lasts or trembles: it was not reached from movement.
func TestARestThatWasThereBeforeIsNoGauging(t *testing.T) {
	z := newSizer(t, Spec{Gauge: Gauge{HasError: true}}, 0.001)
	for k := range 40 {
		z.read(29.981+0.001*float64(k/10%2), false)
	}
	if p := z.m.Progress(); p.Strokes != 0 || len(z.notes) != 0 {
		t.Fatalf("the gauge has not moved, and it says %q, notes %+v", p.Say, z.notes)
	}
	for k := range 3 {
		if z.out.Result != nil {
			t.Fatalf("a size of %d gaugings", k)
		}
		z.gauge(29.981) // put on anew it may well be the same size
	}
	if r := z.out.Result; r == nil || r.Strokes != 3 || r.FirstSeq <= 40 {
		t.Errorf("three gaugings after it: %+v", r)
	}
}

func TestGaugingsThatDisagreeAreNoSize(t *testing.T) {
	z := newSizer(t, Spec{Gauge: Gauge{HasError: true}}, 0.001)
	for _, v := range []float64{10, 10.02, 10.04, 10.06} {
		z.gauge(v)
	}
	if z.out.Result != nil {
		t.Fatalf("sizes 20 µm apart made %v", z.out.Result.Value)
	}
}

// A micrometer is closed on its anvil, closed on the part, opened and laid down, over
// and over, and the sheet does not say what to expect: the part's gaugings add up, what
// lies between does not matter, and the zero is told apart from the part.
func TestAPartIsFoundAmongFreeRests(t *testing.T) {
	open := metrology.Limits{Low: math.Inf(-1), High: math.Inf(1)}
	z := newSizer(t, Spec{Limits: open, Gauge: Gauge{HasError: true}}, 0.001)
	for k, v := range []float64{30.001, 30.002, 30.001} {
		z.gauge(0.001)
		z.gauge(v)
		if k < 2 {
			if z.out.Result != nil {
				t.Fatalf("%d gaugings made a size", k+1)
			}
			z.gauge(34 + 3.3*float64(k))
		}
	}
	r := z.out.Result
	if r == nil {
		t.Fatalf("three gaugings among free rests made no size: %+v", z.m.Progress())
	}
	near(t, "the size", r.Value, 30.0013333333)
	if r.Strokes != 3 || r.LeftOut != 0 || len(r.Rests) != 3 {
		t.Errorf("%d used, %d left out, rests %+v", r.Strokes, r.LeftOut, r.Rests)
	}
	// A shim's limits reach down to where a closed gauge stands: there it is a size.
	z = newSizer(t, Spec{Limits: metrology.Limits{Low: 0.01, High: 0.03}, Gauge: Gauge{HasError: true}}, 0.001)
	for range 3 {
		z.gauge(0.015)
	}
	if z.out.Result == nil {
		t.Error("a shim of 15 µm is no size")
	}
}

// A micrometer of half a thou is opened by a fifth of a millimetre between gaugings,
// sixteen of its steps: that is not the part gauged badly.
func TestACoarseGaugeOpenedALittle(t *testing.T) {
	z := newSizer(t, Spec{Gauge: Gauge{Step: 0.0127, HasError: true}}, 0.0127)
	for k := range 3 {
		z.gauge(30 * 1.0003)
		if k < 2 {
			z.gauge(30*1.0003 + 0.2 + 0.03*float64(k))
		}
	}
	if r := z.out.Result; r == nil || r.Strokes != 3 || r.LeftOut != 0 || math.Abs(r.Value-30.009) > 0.0127 {
		t.Fatalf("%+v, %+v", r, z.m.Progress())
	}
}

// A gauging that was set askew is left out, with its reason, and asks for one more.
func TestASlipAsksForOneMore(t *testing.T) {
	z := newSizer(t, Spec{Gauge: Gauge{HasError: true}}, 0.001)
	for _, v := range []float64{30.030, 30.001, 30.002, 30.001} {
		z.gauge(v)
	}
	if z.out.Result != nil {
		t.Fatal("three of four made a size")
	}
	if p := z.m.Progress(); p.Wanted != 4 || p.Strokes != 3 || p.LeftOut != 1 {
		t.Errorf("wanted 4, has 3, left out 1: %+v", p)
	}
	z.gauge(30.002)
	r := z.out.Result
	if r == nil {
		t.Fatal("four of five made none")
	}
	near(t, "the size", r.Value, 30.0015)
	if r.LeftOut != 1 || len(r.Rests) != 5 || r.Rests[0].Used || r.Rests[0].Reason == "" {
		t.Errorf("left out %d, rests %+v", r.LeftOut, r.Rests)
	}
}

// An oval shaft, gauged anywhere around it, does not repeat: after nine gaugings that is
// the finding, with all of them shown.
func TestGaugingsThatNeverAgreeAreShown(t *testing.T) {
	z := newSizer(t, Spec{Gauge: Gauge{HasError: true}}, 0.001)
	for _, v := range []float64{30.000, 30.020, 30.010, 30.025, 30.005, 30.015, 30.030, 30.001} {
		z.gauge(v)
	}
	if z.out.Result != nil {
		t.Fatal("made a size too soon")
	}
	if p := z.m.Progress(); p.Wanted != p.Strokes+1 {
		t.Errorf("the next ends it, and it says %d of %d", p.Strokes, p.Wanted)
	}
	z.gauge(30.021)
	r := z.out.Result
	if r == nil || !strings.Contains(r.Note, "do not agree") || r.Strokes != 9 {
		t.Fatalf("%+v", r)
	}
	if u := r.Budget.Combine().U95; u < 0.007 { // s = 11 µm of nine, t = 2.3
		t.Errorf("±%.4f mm of gaugings 30 µm apart", u)
	}
}

// However wide a hand scatters, its gaugings are of one part: each lies near another,
// where the outermost do not lie near the last.
func TestGaugingsFarApartAreOnePart(t *testing.T) {
	z := newSizer(t, Spec{Gauge: Gauge{HasError: true}}, 0.001)
	for k, v := range []float64{30.000, 30.060, 30.120, 30.030, 30.150, 30.090, 30.015, 30.135, 30.105} {
		z.gauge(v)
		z.gauge(33 + float64(k))
	}
	if r := z.out.Result; r == nil || r.Strokes != 9 || r.LeftOut != 0 {
		t.Fatalf("%+v, %+v", r, z.m.Progress())
	}
}

// On a coarse gauge three places where it was laid down may agree by luck; where another
// stop came back more often, that one is the part.
func TestFreeRestsThatAgreeAreNoPart(t *testing.T) {
	z := newSizer(t, Spec{Gauge: Gauge{HasError: true}}, 0.0254)
	for k, v := range []float64{30, 30.1, 30.2, 30.3} {
		z.gauge(v)
		if k > 0 {
			z.gauge(33)
		}
	}
	if z.out.Result != nil {
		t.Fatalf("made %v", z.out.Result.Value)
	}
	z.gauge(33)
	if z.out.Result == nil {
		t.Error("a stop that came back as often as any makes no size")
	}
}

// By hand: the scatter of gaugings that agree is their own; beside it goes what agrees
// and a step where they do not, and where that is more than the scatter, as much again.
func TestScatterOfGaugings(t *testing.T) {
	for _, c := range []struct {
		at   []float64
		want float64
	}{
		{[]float64{0, 2, 4}, 2},
		{[]float64{0, 12, 24}, 13},                   // 12² + 5² = 13²
		{[]float64{0, 3, 6}, 3 * math.Sqrt2},         // 3² + 3²
		{[]float64{-5, 5, -5, 5, 0}, 5 * math.Sqrt2}, // 100/4 + 5²
	} {
		var rests []motion.Rest
		for _, v := range c.at {
			rests = append(rests, motion.Rest{Value: v})
		}
		near(t, "the scatter", scatter(rests, 4, 1), c.want)
	}
}

func TestOnePressIsASize(t *testing.T) {
	z := newSizer(t, Spec{Gauge: Gauge{HasError: true}}, 0.001)
	z.read(12.3, false)
	z.read(12.345, true)
	if z.out.Result == nil || math.Abs(z.out.Result.Value-12.345) > 1e-9 {
		t.Fatalf("one press made %+v", z.out.Result)
	}
}

// A bore gauge set to a ring of 30.000 mm reads +12 µm, counting up as the bore
// grows, or −12 µm where it counts the other way: 30.012 mm. Its zero is looked at
// again: 2 µm, which is stored and charged whole.
func TestAMasterAndItsClosure(t *testing.T) {
	for _, sense := range []int{1, -1} {
		z := newSizer(t, Spec{HasMaster: true, Master: 30, MasterU95: 0.001 * metrology.Normal95, Sense: sense, Gauge: Gauge{HasErrorLocal: true, ErrorLocal: 0.003, ErrorSpan: 0.1}}, 0.001)
		for range 3 {
			z.gauge(float64(sense) * 0.012)
		}
		if z.out.Result != nil {
			t.Fatal("done before the master was looked at again")
		}
		if say := z.m.Progress().Say; !strings.Contains(say, "master") {
			t.Errorf("says %q", say)
		}
		z.gauge(float64(sense) * 0.012) // not heard
		z.gauge(0.002)
		r := z.out.Result
		if r == nil {
			t.Fatal("no result after the master")
		}
		asked := 0
		for _, n := range z.notes {
			if n.Kind == NextStep {
				asked++
			}
		}
		if asked != 1 {
			t.Errorf("the master was asked for %d times", asked)
		}
		near(t, "the bore", r.Value, 30.012)
		near(t, "master", z.part(metrology.PartMaster), 0.001)
		near(t, "closure", z.part(PartClosure), 0.002/math.Sqrt(3))
		near(t, "setting", z.part(PartSetting), 0.0005/math.Sqrt(3))
		near(t, "local error", z.part(metrology.PartError), 0.003/math.Sqrt(3))
		if len(r.Extras) != 1 || r.Extras[0].Quantity != "closure" || math.Abs(r.Extras[0].Value-0.002) > 1e-9 {
			t.Errorf("extras %+v", r.Extras)
		}
	}
}

// The part gauged once more where the master was asked for is no closure.
func TestThePartIsNotItsMaster(t *testing.T) {
	z := newSizer(t, Spec{HasMaster: true, Master: 30, Sense: 1, Gauge: Gauge{HasErrorLocal: true, ErrorLocal: 0.001}}, 0.001)
	z.gauge(0) // set to the master
	for range 4 {
		z.gauge(0.012)
	}
	if z.out.Result != nil {
		t.Fatalf("the part was taken for the master: %+v", z.out.Result.Extras)
	}
	if p := z.m.Progress(); !strings.Contains(p.Reason, "the part once more") {
		t.Errorf("says %q", p.Reason)
	}
	z.gauge(-0.001)
	r := z.out.Result
	if r == nil {
		t.Fatal("no result after the master")
	}
	near(t, "the bore", r.Value, 30.012)
	near(t, "closure", r.Extras[0].Value, -0.001)
	if len(r.Rests) != 3 {
		t.Errorf("rests %+v", r.Rests)
	}
}

// A zero that has moved far is no closure: the whole is to be done again. What is
// neither near zero nor near the part is something else.
func TestAZeroThatMoved(t *testing.T) {
	for _, c := range []struct {
		zero float64
		want string
	}{{0.08, "not the master"}, {0.3, "the zero has moved"}} {
		z := newSizer(t, Spec{HasMaster: true, Master: 30, Sense: 1, Gauge: Gauge{HasError: true}}, 0.001)
		for range 3 {
			z.gauge(0.07)
		}
		z.gauge(c.zero)
		if z.out.Result != nil {
			t.Fatalf("a zero at %.3f closed the take", c.zero)
		}
		if why := z.m.Progress().Reason; !strings.Contains(why, c.want) {
			t.Errorf("zero at %.3f: %q, expected %q", c.zero, why, c.want)
		}
	}
	z := newSizer(t, Spec{HasMaster: true, Master: 30, Sense: 1, Gauge: Gauge{HasError: true}}, 0.001)
	for range 3 {
		z.gauge(0.07)
	}
	z.m.Finish(z.now, &z.out)
	if r := z.out.Result; r == nil || !strings.Contains(r.Note, "not looked at again") {
		t.Errorf("accepted without the master: %+v", r)
	}
}

// A bore gauge is rocked through the square position: it reads least (or, by its
// build, most) there. The turning points of three swings are the gaugings.
func TestARockedBoreGaugeReadsAtItsTurningPoint(t *testing.T) {
	for _, turning := range []string{"least", "most"} {
		way := 1.0
		if turning == "most" {
			way = -1
		}
		z := newSizer(t, Spec{Turning: turning, Gauge: Gauge{HasError: true}}, 0.001)
		for i := range 400 {
			// 50 mm between the feet, rocked by 3 degrees: it reads 50/cos(angle).
			angle := 3 * math.Pi / 180 * math.Cos(2*math.Pi*float64(i)/40)
			z.read(way*(50/math.Cos(angle)-50)+50.020, false)
		}
		if z.out.Result == nil {
			t.Fatalf("%s: no size from ten swings", turning)
		}
		if math.Abs(z.out.Result.Value-50.020) > 0.0011 {
			t.Errorf("%s: %.4f, square it is 50.020", turning, z.out.Result.Value)
		}
	}
}

func TestAButtonGaugeGaugesByItsPresses(t *testing.T) {
	z := newSizer(t, Spec{HasMaster: true, Master: 20, Sense: 1, Gauge: Gauge{Sends: ledger.OnPress, HasError: true}}, 0.01)
	z.read(0.13, true)
	z.read(0.01, true)
	if z.out.Result == nil || math.Abs(z.out.Result.Value-20.13) > 1e-9 || len(z.out.Result.Extras) != 1 {
		t.Errorf("two presses, part and master: %+v", z.out.Result)
	}
}

// A bore gauge rocked through its turning point sends ten readings a second, none of
// them at the very moment. The true least size lies within U95 all the same, whether
// it is rocked slowly or fast or held a moment at the turn.
func TestARockedGaugeTurnsBetweenReadings(t *testing.T) {
	for name, c := range map[string]struct{ seconds, hold, least, most float64 }{
		"slowly": {3, 0, 0.0004, 0.0010}, "fast": {1, 0, 0.0008, 0.0030}, "held": {1, 0.6, 0.0004, 0.0010},
	} {
		r := rand.New(rand.NewPCG(30, 1))
		const n = 400
		made, inside := 0, 0
		sum := 0.0
		for range n {
			truth := 30.01 + 0.001*r.Float64()
			z := newSizer(t, Spec{Turning: "least", Gauge: Gauge{Step: 0.001, HasError: true}}, 0.001)
			var p simulate.Path
			p.Glide(truth+0.15, 0.1)
			for range 8 {
				p.Glide(truth, c.seconds*(0.8+0.4*r.Float64()))
				if c.hold > 0 {
					p.Hold(c.hold, 0, 0)
				}
				p.Glide(truth+0.1+0.1*r.Float64(), c.seconds)
			}
			for _, x := range (simulate.Gauge{Step: 0.001, Rate: 10}).Read(&p, r) {
				z.now = x.T - 0.1
				z.read(x.Value, false)
			}
			res := z.out.Result
			if res == nil {
				continue
			}
			made++
			u := res.Budget.Combine().U95
			sum += u
			if math.Abs(res.Value-truth) <= u {
				inside++
			}
		}
		mean := sum / float64(made)
		t.Logf("%s: %d of %d takes, %.1f %% within U95, ±%.2f µm", name, made, n, 100*float64(inside)/float64(made), 1000*mean)
		if made < n*95/100 || inside < made*94/100 || mean < c.least || mean > c.most {
			t.Errorf("rocked %s: %d takes of %d, %d hold the truth, ±%.4f mm", name, made, n, inside, mean)
		}
	}
}

// A bore gauge that is held in the air turns too, by far more in a tenth of a second
// than one that is rocked in its bore: that is no part of the size.
func TestAGaugeMovedAboutInTheAirLeavesNothingOpen(t *testing.T) {
	z := newSizer(t, Spec{Turning: "least", Gauge: Gauge{Step: 0.001, HasError: true}, ExpectLow: 29.9, ExpectHigh: 30.1}, 0.001)
	for swing := range 5 {
		for i := range 20 { // in the air
			z.read(31.2+0.3*math.Sin(float64(i+swing)*2.4), false)
		}
		for i := range 41 { // in the bore, half a micrometre from reading to reading at its turning point
			a := float64(i-20) / 20
			z.read(30.012+0.2*a*a, false)
		}
	}
	if z.out.Result == nil {
		t.Fatal("no size from five swings")
	}
	if v := z.out.Result.Value; math.Abs(v-30.012) > 0.001 {
		t.Errorf("%.4f mm, want 30.012", v)
	}
	if u := z.part(PartTurning); u > 0.001 {
		t.Errorf("%.4f mm of the size are said to be open where the gauge turns", u)
	}
}
