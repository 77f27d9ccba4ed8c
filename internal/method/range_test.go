package method

import (
	"math"
	"testing"

	"thouwright/internal/quantity"
)

// A gauge's range is of its own readings: of two gauges the difference may lie anywhere,
// and each of the two has to stand inside its own.
func TestARangeIsOfEachGaugesReadings(t *testing.T) {
	for _, name := range []string{Play, RunOut} {
		for _, c := range []struct {
			first, second float64 // where the gauges stand
			want          bool
		}{
			{3, 5, true}, {5, 5, true}, {8, 2, true}, // 3 less 5 is outside of 0..10, and nothing is wrong
			{9.9, 5, false}, {0.1, 5, false}, // 9.9 less 5 is in the middle of it, and the first gauge is at its end
			{5, 3.9, false}, {5, 0.05, false}, // the second one goes to 4 only … or is at its start
		} {
			far := 10.0
			if c.second < 4 && !c.want {
				far = 4
			}
			first := Gauge{RangeHigh: 10, HasError: true, Step: 0.001}
			second := Gauge{RangeHigh: far, HasError: true, Step: 0.001}
			mem, minus := new(GaugeMemory), new(GaugeMemory)
			m, err := New(Spec{Method: name, Unit: quantity.MM, Gauge: first, Minus: &second}, mem, minus)
			if err != nil {
				t.Fatal(err)
			}
			var out Out
			dropped, seq := 0, uint64(0)
			for now := 0.0; now < 25 && out.Result == nil; now += 0.1 {
				phase := math.Mod(now, 2.4)
				play := 0.1
				if phase > 1.2 {
					play = 0
				}
				for k, v := range [2]float64{c.first + play, c.second + play/10} {
					seq++
					m.Reading(Reading{Seq: seq, T: now + 0.01*float64(k), Value: math.Round(v*1000) / 1000, Step: 0.001, Minus: k == 1}, &out)
				}
				for _, n := range out.Notes {
					if n.Kind == DroppedTake {
						dropped++
					}
				}
				out.Notes = out.Notes[:0]
			}
			if name == RunOut {
				m.Finish(25, &out)
			}
			good := out.Result != nil && out.Result.NoVerdict == "" && dropped == 0
			if good != c.want {
				t.Errorf("%s, gauges at %v and %v: %d dropped, result %+v", name, c.first, c.second, dropped, out.Result)
			}
		}
	}
}
