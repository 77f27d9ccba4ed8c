package metrology

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// One part alone is its own distribution: closed forms on the other side.
func TestSingleParts(t *testing.T) {
	inf := math.Inf(1)
	unit := func(s Shape, dof float64) Combined { return Budget{{"x", 1, s, 1, 1, dof}}.Combine() }
	for _, dof := range []float64{1, 1.5, 2, 3, 4, 7, 16, 50, 300, 1e4, 1e6} {
		c := unit(StudentT, dof)
		want := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}
		for x := -60.0; x <= 60; x += 0.37 {
			near(t, "t", c.CDF(x), want.CDF(x), 2e-8)
		}
		near(t, "t95", c.U95/want.Quantile(0.975), 1, 1e-6)
	}
	n := unit(Normal, inf)
	for x := -8.0; x < 8; x += 0.1 {
		near(t, "normal", n.CDF(x), distuv.UnitNormal.CDF(x), 1e-13)
	}
	r := unit(Rectangular, inf)
	near(t, "rectangle", r.U95, 0.95*math.Sqrt(3), 1e-9)
	tri := unit(Triangular, inf)
	near(t, "triangle", tri.U95, math.Sqrt(6)*(1-math.Sqrt(0.05)), 1e-9)
	if c := (Budget{}).Combine(); c.U != 0 || c.U95 != 0 {
		t.Errorf("an empty budget has U %v, U95 %v", c.U, c.U95)
	}
}

func near(t testing.TB, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.12g, want %.12g (within %g)", what, got, want, tol)
	}
}

// The closed form of a rectangle and a normal: by integration of the normal
// distribution function.
func TestRectangleAndNormal(t *testing.T) {
	for _, ratio := range []float64{0.001, 0.01, 0.03, 0.049, 0.051, 0.1, 0.5, 1, 3, 20, 1000, 1e6} {
		a, s := ratio, 1.0
		c := Budget{Rect("r", a), Gauss("n", s)}.Combine()
		anti := func(z float64) float64 { return z*distuv.UnitNormal.CDF(z) + distuv.UnitNormal.Prob(z) }
		for i := -50; i <= 50; i++ {
			x := float64(i) / 10 * c.U
			want := (anti((x+a)/s) - anti((x-a)/s)) * s / (2 * a)
			near(t, "rect+normal", c.CDF(x), want, 1e-7)
		}
	}
}

// Any mixture against a fine quadrature that shares nothing with Combine: the
// characteristic function inverted (Gil-Pelaez).
func TestAgainstCharacteristicFunction(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 7))
	for trial := range 30 {
		var b Budget
		// A normal of some width keeps the inversion integral short; odd
		// degrees of freedom have closed characteristic functions.
		b = append(b, Gauss("n", math.Exp(rng.Float64()*2-1.5)))
		for range rng.IntN(3) {
			b = append(b, Student("s", math.Exp(rng.Float64()*2-1), float64(2*rng.IntN(4)+3)))
		}
		for range rng.IntN(4) {
			b = append(b, Rect("r", math.Exp(rng.Float64()*3-1.5)))
		}
		for range rng.IntN(2) {
			b = append(b, Tri("t", math.Exp(rng.Float64()*3-1.5)))
		}
		c := b.Combine()
		for _, k := range []float64{-3, -1.2, 0.4, 2, 2.6} {
			x := k * c.U
			near(t, "trial", c.CDF(x), gilPelaez(b, x), 1e-6)
		}
		if t.Failed() {
			t.Fatalf("trial %d: %+v", trial, b)
		}
	}
}

func gilPelaez(b Budget, x float64) float64 {
	phi := func(u float64) float64 {
		p := 1.0
		for _, q := range b {
			switch q.Shape {
			case Normal:
				p *= math.Exp(-q.U * q.U * u * u / 2)
			case Rectangular:
				a := q.U * math.Sqrt(3) * u
				p *= math.Sin(a) / a
			case Triangular:
				a := q.U * math.Sqrt(6) / 2 * u
				p *= math.Sin(a) / a * math.Sin(a) / a
			case StudentT:
				p *= studentCF(q.U*u, q.Dof)
			}
		}
		return p
	}
	// The trapezoidal rule converges fast here; its step keeps the image of
	// the tails far away.
	h := 2 * math.Pi / (600 * b.Combine().U)
	sum := 0.0
	for k := 0; ; k++ {
		u := (float64(k) + 0.5) * h
		p := phi(u)
		sum += math.Sin(u*x) * p / u
		if b[0].U*u > 9 {
			break
		}
	}
	return 0.5 + sum*h/math.Pi
}

