package sums

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"thouwright/internal/metal"
	"thouwright/internal/quantity"
)

// run does a sum in a property test.
func run(t *rapid.T, verb string, in Inputs) *Answer {
	s, _ := Find(verb)
	a, err := s.Run(in, quantity.MM)
	if err != nil {
		t.Fatalf("%s %v: %v", verb, in, err)
	}
	return a
}

func get(t *rapid.T, a *Answer, name string) Result {
	r, ok := a.Result(name)
	if !ok {
		t.Fatalf("%s has no %s", a.Verb, name)
	}
	return r
}

// mm draws a length with a digit of 0.1 µm.
func mm(t *rapid.T, name string, low, high float64) string {
	return fmt.Sprintf("%.4f", rapid.Float64Range(low, high).Draw(t, name))
}

// TestInwardNeverWidens: whatever the units and places, limits rounded inward
// lie within the original ones, and no digit further in than needed.
func TestInwardNeverWidens(t *testing.T) {
	lengths := []quantity.Unit{quantity.MM, quantity.UM, quantity.In, quantity.Thou}
	s, _ := Find("convert")
	done := 0
	rapid.Check(t, func(t *rapid.T) {
		from, to := rapid.SampledFrom(lengths).Draw(t, "from"), rapid.SampledFrom(lengths).Draw(t, "to")
		a := rapid.IntRange(-50000, 50000).Draw(t, "low")
		b := a + rapid.IntRange(0, 50000).Draw(t, "width")
		scale := int8(rapid.IntRange(0, 5).Draw(t, "scale"))
		r := quantity.Range{Low: decimal(a, scale), High: decimal(b, scale), HasLow: true, HasHigh: true, Unit: from}
		in := Inputs{"what": {r.String()}, "to": {to.String()}, "inward": {"yes"}}
		digit := 0.0
		if p := rapid.IntRange(-1, 6).Draw(t, "places"); p >= 0 {
			in["places"] = []string{fmt.Sprint(p)}
			digit = math.Pow(10, -float64(p))
		}
		ans, err := s.Run(in, quantity.MM)
		if err != nil {
			return // no value left between the limits
		}
		done++
		lo, hi, _ := r.In(to)
		l, h := get(t, ans, "low"), get(t, ans, "high")
		const hair = 1e-12
		if l.Value < lo-hair*math.Abs(lo) || h.Value > hi+hair*math.Abs(hi) || l.Value > h.Value {
			t.Fatalf("%s is %v..%v %s, rounded %s..%s", r, lo, hi, to, l.Exact, h.Exact)
		}
		if digit > 0 && (l.Value-lo > digit*(1+1e-9) || hi-h.Value > digit*(1+1e-9)) {
			t.Fatalf("%s is %v..%v %s, rounded %s..%s: more than one digit lost", r, lo, hi, to, l.Exact, h.Exact)
		}
		if digit == 0 && b > a { // ISO 370's fineness: 2 % a limit by rounding to nearest, 4 % inward
			if lost := get(t, ans, "lost_percent").Value; lost < 0 || lost > 8 {
				t.Fatalf("%s to %s loses %v %% of the tolerance", r, to, lost)
			}
		}
	})
	if done < 20 {
		t.Errorf("only %d conversions were tried", done)
	}
}

func decimal(n int, scale int8) quantity.Decimal {
	d := quantity.Decimal{Coef: uint64(max(n, -n)), Scale: scale, Neg: n < 0}
	return d
}

// TestPlainRoundingMovesLittle: without --inward and --places a limit moves by at
// most 2 % of the tolerance, as ISO 370's table is made to do.
func TestPlainRoundingMovesLittle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from, to := "in", "mm"
		if rapid.Bool().Draw(t, "metric") {
			from, to = to, from
		}
		low := rapid.IntRange(0, 30000).Draw(t, "low")
		high := low + rapid.IntRange(1, 3000).Draw(t, "width")
		r := quantity.Range{Low: decimal(low, 4), High: decimal(high, 4), HasLow: true, HasHigh: true}
		r.Unit, _ = quantity.ParseUnit(from)
		a := run(t, "convert", Inputs{"what": {r.String()}, "to": {to}})
		u, _ := quantity.ParseUnit(to)
		lo, hi, _ := r.In(u)
		for _, d := range []float64{get(t, a, "low").Value - lo, get(t, a, "high").Value - hi} {
			if math.Abs(d) > 0.02*(hi-lo)*(1+1e-9) {
				t.Fatalf("%s is %v..%v %s: a limit moves by %v %%", r, lo, hi, to, 100*math.Abs(d)/(hi-lo))
			}
		}
	})
}

