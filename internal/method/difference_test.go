package method

import (
	"math"
	"testing"

	"thouwright/internal/metrology"
)

// A movement longer than the one that error_local was given for is charged with as many of
// them as it holds, unless the whole travel's error is known; with nothing, a step.
func TestTheErrorOfALongerMovement(t *testing.T) {
	local := Gauge{ErrorLocal: 0.003, HasErrorLocal: true, ErrorSpan: 0.25}
	both := local
	both.Error, both.HasError = 0.01, true
	for _, x := range []struct {
		name string
		g    Gauge
		move float64
		want metrology.Part
	}{
		{"within the span", local, -0.25, metrology.Rect(metrology.PartError, 0.003)},
		{"just beyond", local, 0.26, metrology.Rect(metrology.PartError, 0.006)},
		{"four of them", local, 1.0, metrology.Rect(metrology.PartError, 0.012)},
		{"five", local, -1.001, metrology.Rect(metrology.PartError, 0.015)},
		{"the whole travel's known", both, 1.0, metrology.Tri(metrology.PartError, 0.02)},
		{"no span", Gauge{ErrorLocal: 0.003, HasErrorLocal: true}, 9, metrology.Rect(metrology.PartError, 0.003)},
		{"nothing", Gauge{}, 0.1, metrology.Rect(metrology.PartErrorAssumed, 0.001)},
	} {
		got := differenceError(x.g, x.move, 0.001)
		if got.Name != x.want.Name || got.Shape != x.want.Shape || math.Abs(got.U-x.want.U) > 1e-15 {
			t.Errorf("%s: %+v, want %+v", x.name, got, x.want)
		}
	}
}
