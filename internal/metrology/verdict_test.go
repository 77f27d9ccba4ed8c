package metrology

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

var inf = math.Inf(1)

func TestDecide(t *testing.T) {
	c := Budget{Gauss("u", 1)}.Combine()
	two, upper := Limits{0, 10}, Limits{-inf, 10}
	for _, k := range []struct {
		value float64
		lim   Limits
		conf  float64
		rule  Rule
		want  ledger.Verdict
		side  string
	}{
		{5, two, 0.95, Guarded, ledger.Pass, ""},
		{10 - 1.65, two, 0.95, Guarded, ledger.Pass, ""},
		{10 - 1.64, two, 0.95, Guarded, ledger.Undecided, ""},
		{10 + 1.64, two, 0.95, Guarded, ledger.Undecided, Above},
		{10 + 1.65, two, 0.95, Guarded, ledger.Fail, Above},
		{-1.65, two, 0.95, Guarded, ledger.Fail, Below},
		{-1.64, two, 0.95, Guarded, ledger.Undecided, Below},
		{-100, upper, 0.95, Guarded, ledger.Pass, ""},
		{10 - 1.65, upper, 0.99, Guarded, ledger.Undecided, ""},
		{10, two, 0.95, Simple, ledger.Pass, ""},
		{10 + 1e-12, two, 0.95, Simple, ledger.Pass, ""}, // the limit itself, but for rounding
		{10.001, two, 0.95, Simple, ledger.Fail, Above},
		{-0.001, two, 0.95, Simple, ledger.Fail, Below},
		{5, Limits{-inf, inf}, 0.95, Guarded, ledger.NoVerdict, ""},
		{math.NaN(), two, 0.95, Guarded, ledger.NoVerdict, ""},
		// A hopeless gauge: not a fail, although p_in is small.
		{5, Limits{4.99, 5.01}, 0.95, Guarded, ledger.Undecided, ""},
	} {
		v := Decide(k.value, c, k.lim, k.conf, k.rule)
		if v.Verdict != k.want || v.Side != k.side {
			t.Errorf("%v in %v at %v, %s: %q %q, want %q %q", k.value, k.lim, k.conf, k.rule, v.Verdict, v.Side, k.want, k.side)
		}
	}
	// An uncertainty that is not known decides nothing, on either side.
	for _, u := range []float64{math.NaN(), inf} {
		lost := Budget{Gauss("n", 1), {"x", u, Rectangular, 1, u, inf}}.Combine()
		for _, x := range []float64{-1e9, 5, 1e9} {
			v := Decide(x, lost, two, 0.95, Guarded)
			if v.Verdict != ledger.Undecided || lost.U95 != inf {
				t.Errorf("u %v, result %v: %+v", u, x, v)
			}
			if s := Words(&ledger.Take{Method: "play", Result: x, Low: 0, High: 10}, v, lost); !strings.Contains(s, "unknown uncertainty") {
				t.Error(s)
			}
			if s := Settle(Question{Value: x, Combined: lost, Limits: two, Confidence: 0.95}); !strings.Contains(s, "not known") {
				t.Error(s)
			}
		}
	}
	// Without any uncertainty the limits belong to the permitted values.
	exact := Budget{}.Combine()
	for _, x := range []float64{0, 10} {
		if v := Decide(x, exact, two, 0.95, Guarded); v.Verdict != ledger.Pass {
			t.Errorf("%v exactly on the limit: %+v", x, v)
		}
	}
}

func TestVerdictProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := anyBudget().Draw(t, "budget")
		c := b.Combine()
		low := rapid.Float64Range(-10, 10).Draw(t, "low") * c.U
		lim := Limits{low, low + rapid.Float64Range(0, 12).Draw(t, "width")*c.U}
		switch rapid.IntRange(0, 3).Draw(t, "open") {
		case 0:
			lim.Low = -inf
		case 1:
			lim.High = inf
		}
		conf := rapid.SampledFrom([]float64{0.8, 0.95, 0.99}).Draw(t, "confidence")
		value := rapid.Float64Range(-20, 20).Draw(t, "value") * c.U
		v := Decide(value, c, lim, conf, Guarded)
		if s := v.PIn + v.PBelow + v.PAbove; math.Abs(s-1) > 1e-9 {
			t.Fatalf("probabilities sum to %v", s)
		}
		// A larger result is never less likely above nor more likely below.
		w := Decide(value+rapid.Float64Range(0, 5).Draw(t, "more")*c.U, c, lim, conf, Guarded)
		if w.PAbove < v.PAbove-1e-9 || w.PBelow > v.PBelow+1e-9 {
			t.Fatalf("not monotone: %+v then %+v", v, w)
		}
		// Seen in a mirror, below and above change places and nothing else does.
		m := Decide(-value, c, Limits{-lim.High, -lim.Low}, conf, Guarded)
		if math.Abs(m.PAbove-v.PBelow) > 1e-9 || math.Abs(m.PBelow-v.PAbove) > 1e-9 || mirrored(m.Side) != v.Side {
			t.Fatalf("mirror: %+v and %+v", v, m)
		}
		// More confidence never turns undecided into decided; wider limits
		// never turn a pass into anything else.
		if x := Decide(value, c, lim, conf+(1-conf)/2, Guarded); v.Verdict == ledger.Undecided && x.Verdict != ledger.Undecided {
			t.Fatalf("decided at more confidence: %+v", x)
		}
		wide := Limits{lim.Low - c.U, lim.High + c.U}
		if x := Decide(value, c, wide, conf, Guarded); v.Verdict == ledger.Pass && x.Verdict != ledger.Pass {
			t.Fatalf("pass lost with wider limits: %+v", x)
		}
		// Guarded is never bolder than simple.
		s := Decide(value, c, lim, conf, Simple)
		if v.Verdict == ledger.Pass && s.Verdict != ledger.Pass || v.Verdict == ledger.Fail && s.Verdict == ledger.Pass {
			t.Fatalf("guarded %q, simple %q", v.Verdict, s.Verdict)
		}
		// The zone is exactly where Decide says pass.
		zl, zh, empty := passing(c, lim, conf)
		if in := !empty && value >= zl && value <= zh; in != (v.Verdict == ledger.Pass) {
			if math.Min(math.Abs(value-zl), math.Abs(value-zh)) > 1e-5*c.U {
				t.Fatalf("zone %v..%v (%v), value %v: %q", zl, zh, empty, value, v.Verdict)
			}
		}
	})
}

func mirrored(side string) string {
	switch side {
	case Below:
		return Above
	case Above:
		return Below
	}
	return ""
}

func TestDecisionZone(t *testing.T) {
	// A 0.001 in indicator (0.0254 mm) against 0.009..0.050 mm: hopeless.
	coarse := DecisionZone(Ask{Step: 0.0254, ErrorLocal: 0.005, Difference: true, Limits: Limits{0.009, 0.050}, Confidence: 0.95})
	if !coarse.Empty || coarse.Share != 0 {
		t.Errorf("coarse gauge: %+v", coarse)
	}
	say := coarse.In(quantity.MM, quantity.MM)
	if !strings.Contains(say, "never") || !strings.Contains(say, "step of 0.01 mm would do") {
		t.Errorf("coarse gauge says %q", say)
	}
	wide := DecisionZone(Ask{Step: 0.001, ErrorLocal: 0.002, Difference: true, Limits: Limits{-inf, 0.050}, Confidence: 0.95})
	if say := wide.In(quantity.MM, quantity.MM); say != "can pass up to 0.0480 mm, and serve limits down to 0.00194 mm" {
		t.Errorf("a fine gauge says %q", say)
	}
	if say := wide.In(quantity.MM, quantity.Thou); say != "can pass up to 1.89 thou, and serve limits down to 0.076 thou" {
		t.Errorf("in thou it says %q", say)
	}
	// What it says would do, does; the next coarser of the row does not.
	ask := Ask{ErrorLocal: 0.005, Difference: true, Limits: Limits{0.009, 0.050}, Confidence: 0.95}
	ask.Step = coarse.StepNeeded
	if z := DecisionZone(ask); z.Share < enough {
		t.Errorf("step %v leaves %v", ask.Step, z.Share)
	}
	ask.Step = 0.02
	if z := DecisionZone(ask); z.Share >= enough {
		t.Errorf("step %v leaves %v already", ask.Step, z.Share)
	}
	// The finest limit is just that.
	for _, w := range []float64{0.999, 1.001} {
		a := Ask{Step: 0.0254, ErrorLocal: 0.005, Difference: true, Confidence: 0.95, Limits: Limits{0.1, 0.1 + coarse.FinestHigh*w}}
		if z := DecisionZone(a); z.Empty != (w < 1) {
			t.Errorf("limits %v times the finest apart: empty %v", w, z.Empty)
		}
	}
	// A whole-travel error charged to a small movement: a finer step is no help.
	z := DecisionZone(Ask{Step: 0.001, Error: 0.02, Difference: true, Limits: Limits{-inf, 0.040}, Confidence: 0.95})
	if say := z.In(quantity.MM, quantity.MM); z.StepNeeded != 0 || !strings.Contains(say, "prove") {
		t.Errorf("whole-travel error: %+v says %q", z, say)
	}
	// No error given: one step is assumed and said.
	z = DecisionZone(Ask{Step: 0.001, Difference: true, Limits: Limits{-inf, 0.040}, Confidence: 0.95})
	if !z.Assumed || !strings.Contains(z.In(quantity.MM, quantity.Thou), "assumed") {
		t.Errorf("assumed: %+v", z)
	}
	if z := DecisionZone(Ask{Step: 0.001, ErrorKnown: true, Difference: true, Limits: Limits{-inf, 0.040}, Confidence: 0.95}); z.Assumed || z.Share < 0.95 {
		t.Errorf("errorless gauge: %+v", z)
	}
}