// TestLimitsAreShownInward: the digits of a bore shown in any unit keep it within
// the limits worked out.
func TestLimitsAreShownInward(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, lo, hi := mm(t, "shaft", 5, 200), rapid.IntRange(0, 270).Draw(t, "low"), rapid.IntRange(300, 900).Draw(t, "high")
		s, _ := Find("bush")
		for _, u := range []quantity.Unit{quantity.MM, quantity.UM, quantity.In, quantity.Thou} {
			a, err := s.Run(Inputs{"shaft": {d + " ± 0.0011 mm"}, "clearance": {fmt.Sprintf("0.%04d..0.%04d mm", lo, hi)}}, u)
			if err != nil {
				t.Fatal(err)
			}
			b := get(t, a, "bore")
			for _, shown := range []quantity.Unit{quantity.MM, u, quantity.In} {
				r, err := quantity.ParseRange(b.in(shown))
				if err != nil {
					t.Fatal(err)
				}
				if l, h, _ := r.In(quantity.MM); l < b.Low-1e-9 || h > b.High+1e-9 {
					t.Fatalf("bore %v..%v is shown as %s", b.Low, b.High, r)
				}
			}
		}
	})
}

// TestBushGivesTheClearance: every bore in the answer gives a clearance within
// the range over every place measured, and with uncertainties the probability of
// that is at least the confidence (simulated).
func TestBushGivesTheClearance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.Float64Range(5, 200).Draw(t, "diameter")
		low := rapid.Float64Range(0, 0.05).Draw(t, "low")
		high := low + rapid.Float64Range(0.02, 0.1).Draw(t, "width")
		var shafts []string
		small, large := math.Inf(1), 0.0
		for range rapid.IntRange(1, 4).Draw(t, "places") {
			x := math.Round((d+rapid.Float64Range(0, 0.01).Draw(t, "wear"))*1e4) / 1e4
			shafts = append(shafts, fmt.Sprintf("%.4f mm", x))
			small, large = math.Min(small, x), math.Max(large, x)
		}
		lo, hi := math.Round(low*1e4)/1e4, math.Round(high*1e4)/1e4
		a := run(t, "bush", Inputs{"shaft": shafts, "clearance": {fmt.Sprintf("%.4f..%.4f mm", lo, hi)}})
		b := get(t, a, "bore")
		for _, bore := range []float64{b.Low, b.High, get(t, a, "aim").Value} {
			if bore-large < lo-1e-9 || bore-small > hi+1e-9 {
				t.Fatalf("bore %v on %v..%v: clearance outside %v..%v", bore, small, large, lo, hi)
			}
		}
		if math.Abs(b.Low-large-lo) > 1e-9 || math.Abs(b.High-small-hi) > 1e-9 {
			t.Fatalf("bore %v..%v gives away tolerance", b.Low, b.High)
		}
	})
	// With uncertainties, by simulation.
	rng := rand.New(rand.NewPCG(1, 2))
	for _, conf := range []float64{0.8, 0.95, 0.99} {
		a := must(t, "bush", fmt.Sprintf("--shaft '31.87 ± 0.008 mm' --clearance 0.009..0.050 --bore-u95 0.006 --confidence %v", conf))
		b := result(t, a, "bore")
		for _, bore := range []float64{b.Low, (b.Low + b.High) / 2, b.High} {
			good, n := 0, 200_000
			for range n {
				c := bore + rng.NormFloat64()*0.006/coverage95 - (31.87 + rng.NormFloat64()*0.008/coverage95)
				if c >= 0.009 && c <= 0.050 {
					good++
				}
			}
			if share := float64(good) / float64(n); share < conf-0.004 {
				t.Errorf("bore %.4f at confidence %v: the clearance lies in the range in %.4f of the cases", bore, conf, share)
			}
		}
	}
}

