package capture

import (
	"testing"

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
