package method

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
	"thouwright/internal/simulate"
)

// A machine made in the memory of another one, whatever that one was and
// wherever it stopped, says what a fresh machine says.
func TestAgainKnowsNothingOfTheSpentMachine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spec := func(label string) Spec {
			s := Spec{Unit: quantity.MM, Gauge: Gauge{HasError: true}, ExpectLow: -5, ExpectHigh: 5,
				Method:  rapid.SampledFrom([]string{Play, EndPlay, Play, Size, RunOut}).Draw(t, label+" method"),
				Strokes: rapid.SampledFrom([]int{4, 6, 12}).Draw(t, label+" strokes")}
			s.Gauge.Sends = rapid.SampledFrom([]ledger.Sends{ledger.Streams, ledger.OnChange, ledger.OnPress}).Draw(t, label+" sends")
			if rapid.Bool().Draw(t, label+" minus") {
				s.Minus = &Gauge{HasError: true}
			}
			return s
		}
		run := func(m Machine, mem *GaugeMemory, s Spec, readings []simulate.Reading) (said []string) {
			var out Out
			for i, r := range readings {
				for d := m.Deadline(); d < r.T; d = m.Deadline() {
					m.Tick(d, &out)
				}
				mem.Reading(r.Value, 0.001)
				if s.Minus != nil {
					m.Reading(Reading{T: r.T, Value: 0.1, Step: 0.001, Minus: true}, &out)
				}
				m.Reading(Reading{Seq: uint64(i + 1), T: r.T, Value: r.Value, Step: 0.001, Pressed: s.Gauge.Sends == ledger.OnPress}, &out)
				if i%16 == 0 {
					said = append(said, fmt.Sprintf("%+v", m.Progress()))
				}
				if out.Result != nil {
					break
				}
			}
			return append(said, fmt.Sprintf("%+v %+v", out.Notes, out.Result))
		}
		hand := func(label string) []simulate.Reading {
			r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, label+" seed"), 1))
			h := simulate.Hand{Hold: [2]float64{0.5, 4}, Stroke: [2]float64{0.2, 0.5}, Noise: 0.002 * r.Float64(), Short: 0.05}
			var p simulate.Path
			h.SetUp(&p, r, 2, 4)
			h.Rock(&p, r, 0, 0.1, rapid.IntRange(0, 16).Draw(t, label+" strokes made"))
			return simulate.Gauge{Step: 0.001, Rate: 10, Noise: 0.0003}.Read(&p, r)
		}
		before, s := spec("spent"), spec("new")
		spent, err := New(before, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		run(spent, new(GaugeMemory), before, hand("spent"))
		readings := hand("new")
		freshMem, againMem := new(GaugeMemory), new(GaugeMemory)
		fresh, err := New(s, freshMem, nil)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Again(spent, s, againMem, nil)
		if err != nil {
			t.Fatal(err)
		}
		said, saidAgain := run(fresh, freshMem, s, readings), run(again, againMem, s, readings)
		if !slices.Equal(said, saidAgain) {
			t.Fatalf("fresh: %v\nagain: %v", said, saidAgain)
		}
	})
}