// TestLameAgainstItsEquations solves the four boundary conditions of two thick
// cylinders (u = A r + B/r in each) as a linear system, independently of the
// closed formulas.
func TestLameAgainstItsEquations(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ri := rapid.Float64Range(1, 50).Draw(t, "ri")
		rc := ri * rapid.Float64Range(1.05, 3).Draw(t, "wall")
		ro := rc * rapid.Float64Range(1.05, 4).Draw(t, "housing")
		names := metal.Names()
		in, out := materialOf(rapid.SampledFrom(names).Draw(t, "bush")), materialOf(rapid.SampledFrom(names).Draw(t, "box"))
		delta := rapid.Float64Range(0.001, 0.2).Draw(t, "interference") // on the diameter
		// Radial stress E/(1-ν²) [A (1+ν) - B (1-ν)/r²], plane stress.
		radial := func(m material, r float64) (a, b float64) {
			k := m.e / (1 - m.nu*m.nu)
			return k * (1 + m.nu), -k * (1 - m.nu) / (r * r)
		}
		a1, b1 := radial(in, ri)
		a2, b2 := radial(in, rc)
		a3, b3 := radial(out, rc)
		a4, b4 := radial(out, ro)
		m := mat.NewDense(4, 4, []float64{
			a1, b1, 0, 0, // no stress at the bore
			0, 0, a4, b4, // nor outside
			a2, b2, -a3, -b3, // the same pressure at the joint
			-rc, -1 / rc, rc, 1 / rc, // the gap is the interference
		})
		var x mat.VecDense
		if err := x.SolveVec(m, mat.NewVecDense(4, []float64{0, 0, 0, delta / 2})); err != nil {
			if c, ok := err.(mat.Condition); !ok || float64(c) > 1e14 {
				t.Fatal(err)
			}
		}
		r := ring{2 * ri, 2 * rc, 2 * ro, in, out}
		p := r.pressure(delta)
		same := func(what string, got, want float64) {
			if math.Abs(got-want) > 1e-6*math.Abs(want) {
				t.Fatalf("%s is %v, the equations give %v (%+v)", what, got, want, r)
			}
		}
		same("pressure", p, -(a2*x.AtVec(0) + b2*x.AtVec(1)))
		same("close-in", r.closeIn(p), -2*(x.AtVec(0)*ri+x.AtVec(1)/ri))
		same("growth", r.growth(p), 2*(x.AtVec(2)*ro+x.AtVec(3)/ro))
		hoop := func(m material, a, b, r float64) float64 {
			k := m.e / (1 - m.nu*m.nu)
			return k * (a*(1+m.nu) + b*(1-m.nu)/(r*r))
		}
		same("bush's hoop stress", r.bushHoop(p), hoop(in, x.AtVec(0), x.AtVec(1), ri))
		same("housing's hoop stress", r.housingHoop(p), hoop(out, x.AtVec(2), x.AtVec(3), rc))
	})
}

// TestPressYield: beyond yield there is no close-in and no bore to cut; below it
// the bore to cut gives the finish at both ends of the interference.
func TestPressYield(t *testing.T) {
	line := "--interference 0.020..0.030 --at 30 --bore 25 --housing-od 60 --finish 25.000..25.021 --bush-yield "
	if a := must(t, "press", line+"20"); result(t, a, "beyond_yield").Text != "yes" {
		t.Error("20 MPa is not beyond yield")
	} else {
		for _, name := range []string{"close_in", "bore_before", "bore_after"} {
			if _, ok := a.Result(name); ok {
				t.Errorf("beyond yield it still says %s", name)
			}
		}
	}
	a := must(t, "press", line+"300")
	b := result(t, a, "bore_before")
	for _, x := range []struct{ bore, interference, want float64 }{{b.Low, 0.030, 25.000}, {b.High, 0.020, 25.021}} {
		after := must(t, "press", fmt.Sprintf("--interference %v --at 30 --bore %.9f --housing-od 60", x.interference, x.bore))
		if got := result(t, after, "bore_after").Low; math.Abs(got-x.want) > 1e-7 {
			t.Errorf("cut to %v the bore becomes %v, wanted %v", x.bore, got, x.want)
		}
	}
}