func TestRoundByUncertainty(t *testing.T) {
	for _, c := range []struct {
		v, u    float64
		val, un string
	}{
		{10.05762, 0.0273, "10.058", "0.027"}, // as in JCGM 100, 7.2.6
		{2.123456, 0.0996, "2.12", "0.10"},
		{2.123456, 0.0994, "2.123", "0.099"},
		{-0.00001, 0.5, "0.00", "0.50"},
		{12345, 1234, "12300", "1200"},
		{12345, 96, "12345", "96"},
		{12345, 99.7, "12350", "100"},
		{0.123456789, 0, "0.123457", ""},
		{5, inf, "5", ""},
	} {
		val, un := RoundByUncertainty(c.v, c.u)
		if val != c.val || un != c.un {
			t.Errorf("%v ± %v: %q ± %q, want %q ± %q", c.v, c.u, val, un, c.val, c.un)
		}
	}
}

func TestWords(t *testing.T) {
	take := func(method string, value, low, high float64) (*ledger.Take, Verdict, Combined) {
		c := Budget{Gauss(PartScatter, 0.35)}.Combine()
		k := &ledger.Take{Method: method, Unit: quantity.Thou, Result: value, Low: low, High: high, Confidence: 0.95, U95: c.U95}
		v := Decide(value, c, Limits{low, high}, 0.95, Guarded)
		k.Verdict, k.Side = v.Verdict, v.Side
		return k, v, c
	}
	for _, c := range []struct {
		method           string
		value, low, high float64
		want             string
	}{
		{"play", 3.2, 0.4, 2, "too loose by 1.2 thou, at least 0.6"},
		{"end-play", 0.5, 2, 5, "too tight by 1.5 thou, at least 0.9"},
		{"size", 0.5, 2, 5, "too small by 1.5 thou, at least 0.9"},
		{"drag", 9, 2, 5, "too tight by 4.0 thou, at least 3.4"},
		{"play", 1.2, 0.1, 2, "1.2 thou, 0.8 inside the limits"},
		{"play", 2.2, 0.4, 2, "may be too loose: 0.2 thou beyond the limit, known to 0.7"},
		{"play", 1.8, 0.4, 2, "may be good: 0.2 thou inside the limit, known to 0.7"},
		{"play", 2.01, 0.4, 2, "may be too loose: on the limit, known to 0.7 thou"},
		{"play", 1.99, 0.4, 2, "may be good: on the limit, known to 0.7 thou"},
		{"play", 1.8, math.Inf(-1), inf, "1.8 thou plus or minus 0.7 thou"},
	} {
		if got := Words(take(c.method, c.value, c.low, c.high)); got != c.want {
			t.Errorf("%s %v in %v..%v: %q, want %q", c.method, c.value, c.low, c.high, got, c.want)
		}
	}
	k, v, comb := take("play", 3.2, 0.4, 2)
	if got := WordsIn(quantity.MM, k, v, comb); got != "too loose by 0.030 mm, at least 0.015" {
		t.Errorf("in mm: %q", got)
	}
	b := Bound(1, nil)
	k = &ledger.Take{Method: "play", Unit: quantity.Thou, Result: b.Value, Bound: true, Low: math.Inf(-1), High: 2, Confidence: 0.95}
	if got := Words(k, Decide(b.Value, b.Combined, Limits{math.Inf(-1), 2}, 0.95, Guarded), b.Combined); got != "less than 0.78 thou, good" {
		t.Errorf("bound: %q", got)
	}
}

