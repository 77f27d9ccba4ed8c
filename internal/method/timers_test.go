package method

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
	"thouwright/internal/simulate"
)

// A timer that was told its own deadline is not due again at that moment:
// whoever drives the machine would never get past it, and no reading would be
// taken in any more.
func TestTimersGoOff(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sends := rapid.SampledFrom([]ledger.Sends{ledger.Streams, ledger.OnChange, ledger.OnPress})
		s := Spec{Method: rapid.SampledFrom([]string{Play, EndPlay, Size, RunOut, Drag}).Draw(t, "method"), Unit: quantity.MM,
			Gauge: Gauge{Name: "a", HasError: true, Sends: sends.Draw(t, "sends")}}
		s.ExpectLow, s.ExpectHigh = math.Inf(-1), math.Inf(1)
		if rapid.Bool().Draw(t, "two gauges") {
			s.Minus = &Gauge{Name: "b", HasError: true, Sends: sends.Draw(t, "the second sends")}
		}
		m, err := New(s, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		// As long as a service runs: there a microsecond is only a few times what a
		// number in seconds can tell apart.
		now := rapid.SampledFrom([]int64{0, 1e9, 1e13, 1e14}).Draw(t, "began")
		gap := rapid.OneOf(rapid.Int64Range(0, 3e5), rapid.Int64Range(0, 4e6))
		value := rapid.OneOf(rapid.Float64Range(-0.002, 0.002), rapid.Float64Range(-1, 1))
		var out Out
		for i := range rapid.IntRange(1, 60).Draw(t, "readings") {
			now += gap.Draw(t, "gap")
			at := float64(now) / 1e6
			before := math.Inf(-1)
			for n, d := 0, m.Deadline(); d <= at && out.Result == nil; d = m.Deadline() {
				if d > before { // the next of several: each reading that waits has its own
					n, before = 0, d
				}
				if n++; n > 10 {
					t.Fatalf("the timer due at %v goes off again and again", d)
				}
				m.Tick(d, &out)
			}
			if out.Result != nil {
				return
			}
			m.Reading(Reading{Seq: uint64(i + 1), T: at, Value: value.Draw(t, "value"), Step: 0.001,
				Minus: s.Minus != nil && rapid.Bool().Draw(t, "of the second"), Pressed: s.Gauge.Sends == ledger.OnPress}, &out)
		}
	})
}

// Two gauges that send only on change, and the housing stands: the shaft's
// readings wait for the second gauge, but their waiting is no rest of the shaft.
func TestWaitingIsNoRest(t *testing.T) {
	const play = 0.1237
	r := rand.New(rand.NewPCG(5, 2))
	h := simulate.Hand{Hold: [2]float64{0.7, 1.2}, Stroke: [2]float64{0.5, 0.9}, Noise: 0.0004}
	g := simulate.Gauge{Step: 0.001, Rate: 10, OnChange: true}
	var p simulate.Path
	h.SetUp(&p, r, 2, 6)
	h.Rock(&p, r, 0.3, play, 14)
	second := Gauge{Name: "housing", HasError: true, Sends: ledger.OnChange}
	s := mmSpec(Play, g)
	s.Minus = &second
	mem := new(GaugeMemory)
	m, err := New(s, mem, nil)
	if err != nil {
		t.Fatal(err)
	}
	var out Out
	m.Reading(Reading{Seq: 1, T: 0, Value: -0.9, Step: 0.001, Minus: true}, &out)
	res := run(t, m, mem, g.Read(&p, r), 0.001)
	if res == nil {
		t.Fatalf("no take: %+v", m.Progress())
	}
	c := res.Budget.Combine()
	if math.Abs(res.Value-play) > c.U95 || c.U95 > 0.004 || res.LeftOut > 1 {
		t.Errorf("%.4f ± %.4f with %d strokes left out, expected %.4f", res.Value, c.U95, res.LeftOut, play)
	}
}