// TestWarmBush: a bush of its housing's own metal is as if free; a stiffer
// housing that expands less keeps the bore smaller; a bush that comes loose is
// free from there on.
func TestWarmBush(t *testing.T) {
	a := must(t, "warm", "--shaft 31.98 --bore 32.01 --bush 38 --housing-od 60 --temp 90 --bush-material bronze --housing-material bronze")
	if f, c := result(t, a, "clearance_free"), result(t, a, "clearance"); math.Abs(f.Low-c.Low) > 1e-12 {
		t.Errorf("the same metal: free %v, held %v", f.Low, c.Low)
	}
	last := math.Inf(1)
	for _, od := range []string{"42", "50", "60", "80", "200"} {
		a := must(t, "warm", "--shaft 31.98 --bore 32.01 --bush 38 --temp 90 --housing-od "+od)
		f, c := result(t, a, "clearance_free").Low, result(t, a, "clearance").Low
		if !(c < f && c < last) {
			t.Errorf("housing %s mm: clearance %v, free %v, before %v", od, c, f, last)
		}
		last = c
	}
	// Aluminium outgrows the bush: 0.005 mm of interference is soon gone.
	loose := must(t, "warm", "--shaft 31.98 --bore 32.01 --bush 38 --housing-od 60 --temp 120 --housing-material aluminium --interference 0.005")
	if result(t, loose, "bush_stays_tight").Yes {
		t.Error("the bush stays tight in aluminium at 120 °C")
	}
	r := ring{32.01, 38, 60, materialOf("bronze"), materialOf("aluminium")}
	sprung := r.closeIn(r.pressure(0.005))
	if f, c := result(t, loose, "clearance_free").Low, result(t, loose, "clearance").Low; math.Abs(c-f-sprung) > 1e-12 {
		t.Errorf("loose: %v, free and sprung back %v", c, f+sprung)
	}
}

// TestSpreadAgainstSimulation: what is carried to first order agrees with a
// simulation of independent normal inputs.
func TestSpreadAgainstSimulation(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	for _, x := range []struct {
		verb, line, name string
		band             bool
		f                func(n func() float64) float64
	}{
		{"lash", "--play '0.8 ± 0.08 mm' --arm '150 ± 2 mm' --ratio 18 --wheel '450 mm'", "degrees", false, func(n func() float64) float64 {
			return (0.8 + 0.08*n()) / (150 + 2*n()) * 180 / math.Pi * 18
		}},
		{"tilt", "--reading '0.080 ± 0.006 mm' --overhang '20 ± 1 mm' --span '120 ± 1 mm'", "clearance", true, func(n func() float64) float64 {
			return 0.080 + 0.006*n() // the upper end, which varies most
		}},
		{"turn", "--play '0.12 ± 0.02 mm' --band 0.02..0.10 --pitch '1.5 ± 0.03 mm'", "turn", false, func(n func() float64) float64 {
			return (0.12 + 0.02*n() - 0.06) / (1.5 + 0.03*n()) * 360
		}},
		{"warm", "--shaft '31.98 ± 0.003 mm' --bore '32.01 ± 0.004 mm' --temp '90 ± 10 degC' --housing-material aluminium", "clearance", true, func(n func() float64) float64 {
			dt := 70 + 10*n()
			return (32.01+0.004*n())*(1+23.6e-6*dt) - (31.98+0.003*n())*(1+11.5e-6*dt)
		}},
	} {
		got := result(t, must(t, x.verb, x.line), x.name).U95
		const n = 40_000
		sum, squares := 0.0, 0.0
		for range n {
			v := x.f(func() float64 { return rng.NormFloat64() / coverage95 })
			sum, squares = sum+v, squares+v*v
		}
		want := coverage95 * math.Sqrt(squares/n-sum/n*sum/n)
		if math.Abs(got/want-1) > 0.03 {
			t.Errorf("%s %s: U95 %v, simulated %v", x.verb, x.line, got, want)
		}
	}
}

// TestGuarded: at the ends of the zone the probability is the confidence.
func TestGuarded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(-1, 1).Draw(t, "low")
		high := low + rapid.Float64Range(0.01, 1).Draw(t, "width")
		u := rapid.Float64Range(0.001, 0.3).Draw(t, "u")
		conf := rapid.Float64Range(0.6, 0.999).Draw(t, "confidence")
		in := func(x float64) float64 { return normal((high-x)/u) - normal((low-x)/u) }
		from, to, ok := guarded(low, high, u, conf)
		if mid := in((low + high) / 2); ok != (mid >= conf) {
			t.Fatalf("ok is %v, the best probability %v, asked %v", ok, mid, conf)
		}
		if ok && (math.Abs(in(from)-conf) > 1e-6 || math.Abs(in(to)-conf) > 1e-6 || from > to) {
			t.Fatalf("at %v..%v the probabilities are %v and %v, asked %v", from, to, in(from), in(to), conf)
		}
		from, to, _ = guarded(math.Inf(-1), high, u, conf)
		if !math.IsInf(from, -1) || math.Abs(normal((high-to)/u)-conf) > 1e-6 {
			t.Fatalf("open below: %v..%v", from, to)
		}
	})
}
