package method

import (
	"math/rand/v2"
	"testing"

	"thouwright/internal/quantity"
	"thouwright/internal/simulate"
)

// stream is a long stretch of readings: rocking without end, or a hand that
// wanders about.
func stream(rocking bool) []simulate.Reading {
	r := rand.New(rand.NewPCG(9, 9))
	h := simulate.Hand{Hold: [2]float64{0.6, 1.2}, Stroke: [2]float64{0.2, 0.5}, Noise: 0.001, Bounce: 0.003}
	var p simulate.Path
	if rocking {
		h.Rock(&p, r, 0.3, 0.0873, 4000)
	} else {
		h.SetUp(&p, r, 2, 6000)
	}
	g := simulate.Gauge{Step: 0.001, Rate: 10, Noise: 0.0002}
	return g.Read(&p, r)
}

func benchmarkPlay(b *testing.B, rocking bool) {
	readings := stream(rocking)
	mem := new(GaugeMemory)
	var m Machine
	var out Out
	takes := 0
	b.ReportAllocs()
	b.ResetTimer()
	base := 0.0
	for i := range b.N {
		k := i % len(readings)
		if k == 0 {
			base += readings[len(readings)-1].T
		}
		if m == nil {
			m, _ = New(Spec{Method: Play, Unit: quantity.MM, Gauge: Gauge{HasError: true}}, mem, nil)
		}
		x := readings[k]
		mem.Reading(x.Value, 0.001)
		out.Notes = out.Notes[:0]
		m.Reading(Reading{Seq: uint64(i + 1), T: base + x.T, Value: x.Value, Step: 0.001}, &out)
		if out.Result != nil {
			takes++
			m, out.Result = nil, nil
		}
	}
	b.ReportMetric(float64(takes)/float64(b.N)*1e6, "takes/Mreading")
}

// The cost of a reading in motion and method together; a replay of a million
// readings a second leaves it 200 ns.
func BenchmarkPlayRocking(b *testing.B)   { benchmarkPlay(b, true) }
func BenchmarkPlayWandering(b *testing.B) { benchmarkPlay(b, false) }
