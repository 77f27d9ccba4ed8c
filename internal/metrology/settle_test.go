package metrology

import (
	"fmt"
	"strings"
	"testing"

	"thouwright/internal/quantity"
)

// A derived value names the input that leaves it open, and how well that has to be
// known; where no one input is enough, all of them.
func TestSettleOfADerivedValue(t *testing.T) {
	ask := func(value, bush, pin float64) string {
		in := []Input{{Name: `bush["upper"]`, Value: 30, Gauge: "bore", Budget: Budget{Gauss(PartScatter, bush), Rect(PartError, 0.0001)}},
			{Name: `pin["upper"]`, Value: 30 - value, Gauge: "mic", Budget: Budget{Gauss(PartError, pin)}}}
		// Twice the half of a bush is a bush: what it is known to is its own, not its share.
		in[0].Value, in[0].Budget[0].U, in[0].Budget[1].U = in[0].Value/2, bush/2, in[0].Budget[1].U/2
		p, err := Propagate(func(v []float64) (float64, error) { return 2*v[0] - v[1], nil }, in, true, 1)
		if err != nil {
			t.Fatal(err)
		}
		return Settle(Question{Value: p.Value, Combined: p.Combined, Limits: Limits{0.009, 0.050}, Confidence: 0.95, Method: "derived", Unit: quantity.MM,
			Inputs: map[string]float64{in[0].Name: in[0].Budget.Combine().U95, in[1].Name: in[1].Budget.Combine().U95}})
	}
	// 0.005 mm to the limit is 1.645 u at u = 3.04 µm, of which the pin has 1: the bush
	// may have the root of 3.04² - 1, 2.87 µm, and has 4: twice that are 5.6 and 7.8, and
	// half of them are its own.
	if s := ask(0.045, 0.004, 0.001); s != `bush["upper"] known to 0.003 mm instead of 0.004` {
		t.Errorf("one poor input: %q", s)
	}
	// Each alone leaves 4 µm, and only 3.04 would do.
	if s := ask(0.045, 0.004, 0.0041); !strings.HasPrefix(s, "the result known to 0.006 mm instead of 0.011: measure closer") {
		t.Errorf("two poor inputs: %q", s)
	}
}

// What is advised is of use: a proof where its figure would count and is not given,
// and no strokes of what has none.
func TestSettleAdvisesWhatHelps(t *testing.T) {
	b := Budget{Gauss(PartScatter, 0.001), Rect(PartStep, 0.0005), Rect(PartError, 0.02)}
	q := Question{Value: 31.98, Combined: b.Combine(), Limits: Limits{31.975, 31.991}, Confidence: 0.95, Method: "size", Step: 0.001, Unit: quantity.MM}
	if s := Settle(q); s != "a truer gauge, or a master nearer to the size: its error, not its step, leaves this open" {
		t.Errorf("a direct size: %q", s)
	}
	q.Method, q.Provable = "play", true
	if s := Settle(q); s != "a proof of the gauge over a short movement: its error, not its step, leaves this open" {
		t.Errorf("a play: %q", s)
	}
	for method, want := range map[string]string{"size": "steadier gauging", "run-out": "a slower turn", "drag": "a steadier pull", "play": "steadier strokes"} {
		c := Budget{Gauss(PartRepeatability, 0.01)}.Combine()
		if s := Settle(Question{Value: 1.01, Combined: c, Limits: Limits{1, 2}, Confidence: 0.95, Method: method, Unit: quantity.NM}); !strings.HasSuffix(s, want) {
			t.Errorf("%s: %q", method, s)
		}
	}
}

// What it has to come down to never reads like what it is.
func TestSettleNamesTwoFigures(t *testing.T) {
	for _, value := range []float64{1.0815, 1.0818, 1.082} { // of a limit of 1, u = 0.05
		c := Budget{Gauss(PartRepeatability, 0.05)}.Combine()
		s := Settle(Question{Value: value, Combined: c, Limits: Limits{1, 9}, Confidence: 0.95, Unit: quantity.MM})
		var to, now string
		if _, err := fmt.Sscanf(s, "the result known to %s mm instead of %s", &to, &now); err != nil || to == strings.TrimSuffix(now, ":") {
			t.Errorf("%q (%v)", s, err)
		}
	}
}
