package metrology

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"thouwright/internal/ledger"
)

func difference(x []float64) (float64, error) { return x[0] - x[1], nil }
func sum2(x []float64) (float64, error)       { return x[0] + x[1], nil }

func propagated(t *testing.T, f func([]float64) (float64, error), smooth bool, in ...Input) Propagated {
	t.Helper()
	p, err := Propagate(f, in, smooth, 1)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// JCGM 100, 5.2.2: what is shared adds with its sign, the rest in squares.
func TestSharedMaster(t *testing.T) {
	in := func(name, master string) Input {
		return Input{Name: name, Value: 30, Master: master, Budget: Budget{Gauss(PartScatter, 3), Rect(PartMaster, 4*math.Sqrt(3))}}
	}
	// One master: its error cancels in a difference and doubles in a sum.
	near(t, "difference", propagated(t, difference, true, in("bush", "m"), in("pin", "m")).Combined.U, math.Sqrt(18), 1e-9)
	near(t, "sum", propagated(t, sum2, true, in("bush", "m"), in("pin", "m")).Combined.U, math.Sqrt(18+64), 1e-9)
	// Two masters: neither.
	near(t, "two masters", propagated(t, difference, true, in("bush", "m"), in("pin", "n")).Combined.U, math.Sqrt(18+32), 1e-9)
	near(t, "no name", propagated(t, difference, true, in("bush", ""), in("pin", "")).Combined.U, math.Sqrt(18+32), 1e-9)
}

// One gauge at two places of its travel: none and full correlation are tried,
// the wider stands.
func TestSharedGauge(t *testing.T) {
	in := func(name, gauge string) Input {
		return Input{Name: name, Value: 30, Gauge: gauge, Budget: Budget{Gauss(PartScatter, 3), Rect(PartError, 4*math.Sqrt(3))}}
	}
	near(t, "difference", propagated(t, difference, true, in("bush", "g"), in("pin", "g")).Combined.U, math.Sqrt(18+32), 1e-9)
	near(t, "sum", propagated(t, sum2, true, in("bush", "g"), in("pin", "g")).Combined.U, math.Sqrt(18+64), 1e-9)
	near(t, "two gauges", propagated(t, sum2, true, in("bush", "g"), in("pin", "h")).Combined.U, math.Sqrt(18+32), 1e-9)
	// So are the arm at which one gauge pulls twice, and its plunger's angles: a mean of
	// two does not make them smaller, and in a difference nothing is sure to cancel.
	for _, part := range []string{PartArm, PartAngles} {
		at := func(name, gauge string) Input {
			return Input{Name: name, Value: 30, Gauge: gauge, Budget: Budget{Gauss(PartScatter, 3), Gauss(part, 4)}}
		}
		near(t, part+", sum", propagated(t, sum2, true, at("a", "g"), at("b", "g")).Combined.U, math.Sqrt(18+64), 1e-9)
		near(t, part+", difference", propagated(t, difference, true, at("a", "g"), at("b", "g")).Combined.U, math.Sqrt(18+32), 1e-9)
		near(t, part+", two gauges", propagated(t, sum2, true, at("a", "g"), at("b", "h")).Combined.U, math.Sqrt(18+32), 1e-9)
	}
	// Each part by itself: with f = a - b + c the errors of a and b on one gauge
	// stay apart, the hysteresis of a and c adds.
	mixed := []Input{
		{Name: "a", Gauge: "g", Budget: Budget{Rect(PartError, math.Sqrt(3)), Rect(PartHysteresis, math.Sqrt(3))}},
		{Name: "b", Gauge: "g", Budget: Budget{Rect(PartError, math.Sqrt(3))}},
		{Name: "c", Gauge: "g", Budget: Budget{Rect(PartHysteresis, math.Sqrt(3))}},
	}
	p := propagated(t, func(x []float64) (float64, error) { return x[0] - x[1] + x[2], nil }, true, mixed...)
	near(t, "parts by themselves", p.Combined.U, math.Sqrt(2+4), 1e-9)
	// Two parts of one name in one input are two gauges' (minus), never added.
	two := Input{Name: "a", Gauge: "g", Budget: Budget{Rect(PartError, math.Sqrt(3)), Rect(PartError, math.Sqrt(3))}}
	near(t, "minus gauge", propagated(t, sum2, true, two, Input{Name: "b"}).Combined.U, math.Sqrt2, 1e-9)
	// Monte Carlo does the same.
	p = propagated(t, sum2, false, in("bush", "g"), in("pin", "g"))
	if !p.Sampled {
		t.Error("not smooth, and no Monte Carlo")
	}
	near(t, "sum by Monte Carlo", p.Combined.U, math.Sqrt(18+64), 0.1)
	m := Input{Name: "a", Master: "m", Budget: Budget{Rect(PartMaster, 1)}}
	near(t, "master by Monte Carlo", propagated(t, difference, false, m, m).Combined.U, 0, 0)
}

// A ring for the bore gauge and a plug for the shaft's, both of 30 mm, are two masters:
// what is wrong with one does not cancel what is wrong with the other. Of a sum it may
// be one all the same.
func TestTwoMastersOfOneSize(t *testing.T) {
	in := func(name, gauge string) Input {
		return Input{Name: name, Value: 30, Master: "30 mm", Gauge: gauge, Budget: Budget{Gauss(PartMaster, 4)}}
	}
	for _, smooth := range []bool{true, false} {
		near(t, "ring and plug", propagated(t, difference, smooth, in("bush", "bore-1"), in("pin", "dial-1")).Combined.U, math.Sqrt(32), 0.05)
		near(t, "their sum", propagated(t, sum2, smooth, in("bush", "bore-1"), in("pin", "dial-1")).Combined.U, 8, 0.05)
		near(t, "one ring", propagated(t, difference, smooth, in("upper", "bore-1"), in("lower", "bore-1")).Combined.U, 0, 1e-9)
	}
}

// On a straight function Monte Carlo and the convolution agree.
func TestMonteCarloAgrees(t *testing.T) {
	in := []Input{
		{Name: "a", Value: 2, Budget: Budget{Student(PartScatter, 1, 5), Tri(PartStep, 1)}},
		{Name: "b", Value: 1, Budget: Budget{Rect(PartError, 2), Gauss("n", 0.5)}},
	}
	f := func(x []float64) (float64, error) { return 3*x[0] - 2*x[1] + 7, nil }
	exact := propagated(t, f, true, in...)
	drawn := propagated(t, f, false, in...)
	if exact.Sampled || !drawn.Sampled {
		t.Fatalf("sampled %v and %v", exact.Sampled, drawn.Sampled)
	}
	if exact.Value != 11 || drawn.Value != 11 {
		t.Errorf("values %v and %v, want 11", exact.Value, drawn.Value)
	}
	near(t, "U95", drawn.Combined.U95/exact.Combined.U95, 1, 0.015)
	for _, p := range []float64{0.01, 0.05, 0.5, 0.9, 0.99} {
		near(t, "P", exact.Combined.CDF(drawn.Combined.Quantile(p)), p, 0.004)
	}
	again := propagated(t, f, false, in...)
	if again.Combined.U95 != drawn.Combined.U95 {
		t.Error("the same seed gives another result")
	}
	below, within, above := drawn.Combined.Prob(11, 9, 13)
	near(t, "sum of probabilities", below+within+above, 1, 1e-12)
	if len(drawn.Budget) != 2 {
		t.Errorf("budget %v", drawn.Budget)
	}
}

func TestFirstOrderGivenUp(t *testing.T) {
	in := Input{Name: "a", Value: 0, Budget: Budget{Gauss("n", 1)}}
	square := func(x []float64) (float64, error) { return x[0] * x[0], nil }
	p := propagated(t, square, true, in) // first order would say 0 ± 0
	if !p.Sampled || p.Combined.U95 < 3.5 {
		t.Errorf("a square about zero: sampled %v, U95 %v", p.Sampled, p.Combined.U95)
	}
	near(t, "mean of a square", p.Mean, 1, 0.03)
	far := in
	far.Value = 1000
	if p := propagated(t, square, true, far); p.Sampled {
		t.Error("a square far from zero is straight enough")
	}
	// An upper bound is no estimate: drawn as what it is.
	b := Bound(1, nil)
	p = propagated(t, sum2, true, Input{Name: "play", Value: b.Value, Budget: b.Budget}, Input{Name: "x", Value: 0})
	if !p.Sampled {
		t.Error("a bound went through first order")
	}
	near(t, "mean of a bound", p.Mean, b.Mean, 0.005)
	// No uncertainty at all.
	p = propagated(t, difference, false, Input{Value: 3}, Input{Value: 1})
	if p.Value != 2 || p.Combined.U95 != 0 {
		t.Errorf("exact inputs: %+v", p.Value)
	}
	no := errors.New("no")
	if _, err := Propagate(func([]float64) (float64, error) { return 0, no }, []Input{in}, true, 1); !errors.Is(err, no) {
		t.Errorf("an error of the function: %v", err)
	}
	part := 0
	if _, err := Propagate(func([]float64) (float64, error) {
		if part++; part > 1 {
			return 0, no
		}
		return 1, nil
	}, []Input{in}, true, 1); !errors.Is(err, no) {
		t.Errorf("an error away from the value: %v", err)
	}
}

// The least of two clearances, near each other: U95 holds the truth as often as
// it says.
func TestMinimumHolds(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	least := func(x []float64) (float64, error) { return math.Min(x[0], x[1]), nil }
	held, n := 0, 40
	for i := range n {
		a, b := 5+r.Float64(), 5+r.Float64()
		in := make([]Input, 2)
		for k, x := range []float64{a, b} {
			in[k] = Input{Name: "x", Value: x + 0.5*r.NormFloat64() + (2*r.Float64() - 1), Budget: Budget{Gauss("n", 0.5), Rect("r", 1)}}
		}
		p, err := Propagate(least, in, false, uint64(i))
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(p.Value-math.Min(a, b)) <= p.Combined.U95 {
			held++
		}
	}
	if share := float64(held) / float64(n); share < 0.85 {
		t.Errorf("U95 holds the least of two in %.3f", share)
	}
}

// Verdicts over many takes with known truth: of the passes given to plays
// spread evenly across a limit at most one in twenty is bad, likewise fails.
func TestVerdictsKeepTheirPromise(t *testing.T) {
	r := rand.New(rand.NewPCG(106, 1))
	for name, b := range map[string]Budget{
		"scatter": {Gauss(PartScatter, 1)},
		"step":    {Tri(PartStep, 2)},
		"mixed":   {Gauss(PartScatter, 0.5), Tri(PartStep, 1), Rect(PartError, 1.5), Rect(PartHysteresis, 0.3)},
	} {
		c := b.Combine()
		var passes, badPass, fails, badFail int
		for range 40000 {
			truth := 20*c.U + (10*r.Float64()-5)*c.U
			value := truth
			for _, p := range b {
				value += p.U * unitDraw(p, r)()
			}
			switch Decide(value, c, Limits{math.Inf(-1), 20 * c.U}, 0.95, Guarded).Verdict {
			case ledger.Pass:
				passes++
				if truth > 20*c.U {
					badPass++
				}
			case ledger.Fail:
				fails++
				if truth <= 20*c.U {
					badFail++
				}
			}
		}
		if passes < 5000 || fails < 5000 {
			t.Errorf("%s: only %d passes and %d fails of 40000", name, passes, fails)
		}
		if p, f := float64(badPass)/float64(passes), float64(badFail)/float64(fails); p > 0.05 || f > 0.05 {
			t.Errorf("%s: %.4f of the passes are bad, %.4f of the fails", name, p, f)
		}
	}
}

func TestFitProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(-5, 5), 2, 40).Draw(t, "values")
		rows := make([][]float64, len(values))
		for i := range rows {
			rows[i] = []float64{float64(i)}
		}
		// A fit leaves residuals that know nothing of the model.
		f, err := LeastSquares(rows, values, true)
		if len(values) == 2 {
			if err != nil {
				t.Fatal(err)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		s0, s1 := 0.0, 0.0
		for i, y := range values {
			e := y - f.Coef[0] - f.Coef[1]*float64(i)
			s0 += e
			s1 += e * float64(i)
		}
		if math.Abs(s0) > 1e-9 || math.Abs(s1) > 1e-7 {
			t.Fatalf("residuals sum to %v and %v", s0, s1)
		}
		if math.Abs(f.SE[1]*f.SE[1]-f.Cov[1][1]) > 1e-12*f.Cov[1][1] || f.Cov[0][1] != f.Cov[1][0] {
			t.Fatalf("covariance %v, uncertainties %v", f.Cov, f.SE)
		}
	})
	for _, bad := range [][][]float64{{{1, 2}, {2, 4}, {3, 6}}, {{1, 1}}, {}, {{math.NaN(), 1}, {1, 2}, {2, 2}}} {
		if _, err := LeastSquares(bad, make([]float64, len(bad)), false); !errors.Is(err, ErrNoFit) {
			t.Errorf("%v: %v", bad, err)
		}
	}
}

func BenchmarkMonteCarlo(b *testing.B) {
	in := []Input{
		{Name: "a", Value: 2, Gauge: "g", Budget: Budget{Student(PartScatter, 1, 5), Tri(PartStep, 1), Rect(PartError, 1)}},
		{Name: "b", Value: 1, Gauge: "g", Budget: Budget{Student(PartScatter, 1, 5), Tri(PartStep, 1), Rect(PartError, 1)}},
	}
	for b.Loop() {
		if _, err := Propagate(difference, in, false, 1); err != nil {
			b.Fatal(err)
		}
	}
}