// studentCF is the characteristic function of t for odd dof: a polynomial times
// an exponential (Bessel functions of half-integer order).
func studentCF(u, dof float64) float64 {
	z := math.Sqrt(dof) * math.Abs(u)
	m := (int(dof) - 1) / 2
	// K_{m+1/2}(z) sqrt(2z/pi) e^z = sum (m+k)!/(k!(m-k)!(2z)^k)
	fact := func(n int) float64 { return math.Gamma(float64(n + 1)) }
	sum := 0.0
	for k := 0; k <= m; k++ {
		sum += fact(m+k) / (fact(k) * fact(m-k)) * math.Pow(2, float64(-k)) * math.Pow(z, float64(m-k))
	}
	// normalised to 1 at u = 0: the last term alone remains there
	return math.Exp(-z) * sum / (fact(2*m) / fact(m) * math.Pow(2, float64(-m)))
}

func TestBound(t *testing.T) {
	b := Bound(2, nil)
	near(t, "0.78 d", b.Value, 2*(1-math.Sqrt(0.05)), 1e-8)
	near(t, "d/3", b.Mean, 2.0/3, 1e-15)
	near(t, "u", b.Combined.U, 2/math.Sqrt(18), 1e-12)
	// The budget combines to the same again: capture and the record rely on it.
	c := b.Budget.Combine()
	below, in, above := c.Prob(b.Value, math.Inf(-1), b.Value)
	near(t, "P(true < bound)", below+in, 0.95, 1e-8)
	near(t, "P(true > bound)", above, 0.05, 1e-8)
	_, in, _ = c.Prob(b.Value, 0, 1)
	near(t, "P(0 < P < d/2)", in, 0.75, 1e-8)
	wide := Bound(2, Budget{Rect(PartHysteresis, 0.5), Rect(PartError, 0.5)})
	if wide.Value <= b.Value || wide.Value > 2.5 {
		t.Errorf("widened bound %v", wide.Value)
	}
	if near := Bound(2, Budget{Rect(PartHysteresis, 1e-9)}); math.Abs(near.Value-b.Value) > 1e-6 {
		t.Errorf("barely widened bound %v, plain %v", near.Value, b.Value)
	}
}

// anyBudget draws a budget such as a take has.
func anyBudget() *rapid.Generator[Budget] {
	return rapid.Custom(func(t *rapid.T) Budget {
		var b Budget
		n := rapid.IntRange(1, 7).Draw(t, "parts")
		for range n {
			u := math.Exp(rapid.Float64Range(-6, 3).Draw(t, "log u"))
			switch rapid.IntRange(0, 3).Draw(t, "shape") {
			case 0:
				b = append(b, Gauss("n", u))
			case 1:
				b = append(b, Student("t", u, float64(rapid.IntRange(1, 40).Draw(t, "dof"))))
			case 2:
				b = append(b, Rect("r", u))
			case 3:
				b = append(b, Tri("tri", u))
			}
		}
		return b
	})
}

func TestCombineProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := anyBudget().Draw(t, "budget")
		c := b.Combine()
		last := -1.0
		for k := -6.0; k <= 6; k += 0.5 {
			F := c.CDF(k * c.U)
			if F < last-1e-9 {
				t.Fatalf("CDF falls from %v to %v at %v u", last, F, k)
			}
			last = F
		}
		if p := c.CDF(c.U95) - c.CDF(-c.U95); math.Abs(p-0.95) > 1e-7 {
			t.Fatalf("U95 holds %v", p)
		}
		// Scale: the same budget in another unit gives the same in that unit.
		k := math.Exp(rapid.Float64Range(-8, 8).Draw(t, "scale"))
		s := b.scale(k).Combine()
		if math.Abs(s.U95/(k*c.U95)-1) > 1e-6 {
			t.Fatalf("U95 %v scaled by %v gives %v", c.U95, k, s.U95)
		}
		// One more part never narrows the interval (unimodal and symmetrical).
		wider := append(b[:len(b):len(b)], Rect("more", c.U)).Combine()
		if wider.U95 < c.U95*(1-1e-6) {
			t.Fatalf("U95 falls from %v to %v with one more part", c.U95, wider.U95)
		}
	})
}

func BenchmarkCombine(b *testing.B) {
	typical := Budget{Student(PartScatter, 1, 3), Tri(PartStep, 1), Rect(PartCreep, 0.3), Rect(PartError, 1), Rect(PartHysteresis, 0.4), Rect(PartAngles, 0.2)}
	for b.Loop() {
		c := typical.Combine()
		c.Prob(3, 0, 5)
	}
}

func BenchmarkDecisionZone(b *testing.B) {
	ask := Ask{Step: 0.0254, ErrorLocal: 0.005, Hysteresis: 0.002, Difference: true, Limits: Limits{0.009, 0.050}, Confidence: 0.95}
	for b.Loop() {
		DecisionZone(ask)
	}
}

// The square of a very small width is no full number; it must not make the whole
// unknown.
func TestCombineTinyWidths(t *testing.T) {
	for _, tiny := range []float64{1e-50, 1e-110, 1e-155, 5e-324} {
		if c := (Budget{Rect(PartError, tiny), Rect(PartHysteresis, tiny/3)}).Combine(); !(c.U95 <= 2*tiny) {
			t.Errorf("widths of %g give U95 %g", tiny, c.U95)
		}
	}
}