// The words name the side the verdict fails on, whatever the method and unit.
func TestWordsNeverChangeSides(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		method := rapid.SampledFrom([]string{"play", "end-play", "run-out", "size", "drag", "derived"}).Draw(t, "method")
		c := anyBudget().Draw(t, "budget").Combine()
		lim := Limits{-c.U, c.U * rapid.Float64Range(0, 10).Draw(t, "high")}
		value := rapid.Float64Range(-30, 30).Draw(t, "value") * c.U
		k := &ledger.Take{Method: method, Unit: rapid.SampledFrom([]quantity.Unit{quantity.MM, quantity.Thou, quantity.In}).Draw(t, "unit"), Result: value, Low: lim.Low, High: lim.High, Confidence: 0.95}
		v := Decide(value, c, lim, 0.95, Guarded)
		say := WordsIn(rapid.SampledFrom([]quantity.Unit{quantity.MM, quantity.UM, quantity.None, quantity.Deg}).Draw(t, "shown"), k, v, c)
		below, above := strings.Contains(say, too(method, Below)), strings.Contains(say, too(method, Above))
		if below && v.Side != Below || above && v.Side != Above {
			t.Fatalf("%q for a result on side %q", say, v.Side)
		}
		if v.Verdict == ledger.Fail && !below && !above {
			t.Fatalf("a fail without its side: %q", say)
		}
		if strings.Contains(say, "NaN") || strings.Contains(say, "Inf") {
			t.Fatal(say)
		}
	})
}

func TestSettle(t *testing.T) {
	lim := Limits{-inf, 2}
	q := func(value float64, b Budget, strokes int, step float64) string {
		return Settle(Question{Value: value, Combined: b.Combine(), Limits: lim, Confidence: 0.95, Strokes: strokes, Step: step, Unit: quantity.Thou})
	}
	scatter := Budget{Student(PartScatter, 0.5, 3), Tri(PartStep, 0.05)}
	if s := q(1.2, scatter, 6, 0.05); !strings.HasSuffix(s, " more strokes") {
		t.Errorf("scatter: %q", s)
	}
	if s := q(1.5, Budget{Student(PartScatter, 0.05, 3), Tri(PartStep, 1)}, 6, 1); s != "a gauge with a step of 0.5 thou" {
		t.Errorf("step: %q", s)
	}
	if s := q(1.2, Budget{Student(PartScatter, 0.05, 3), Tri(PartStep, 0.1), Rect(PartError, 1)}, 6, 0.1); !strings.Contains(s, "a truer gauge") {
		t.Errorf("error: %q", s)
	}
	if s := q(2, scatter, 6, 0.05); !strings.Contains(s, "lies on its limit") {
		t.Errorf("on the limit: %q", s)
	}
	// To bring 0.46 down to 0.01 is not asked of anybody, and never to 0.00.
	if s := q(2.01, Budget{Student(PartScatter, 0.5, 3), Tri(PartStep, 0.05)}, 0, 0); !strings.Contains(s, "lies on its limit") {
		t.Errorf("next to the limit: %q", s)
	}
	if s := q(2.04, Budget{Gauss(PartScatter, 0.25), Rect(PartRepeatability, 0.05)}, 0, 0); s != "the result known to 0.05 thou instead of 0.5: a finer gauge and steadier strokes" {
		t.Errorf("a smaller uncertainty: %q", s)
	}
	if s := q(1, Budget{Gauss(PartScatter, 0.1)}, 6, 0.05); s != "" {
		t.Errorf("decided: %q", s)
	}
	if b := Bound(3, nil); true {
		s := Settle(Question{Value: b.Value, Combined: b.Combined, Limits: Limits{0.5, 2}, Confidence: 0.95, Step: 3, Unit: quantity.Thou})
		if s == "" {
			t.Error("an undecided bound says nothing")
		}
	}
}

