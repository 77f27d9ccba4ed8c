package method

import (
	"math"
	"math/rand/v2"
	"testing"

	"thouwright/internal/quantity"
)

// A hand that lets go between pulls stands still in mid-turn, for longer than a turn needs
// readings. What is left after the last of those rests is no turn, and passes no rim: of
// the quickest turns, two seconds without the rests, two in a hundred come out small (of
// 15 when the last rest was taken for the end of the set-up).
func TestRestsInMidTurnDoNotCutIt(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{40, 80, 160, 320} {
		for _, R := range []float64{0.03, 0.05, 0.2, 0.5} {
			bad, none, over := 0, 0, 0
			const N = 400
			for range N {
				m, _ := New(Spec{Method: RunOut, Unit: quantity.MM, Gauge: Gauge{HasError: true}}, nil, nil)
				var out Out
				at, seq := 0.0, uint64(0)
				read := func(v float64) {
					seq++
					at += 0.05
					m.Reading(Reading{Seq: seq, T: at, Value: math.Round((v+0.0004*r.NormFloat64())*1000) / 1000, Step: 0.001}, &out)
				}
				ph := 2 * math.Pi * r.Float64()
				f := func(i int) float64 { return 1 + R/2*math.Cos(2*math.Pi*float64(i)/float64(n)+ph) }
				// The plunger is let down on it.
				for _, v := range []float64{9, 9, 9, 9, 7.2, 5, 3.1, 1.4} {
					read(v)
				}
				for range 30 {
					read(f(0))
				}
				next := n/8 + r.IntN(n/4)
				for i := range n {
					read(f(i))
					if i == next {
						for range 10 + r.IntN(40) {
							read(f(i))
						}
						next += n/8 + r.IntN(n/4)
					}
				}
				for range r.IntN(60) {
					read(f(0))
				}
				m.Finish(at, &out)
				switch {
				case out.Result == nil:
					none++
				case out.Result.Value < 0.95*R-0.002:
					bad++
				case out.Result.Value > 1.05*R+0.004:
					over++
				}
			}
			if bad > N*3/100 || n >= 160 && bad > 0 || none > N*3/100 || over > 0 {
				t.Errorf("run-out %v in %d readings: of %d takes %d come out small, %d large, %d not at all", R, n, N, bad, over, none)
			}
		}
	}
}
