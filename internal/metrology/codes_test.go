package metrology

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// codesOf turns two lists of codes into what Codes is given, taken in turn.
func codesOf(step float64, low, high []float64) (s []Shown) {
	for i, v := range low {
		s = append(s, Shown{T: float64(2 * i), Low: v - step/2, High: v + step/2})
	}
	for i, v := range high {
		s = append(s, Shown{T: float64(2*i + 1), Low: v - step/2, High: v + step/2, Side: 1})
	}
	return s
}

// Worked by hand: two stops that show one code for ever lie anywhere within half
// a step, so that their distance is triangular, 0.776 of a step at 95 %
// (1 - (1-x)^2 = 0.95) where nothing scatters; what scatter there may be leaves less; one that
// shows two codes as often as not lies on the edge between them.
func TestCodesByHand(t *testing.T) {
	same := make([]float64, 40)
	a, ok := Codes(codesOf(1, same, same), 1, 0, 0)
	if !ok || math.Abs(a.Mean) > 1e-9 || a.U95 > 1-math.Sqrt(0.05) || a.U95 < 0.35 {
		t.Errorf("the same codes for ever: %+v", a)
	}
	mixed := make([]float64, 40)
	for i := range mixed {
		mixed[i] = float64(i % 2)
	}
	b, ok := Codes(codesOf(1, same, mixed), 1, 0, 0)
	if !ok || math.Abs(b.Mean-0.5) > 0.02 || b.U95 > a.U95 {
		t.Errorf("one side on an edge: %+v", b)
	}
	if _, ok := Codes(codesOf(1, same, nil), 1, 0, 0); ok {
		t.Error("one side alone gave a distance")
	}
}

// Where the scatter is wider than the step, rounding adds step^2/12 to the
// variance (Sheppard 1898) and what is left is least squares with Student's t.
func TestCodesGoOverIntoLeastSquares(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 1))
	var ratio float64
	const n = 300
	for range n {
		var side [2][]float64
		var mean, ss [2]float64
		for k := range side {
			for range 6 {
				v := math.Round(float64(7*k) + 0.3 + 0.8*r.NormFloat64())
				side[k] = append(side[k], v)
				mean[k] += v / 6
			}
			for _, v := range side[k] {
				ss[k] += (v - mean[k]) * (v - mean[k])
			}
		}
		a, _ := Codes(codesOf(1, side[0], side[1]), 1, 0, 0)
		u := math.Sqrt((ss[0] + ss[1]) / 10 / 3)
		if math.Abs(a.Mean-(mean[1]-mean[0])) > 0.5*u {
			t.Fatalf("mean %.3f, least squares %.3f ± %.3f", a.Mean, mean[1]-mean[0], u)
		}
		ratio += a.U95 / (distuv.StudentsT{Sigma: 1, Nu: 10}.Quantile(0.975) * u) / n
	}
	if ratio < 0.97 || ratio > 1.12 {
		t.Errorf("U95 is %.3f of that of least squares", ratio)
	}
}

// Neither where the gauge's zero stands nor which way it counts matters; a knock
// that moved both stops alike adds what its stretch tells.
func TestCodesKeepTheirShape(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		code := rapid.IntRange(0, 2)
		step := rapid.Float64Range(0.001, 30).Draw(t, "step")
		shift := float64(rapid.IntRange(-900, 900).Draw(t, "shift")) * step
		var low, high, lowS, highS, lowN, highN []float64
		for range rapid.IntRange(2, 7).Draw(t, "n") {
			a, b := float64(code.Draw(t, "a"))*step, float64(9+code.Draw(t, "b"))*step
			low, high = append(low, a), append(high, b)
			lowS, highS = append(lowS, a+shift), append(highS, b+shift)
			lowN, highN = append(lowN, -b), append(highN, -a)
		}
		a, ok := Codes(codesOf(step, low, high), step, 0, 0)
		b, _ := Codes(codesOf(step, lowS, highS), step, 0, 0)
		if !ok || math.Abs(a.Mean-b.Mean) > 1e-6*step || math.Abs(a.U95-b.U95) > 1e-3*step {
			t.Fatalf("moved: %+v became %+v", a, b)
		}
		c, _ := Codes(codesOf(step, lowN, highN), step, 0, 0)
		if math.Abs(a.Mean-c.Mean) > 0.01*step || math.Abs(a.U95-c.U95) > 0.02*step {
			t.Fatalf("turned round: %+v became %+v", a, c)
		}
		two := codesOf(step, low, high)
		for _, x := range codesOf(step, lowS, highS) {
			x.T, x.Level = x.T+100, 1
			two = append(two, x)
		}
		d, ok := Codes(two, step, 0, 0)
		if !ok || math.Abs(d.Mean-a.Mean) > 0.2*step || d.U95 > a.U95*1.001 {
			t.Fatalf("the same again after a knock: %+v became %+v", a, d)
		}
	})
}

// The two parts together have the standard deviation and the 95 % they stand for.
func TestApartParts(t *testing.T) {
	for _, r := range []float64{1.65, 1.7, 1.8, 1.9, 1.95} {
		c := Apart{SD: 2, U95: 2 * r}.Parts().Combine()
		if math.Abs(c.U-2) > 1e-9 || math.Abs(c.U95-2*r) > 0.01 {
			t.Errorf("%.2f: u %.4f, U95 %.4f", r, c.U, c.U95)
		}
	}
	if c := (Apart{SD: 1, U95: 2.05}).Parts().Combine(); math.Abs(c.U95-2.05) > 1e-3 {
		t.Errorf("a heavy tail: %.4f", c.U95)
	}
}

func BenchmarkCodes(b *testing.B) {
	s := codesOf(1, []float64{0, 1, 0, 1}, []float64{7, 7, 8})
	for range b.N {
		Codes(s, 1, 0, 0)
	}
}

// Worked by hand: a stop that shows one code while it drifts by six tenths of it stood,
// in the middle, within the two tenths on either side of the code's own middle; one that
// would drift across is left a tenth of the code.
func TestAStopStaysWithinItsCode(t *testing.T) {
	for _, c := range []struct{ span, b, low, high float64 }{
		{0, 0.3, 6.5, 7.5}, {2, 0, 6.5, 7.5}, {2, 0.3, 6.8, 7.2}, {2, -0.3, 6.8, 7.2}, {2, 3, 6.95, 7.05},
	} {
		x := Shown{Span: c.span, Low: 6.5, High: 7.5}
		if low, high := x.at(c.b); math.Abs(low-c.low) > 1e-12 || math.Abs(high-c.high) > 1e-12 {
			t.Errorf("for %v s at %v a second: %v to %v, want %v to %v", c.span, c.b, low, high, c.low, c.high)
		}
	}
	// Two codes a side, passed at a drift of a tenth a second.
	held, brief := []Shown{}, []Shown{}
	for i := range 10 {
		y := math.Round(0.1*float64(2*i)+0.3) + float64(7*(i%2))
		x := Shown{T: float64(2 * i), Low: y - 0.5, High: y + 0.5, Side: i % 2}
		brief = append(brief, x)
		x.Span = 1.5
		held = append(held, x)
	}
	a, _ := Codes(brief, 1, 0.1, 0.02)
	b, ok := Codes(held, 1, 0.1, 0.02)
	if !ok || b.U95 >= a.U95 || math.Abs(b.Mean-7) > b.U95 {
		t.Errorf("held %+v, brief %+v", b, a)
	}
}
