package method

import (
	"math"
	"math/rand/v2"
	"testing"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
	"thouwright/internal/simulate"
)

// run feeds a machine and its gauge's memory as the capture loop does: time
// passes at each deadline, then the reading comes.
func run(t testing.TB, m Machine, mem *GaugeMemory, readings []simulate.Reading, digit float64) *Result {
	t.Helper()
	var out Out
	for i, r := range readings {
		for d := m.Deadline(); d < r.T; d = m.Deadline() {
			out.Reset()
			m.Tick(d, &out)
			if out.Result != nil {
				return out.Result
			}
		}
		mem.Reading(r.Value, digit)
		out.Reset()
		m.Reading(Reading{Seq: uint64(i + 1), T: r.T, Value: r.Value, Step: digit}, &out)
		if out.Result != nil {
			return out.Result
		}
	}
	return nil
}

func mmSpec(method string, g simulate.Gauge) Spec {
	s := Spec{Method: method, Unit: quantity.MM, Gauge: Gauge{Name: "g", HasError: true}}
	if g.OnChange {
		s.Gauge.Sends = ledger.OnChange
	}
	return s
}

func TestPlayOfAPlainTake(t *testing.T) {
	for _, onChange := range []bool{false, true} {
		r := rand.New(rand.NewPCG(1, 2))
		h := simulate.Hand{Hold: [2]float64{0.6, 1.2}, Stroke: [2]float64{0.2, 0.5}, Noise: 0.0004, Bounce: 0.003, Creep: 0.0005}
		g := simulate.Gauge{Step: 0.001, Rate: 10, Noise: 0.0002, OnChange: onChange, Offset: 3.2, Drift: 0.00001}
		var p simulate.Path
		h.SetUp(&p, r, 2, 8)
		h.Rock(&p, r, 0.3, 0.0873, 14)
		mem := new(GaugeMemory)
		m, err := New(mmSpec(Play, g), mem, nil)
		if err != nil {
			t.Fatal(err)
		}
		res := run(t, m, mem, g.Read(&p, r), 0.0001)
		if res == nil {
			t.Fatalf("on change %v: no take", onChange)
		}
		u := res.Budget.Combine().U95
		if math.Abs(res.Value-0.0873) > u || u > 0.0026 {
			t.Errorf("on change %v: play %.4f ± %.4f, the truth is 0.0873", onChange, res.Value, u)
		}
		if res.Strokes != 8 || res.LeftOut != 0 { // six, and two more because the stops scatter
			t.Errorf("on change %v: %d strokes, %d left out", onChange, res.Strokes, res.LeftOut)
		}
	}
}

// A rest lasts as long, and takes as many readings, as the bench file says.
func TestHowLongARestLasts(t *testing.T) {
	h := simulate.Hand{Hold: [2]float64{0.7, 0.75}, Stroke: [2]float64{0.3, 0.4}, Noise: 0.0005}
	g := simulate.Gauge{Step: 0.001, Rate: 10}
	for _, c := range []struct {
		seconds float64
		count   int
		made    bool
	}{{0, 0, true}, {0.5, 5, true}, {1.2, 3, false}, {0.35, 12, false}} {
		r := rand.New(rand.NewPCG(6, 1))
		var p simulate.Path
		h.Rock(&p, r, 0, 0.1, 16)
		s := mmSpec(Play, g)
		s.RestSeconds, s.RestCount = c.seconds, c.count
		mem := new(GaugeMemory)
		m, err := New(s, mem, nil)
		if err != nil {
			t.Fatal(err)
		}
		if res := run(t, m, mem, g.Read(&p, r), 0.001); (res != nil) != c.made {
			t.Errorf("holds of 0.7 s and 7 readings, rests of %v s and %d: a take was made: %v", c.seconds, c.count, res != nil)
		}
	}
}
