package method

import (
	"math"
	"strings"
	"testing"
)

// onMaster is a gauge set to a ring of 30 mm. Gaugings 4 µm apart agree, and a zero
// that has moved by 20 µm is charged.
func onMaster(t *testing.T) *sizer {
	t.Helper()
	return newSizer(t, Spec{HasMaster: true, Master: 30, Sense: 1, ExpectLow: 29, ExpectHigh: 31, Gauge: Gauge{HasError: true}}, 0.001)
}

// said counts the notes of a kind whose text holds some words.
func (z *sizer) said(k NoteKind, words string) (n int) {
	for _, note := range z.notes {
		if note.Kind == k && strings.Contains(note.Text, words) {
			n++
		}
	}
	return n
}

// A master that comes back far from zero has moved: the part's gaugings are given up,
// and the zero set anew closes nothing that was gauged from the old one.
func TestAMovedZeroComesBack(t *testing.T) {
	z := onMaster(t)
	for range 3 {
		z.gauge(0.07)
	}
	z.gauge(0.3)
	if n := z.said(NextStep, "the zero has moved"); n != 0 || z.said(StrokeLeftOut, "not near zero") != 1 {
		t.Errorf("a rest that may be anything: said %d times, notes %+v", n, z.notes)
	}
	z.gauge(1.2) // laid down between
	z.gauge(0.301)
	if n := z.said(NextStep, "the zero has moved"); n != 1 || z.said(DroppedTake, "the zero has moved") != 1 {
		t.Fatalf("the master read the same twice: said %d times, notes %+v", n, z.notes)
	}
	if z.m.Finish(z.now, &z.out); z.out.Result != nil {
		t.Fatalf("accepted while the gauge stands on its master: %+v", z.out.Result)
	}
	z.gauge(0) // set to the master
	for k := range 3 {
		if z.out.Result != nil {
			t.Fatalf("%d gaugings from the new zero made %+v", k, z.out.Result)
		}
		z.gauge(-0.23)
	}
	z.gauge(0)
	r := z.out.Result
	if r == nil {
		t.Fatalf("no size from the new zero: %+v", z.m.Progress())
	}
	near(t, "the bore", r.Value, 29.77)
	if z.said(NextStep, askMaster) != 2 {
		t.Errorf("the part was gauged twice; notes %+v", z.notes)
	}
}

// With a button as without one: what is gauged anew is no longer in the way of an accept.
func TestAPressAfterAMovedZeroIsTheSize(t *testing.T) {
	z := onMaster(t)
	for _, v := range []float64{0.07, 0.3, 1.2, 0.301} {
		z.read(v, true)
	}
	if z.said(DroppedTake, "the zero has moved") != 1 {
		t.Fatalf("the master read the same twice: %+v", z.notes)
	}
	z.read(-0.23, true)
	if p := z.m.Progress(); p.Say != askMaster || p.Reason != "" {
		t.Errorf("gauged anew: says %q, %q", p.Say, p.Reason)
	}
	if z.m.Finish(z.now, &z.out); z.out.Result == nil {
		t.Fatal("not accepted")
	}
	near(t, "the bore", z.out.Result.Value, 29.77)
}

// Whoever finds the zero off and sets it there and then has no closure: the gauge had no
// time to go anywhere. One that goes there is looked at as ever, also past a wild zero.
func TestAZeroSetOnTheMasterIsNoClosure(t *testing.T) {
	for _, at := range []float64{0.3, 0.012} { // on the master, and on the part itself
		z := onMaster(t)
		for range 3 {
			z.gauge(0.012)
		}
		z.gauge(at)
		for range 20 {
			z.read(0, false)
		}
		if z.out.Result != nil || z.said(NextStep, "the zero has moved") != 1 {
			t.Errorf("set to zero at %.3f mm: %+v, notes %+v", at, z.out.Result, z.notes)
		}
	}
	z := onMaster(t)
	for range 3 {
		z.gauge(0.012)
	}
	z.gauge(0.3)
	z.read(0, false) // wild
	for range 5 {
		z.read(0.3, false)
	}
	z.read(0.12, false)
	for range 10 {
		z.read(0, false)
	}
	if r := z.out.Result; r == nil || z.said(DroppedTake, "") != 0 {
		t.Errorf("the master at zero: %+v", z.notes)
	}
}

