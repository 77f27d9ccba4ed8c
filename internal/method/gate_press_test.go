package method

import (
	"testing"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// After a size the next place opens a second later for a gauge that sends only
// when its button is pressed; a press within that second is one too many. The
// button of a gauge that streams opens it, too.
func TestThePressOpensTheNextPlace(t *testing.T) {
	done := &Result{Value: 30, T: 100}
	spec := func(sends ledger.Sends) Spec {
		return Spec{Method: Size, Unit: quantity.MM, Gauge: Gauge{Sends: sends, Step: 0.001}}
	}
	press := func(at float64) Reading { return Reading{T: at, Value: 30.1, Step: 0.001, Pressed: true} }

	g := NewGate(spec(ledger.OnPress), done)
	if g.Reading(press(100.4)); g.Open() || g.Deadline() > 101.5 {
		t.Errorf("a press after 0.4 s: open %t, due at %v", g.Open(), g.Deadline())
	}
	if g.Tick(g.Deadline()); !g.Open() {
		t.Error("not open a second later")
	}
	g = NewGate(spec(ledger.Streams), done)
	if g.Reading(press(100.4)); g.Open() {
		t.Error("a press after 0.4 s opened it")
	}
	if g.Reading(press(101.2)); !g.Open() {
		t.Error("a press after 1.2 s did not open it")
	}
	// A play is gone on with after its sound, pressed or not.
	play := spec(ledger.Streams)
	play.Method = Play
	g = NewGate(play, &Result{Value: 0.1, T: 100})
	if g.Reading(press(105)); g.Open() {
		t.Error("a press opened the place after a play")
	}
}