// What the zone promises of finer steps holds: the step named leaves half of
// the limits, the next coarser one of the row does not.
func TestStepNeededHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := Ask{
			Step: 0.01 * math.Exp(rapid.Float64Range(-3, 3).Draw(t, "step")), ErrorLocal: rapid.Float64Range(0, 0.02).Draw(t, "error"), ErrorKnown: true,
			Hysteresis: rapid.Float64Range(0, 0.005).Draw(t, "hysteresis"), Difference: rapid.Bool().Draw(t, "difference"),
			Limits: Limits{0.02, 0.02 + rapid.Float64Range(0.001, 0.2).Draw(t, "width")}, Confidence: 0.95,
		}
		if rapid.Bool().Draw(t, "one-sided") {
			a.Limits.Low = -inf
		}
		z := DecisionZone(a)
		if z.Empty == (z.Share > 0) && !math.IsInf(a.Limits.Low, -1) {
			t.Fatalf("empty %v, share %v", z.Empty, z.Share)
		}
		for _, unit := range []quantity.Unit{quantity.MM, quantity.Thou, quantity.In} {
			f, err := quantity.Convert(1, unit, quantity.MM)
			if err != nil {
				t.Fatal(err)
			}
			s := a.stepNeeded(f)
			with := func(step float64) float64 { b := a; b.Step = step; return DecisionZone(b).Share }
			if s == 0 {
				if with(1e-9) >= enough+1e-6 {
					t.Fatalf("no step would do in %s, but a tiny one leaves %v", unit, with(1e-9))
				}
				continue
			}
			if with(s) < enough || with(2.5*s) >= enough {
				t.Fatalf("step %v: leaves %v; 2.5 times that leaves %v", s, with(s), with(2.5*s))
			}
		}
	})
}

// Every undecided result gets an answer, no decided one does, and what is
// promised of steps is true.
func TestSettleAnswers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := anyBudget().Draw(t, "budget")
		b[0].Name = rapid.SampledFrom([]string{PartScatter, PartStep, PartError}).Draw(t, "name")
		if b[0].Shape == StudentT && b[0].Dof < 3 {
			b[0].Dof = 3
		}
		c := b.Combine()
		q := Question{Combined: c, Limits: Limits{-inf, 0}, Confidence: 0.95, Strokes: rapid.IntRange(0, 8).Draw(t, "strokes"),
			Value: -c.U * rapid.Float64Range(-3, 3).Draw(t, "value"), Step: c.U, Unit: quantity.MM, Show: quantity.Thou}
		undecided := Decide(q.Value, c, q.Limits, 0.95, Guarded).Verdict == ledger.Undecided
		if s := Settle(q); (s != "") != undecided || strings.Contains(s, "NaN") {
			t.Fatalf("undecided %v: %q", undecided, s)
		}
	})
}

// A widened bound against plain integration over its own density.
func TestWidenedBound(t *testing.T) {
	for _, widen := range []Budget{
		{Rect(PartHysteresis, 0.7), Rect(PartError, 0.2)},
		{Gauss("n", 0.3)},
		{Student(PartScatter, 0.4, 4), Tri(PartStep, 0.5)},
		{Gauss("n", 20)}, // far wider than the step
		{Rect("r", 1e-4)},
	} {
		const d, n = 2.0, 4000
		b := Bound(d, widen)
		w := widen.Combine()
		for _, k := range []float64{-0.5, 0.3, 1, 1.4, 2.2} {
			x := k * max(1, w.U)
			want := 0.0
			for i := range n {
				p := d * (float64(i) + 0.5) / n
				want += 2 * (1 - p/d) / d * w.CDF(x-p) * d / n
			}
			near(t, "widened bound", b.Combined.CDF(x-b.Value), want, 2e-6)
		}
		near(t, "u", b.Combined.U, math.Hypot(d/math.Sqrt(18), w.U), 1e-9)
	}
}