// A gauge that stands open, or is laid down where it was laid before, is no moved zero,
// however often; nor is a place where it lay but once.
func TestAGaugeLaidDownIsNoMovedZero(t *testing.T) {
	for _, laid := range []float64{0.8, 5} { // 5: not what is expected of the part
		z := onMaster(t)
		for range 3 {
			z.gauge(0.012)
			if z.said(NextStep, askMaster) == 0 {
				z.gauge(laid)
			}
		}
		for _, v := range []float64{laid, -2, laid, 0.4, laid + 0.001, 0.6, laid} {
			z.gauge(v)
		}
		if z.out.Result != nil {
			t.Fatal("a gauge laid down closed the take")
		}
		for _, k := range []NoteKind{NextStep, Caution, DroppedTake} {
			if n := z.said(k, "zero"); n != 0 {
				t.Errorf("laid down at %g it said %d times of the zero: %+v", laid, n, z.notes)
			}
		}
		z.gauge(0.001)
		if r := z.out.Result; r == nil || r.Strokes != 3 {
			t.Errorf("after the master %+v", r)
		}
	}
}

// Where the place opens the gauge already lies somewhere: that is known too.
func TestWhereTheGaugeLayAtFirstIsNoMovedZero(t *testing.T) {
	z := onMaster(t)
	for range 20 {
		z.read(0.8, false)
	}
	for _, v := range []float64{0.012, 0.012, 0.012, 0.8, 0.8, 0.8} {
		z.gauge(v)
	}
	if n := z.said(NextStep, "the zero has moved"); n != 0 {
		t.Errorf("said %d times: %+v", n, z.notes)
	}
}

// A part that does not repeat may be gauged once more anywhere among its gaugings.
func TestAPartThatVariesIsNoMovedZero(t *testing.T) {
	z := onMaster(t)
	for _, v := range []float64{0.10, 0.16, 0.22, 0.13, 0.25, 0.19, 0.115, 0.235, 0.205} {
		z.gauge(v)
	}
	if z.said(NextStep, askMaster) != 1 {
		t.Fatalf("not gauged: %+v", z.m.Progress())
	}
	for range 3 {
		z.gauge(0.145)
	}
	if n := z.said(Caution, "the part once more"); n != 3 || z.said(DroppedTake, "") != 0 {
		t.Errorf("said %d times: %+v", n, z.notes[len(z.notes)-6:])
	}
	z.gauge(0)
	if r := z.out.Result; r == nil || r.Strokes != 9 {
		t.Errorf("%+v", r)
	}
}

// One gauging may join two heaps to one part, of more gaugings than are waited for: what
// is wanted is then never below what there is.
func TestHeapsThatJoinWantNoMore(t *testing.T) {
	z := onMaster(t)
	for _, v := range []float64{0.10, 0.16, 0.22, 0.13, 0.25, 0.19, 0.115, 0.38, 0.44, 0.50, 0.41, 0.53, 0.47, 0.395, 0.315} {
		z.gauge(v)
	}
	if p := z.m.Progress(); p.Say != askMaster || p.Wanted < p.Strokes {
		t.Errorf("says %q, %d of %d", p.Say, p.Strokes, p.Wanted)
	}
}

// A closure within what agrees is any gauging's; one beyond it is charged, and never
// without a word.
func TestAClosureBeyondWhatAgreesIsSaid(t *testing.T) {
	for _, c := range []struct {
		zero float64
		said int
	}{{0.004, 0}, {-0.004, 0}, {0.005, 1}, {-0.02, 1}} {
		z := onMaster(t)
		for range 3 {
			z.gauge(0.2)
		}
		z.gauge(c.zero)
		r := z.out.Result
		if r == nil {
			t.Fatalf("%.3f closes nothing", c.zero)
		}
		// By hand: |closure|/sqrt 3 of a rectangle as wide as it both ways.
		near(t, "closure", z.part(PartClosure), math.Abs(c.zero)/math.Sqrt(3))
		if n := z.said(Caution, "the zero has moved"); n != c.said || strings.Contains(r.Note, "the zero has moved") != (c.said > 0) {
			t.Errorf("zero at %.3f: said %d times, note %q", c.zero, n, r.Note)
		}
	}
}

// A bore gauge waved about turns twice at one place by luck; rocked in its ring it turns
// there swing by swing.
func TestAWavedGaugeIsNoMovedZero(t *testing.T) {
	z := newSizer(t, Spec{HasMaster: true, Master: 30, Sense: 1, Turning: "least", Gauge: Gauge{Step: 0.001, HasError: true}}, 0.001)
	swing := func(at float64) {
		for i := range 21 {
			a := float64(i-10) / 10
			z.read(at+0.2*a*a, false)
		}
	}
	for range 4 {
		swing(0.012)
	}
	for _, at := range []float64{0.7, 1.2, 0.701, 0.9} {
		swing(at)
	}
	if z.said(NextStep, askMaster) != 1 || z.said(NextStep, "the zero has moved") != 0 {
		t.Fatalf("waved about it says %+v", z.notes)
	}
	for range 3 {
		swing(-0.3)
	}
	swing(1)
	if z.said(NextStep, "the zero has moved") != 1 {
		t.Errorf("the ring three times at -0.3 mm: %+v", z.notes)
	}
}
