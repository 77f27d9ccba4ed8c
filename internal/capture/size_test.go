package capture

import (
	"slices"
	"strings"
	"testing"

	"thouwright/internal/ledger"
	"thouwright/internal/simulate"
)

const pinsJob = `
number = "P-1"

[[component]]
name = "axle"

  [[component.check]]
  name = "pins"
  method = "size"
  gauge = "dial-1"
  positions = ["left", "right"]
  advance = "at once"
`

// gauge takes the gauge away from where it stands and puts it on something of a size.
func (r *testRig) gauge(from, size float64) {
	var p simulate.Path
	p.Glide(from, 0.1)
	p.Glide(size+2, 0.5)
	p.Glide(size, 0.5)
	p.Hold(1.2, 0, 0)
	r.reads("dial-1", &p)
}

// The gauge stands on the first part long after its take: with advance = "at once" that
// is the place of the next one already, and no gauging of it.
func TestTheRestOnTheLastPartIsNoGaugingOfTheNext(t *testing.T) {
	r := rigOn(t, sheetOf(t, pinsJob, 1), Resume{})
	for range 3 {
		r.gauge(2, 2)
	}
	r.wantTakes(1)
	r.said = nil
	var p simulate.Path
	p.Glide(2, 0.1)
	p.Hold(5, 0, 0)
	r.reads("dial-1", &p)
	if len(r.said) != 0 {
		t.Errorf("nobody has moved the gauge, and heard is %v", r.said)
	}
	for k, size := range []float64{2.001, 2.002, 2.001} { // so alike that one would take the other's place
		r.wantTakes(1)
		r.gauge(2, size)
		if n := r.c.at; k < 2 && n != 1 {
			t.Fatalf("after %d gaugings of the second it is at place %d", k+1, n)
		}
	}
	r.wantTakes(2)
	if k := r.tks[1]; k.Strokes != 3 {
		t.Errorf("the second size is of %d gaugings: %+v", k.Strokes, k.Rests)
	}
}

const bushJob = `
number = "P-2"

[[component]]
name = "bush"

  [[component.check]]
  name = "bore"
  method = "size"
  gauge = "dial-1"
  master = "30.000 mm"
  expect = "29..31 mm"
  positions = ["upper", "lower"]
`

// asked is how often a word that asks for something was said.
func (r *testRig) asked(what string) (n int) {
	for i, k := range r.said {
		if k == SaidStep && strings.Contains(r.words[i], what) {
			n++
		}
	}
	return n
}

// A person with both hands on the gauge hears that the master is wanted: once, when the
// part is gauged, and the page says it too, in place of an earlier gauging's reason.
func TestTheMasterIsAskedForAloud(t *testing.T) {
	r := rigOn(t, sheetOf(t, bushJob, 1), Resume{})
	for _, size := range []float64{0.012, 0.012, 0.05, 0.012, 0.012} { // one askew: left out, with a reason
		if r.asked("master") != 0 {
			t.Fatal("asked for before the part is gauged")
		}
		r.gauge(size, size)
	}
	if !slices.Contains(r.said, SaidLeftOut) {
		t.Error("what was set askew is not left out")
	}
	var l ledger.Live
	r.c.Live(&l)
	if n := r.asked("master"); n != 1 || l.Active.Say != "now look at the master again" || l.Active.Reason != "" {
		t.Errorf("asked aloud %d times; the page says %q, %q", n, l.Active.Say, l.Active.Reason)
	}
	r.gauge(0.012, 0)
	r.wantTakes(1)
	r.gauge(0, 0.2)
	if n := r.asked("master"); n != 1 {
		t.Errorf("asked %d times for one take", n)
	}
}

// Between part and master the gauge is laid down where it was laid before, and nothing
// is said of its zero. A master that reads elsewhere twice is heard, and the part is
// gauged anew from the zero as it is set then.
func TestAMovedZeroIsHeardAndALaidDownGaugeIsNot(t *testing.T) {
	r := rigOn(t, sheetOf(t, bushJob, 1), Resume{})
	goes := func(sizes ...float64) {
		for _, v := range sizes {
			r.gauge(v, v)
		}
	}
	goes(0.012, 1.5, 0.012, 1.5, 0.012, 1.5, 0.7, 1.5)
	if slices.Contains(r.said, SaidCaution) || r.asked("zero") != 0 {
		t.Errorf("laid down twice between part and master: %v %q", r.said, r.words)
	}
	goes(-0.3)
	r.wantTakes(0)
	goes(1.5, -0.3)
	if r.asked("the zero has moved") != 1 || r.evs[len(r.evs)-1].Kind != ledger.EvDropped {
		t.Errorf("the zero moved by 0.3 mm: %q, events %v", r.words, r.evs)
	}
	if err := r.do(ledger.Command{Do: ledger.DoAccept}); err == nil || !strings.Contains(err.Error(), "the zero has moved") {
		t.Errorf("accepted with the gauge on its master: %v", err)
	}
	goes(0)
	r.wantTakes(0)
	goes(0.312, 0.312, 0.312, 0)
	r.wantTakes(1)
	if k := r.tks[0]; k.Result < 30.31 || k.Result > 30.314 || r.asked("now look") != 2 {
		t.Errorf("the bore is %.4f: %q", k.Result, r.words)
	}
}
