package method

import (
	"testing"

	"thouwright/internal/quantity"
)

// rockOn moves between two stops for the given time, ten readings a second, a
// second at each, from time t on; it tells when the gate opened, or 0.
func rockOn(g *Gate, t, low, high, seconds, digit float64, wildAt int) float64 {
	for i := 0; i < int(10*seconds); i++ {
		t += 0.1
		v := low
		if i/10%2 == 1 {
			v = high
		}
		if i == wildAt {
			v += 5
		}
		g.Reading(Reading{Seq: uint64(i), T: t, Value: v, Step: digit})
		g.Tick(t)
		if g.Open() {
			return t
		}
	}
	return 0
}

// Rocking on after the sound opens nothing, however small the play and whatever
// single reading goes astray on the way; moving the gauge and stillness do.
func TestTheGateStaysShutWhileRockingGoesOn(t *testing.T) {
	for _, c := range []struct {
		play, digit float64
	}{{0.6, 0.01}, {0.05, 0.0001}, {0.02, 0.01}, {0.0095, 0.0001}, {0.004, 0.001}} {
		fresh := func() *Gate { return NewGate(Spec{Method: Play, Unit: quantity.MM}, &Result{Value: c.play}) }
		if at := rockOn(fresh(), 0, 1, 1+c.play, 60, c.digit, -1); at != 0 {
			t.Errorf("play %v: rocking on opened the gate after %.1f s", c.play, at)
		}
		if at := rockOn(fresh(), 0, 1, 1+c.play, 60, c.digit, 37); at != 0 {
			t.Errorf("play %v: one wild reading opened the gate after %.1f s", c.play, at)
		}
		if at := rockOn(fresh(), 0, 1, 1+c.play, 60, c.digit, 0); at != 0 {
			t.Errorf("play %v: a wild first reading opened the gate after %.1f s", c.play, at)
		}
		g := fresh()
		rockOn(g, 0, 1, 1+c.play, 5, c.digit, -1)
		if at := rockOn(g, 5, 1, 1, 5, c.digit, -1); at < 6.9 || at > 7.5 {
			t.Errorf("play %v: three seconds of stillness from 4.1 s on opened it at %.1f s", c.play, at)
		}
		g = fresh()
		rockOn(g, 0, 1, 1+c.play, 5, c.digit, -1)
		if at := rockOn(g, 5, 4, 4+c.play, 5, c.digit, -1); at == 0 || at > 5.3 {
			t.Errorf("play %v: a movement of 3 mm at 5 s opened it at %.1f s", c.play, at)
		}
	}
}

// A slow hand's hold at a stop is no stillness: the gate waits for longer than it held
// during the take, and still opens when the hand is gone.
func TestTheGateWaitsForASlowHand(t *testing.T) {
	g := NewGate(Spec{Method: Play, Unit: quantity.MM}, &Result{Value: 0.05, Hold: 4})
	at := 0.0
	for i := range 6 {
		if at = rockOn(g, 5*float64(i), 1+0.05*float64(i%2), 1+0.05*float64(i%2), 5, 0.001, -1); at != 0 {
			t.Fatalf("a hold of five seconds, after holds of four, opened the gate at %.1f s", at)
		}
	}
	if at = rockOn(g, 30, 1, 1, 10, 0.001, -1); at < 35.5 || at > 36.5 {
		t.Errorf("six seconds of stillness from 30 s on opened it at %.1f s", at)
	}
}
