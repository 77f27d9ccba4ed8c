package metrology

import (
	"encoding/json"
	"flag"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"thouwright/internal/quantity"
)

var compareFile = flag.String("compare", "", "write random inputs and this package's results there, for scripts/compare-scipy.sh")
var compareSeed = flag.Uint64("seed", 1, "seed of the random inputs for -compare")

type comparedPart struct {
	Shape string
	U     float64
	Dof   *float64 // null: infinite
}

type compared struct {
	Combine []struct {
		Parts []comparedPart
		U95   float64
		X     []float64
		CDF   []float64
	}
	Fit []struct {
		X                   [][]float64
		Y, Coef, SE         []float64
		SD, R2, F           float64
		PolyX               []float64
		PolyDegree          int
		PolyCoef, PolyCoefY []float64
	}
	OneWay []struct {
		Groups [][]float64
		F, P   float64
	}
	Crossed []struct {
		Cells     Cells
		Table     []Source
		SD        map[string]float64
		RepeatLow float64
		RepeatHi  float64
	}
	Sample []struct {
		Text         []string
		Mean, SD, R1 float64
	}
	Sampled []struct {
		Parts     [][]comparedPart // of the inputs a, b of max(a, b) - a b
		Values    []float64
		Quantiles []float64 // of value + error, at 5, 25, 50, 75, 95 %
	}
}

// With -compare this writes random inputs with their results; another package
// then judges them. Without, the inputs are still worked through, so that the
// test is never idle: every result is finite.
func TestResultsForComparison(t *testing.T) {
	r := rand.New(rand.NewPCG(*compareSeed, 42))
	var out compared
	parts := func(n int, leastDof int) (Budget, []comparedPart) {
		var b Budget
		var c []comparedPart
		for range n {
			p := Part{"x", 0, Shape(r.IntN(4)), 1, math.Exp(2*r.Float64() - 1), math.Inf(1)}
			q := comparedPart{p.Shape.String(), p.U, nil}
			if p.Shape == StudentT {
				p.Dof = float64(leastDof + r.IntN(30))
				q.Dof = &p.Dof
			}
			b, c = append(b, p), append(c, q)
		}
		return b, c
	}
	grow := func(n int) []struct{} { return make([]struct{}, n) }
	for range grow(40) {
		b, c := parts(1+r.IntN(6), 4)
		k := b.Combine()
		e := struct {
			Parts []comparedPart
			U95   float64
			X     []float64
			CDF   []float64
		}{c, k.U95, nil, nil}
		for range 9 {
			x := (6*r.Float64() - 3) * k.U
			e.X, e.CDF = append(e.X, x), append(e.CDF, k.CDF(x))
		}
		out.Combine = append(out.Combine, e)
	}
	for range grow(20) {
		n, m := 8+r.IntN(30), 1+r.IntN(3)
		var x [][]float64
		var y, px []float64
		for range n {
			var row []float64
			v := r.NormFloat64()
			for j := range m {
				z := 10*r.Float64() + float64(j)
				row = append(row, z)
				v += z * float64(j+1)
			}
			x, y, px = append(x, row), append(y, v), append(px, row[0])
		}
		f, err := LeastSquares(x, y, true)
		if err != nil {
			t.Fatal(err)
		}
		g, err := Polynomial(px, y, 3)
		if err != nil {
			t.Fatal(err)
		}
		out.Fit = append(out.Fit, struct {
			X                   [][]float64
			Y, Coef, SE         []float64
			SD, R2, F           float64
			PolyX               []float64
			PolyDegree          int
			PolyCoef, PolyCoefY []float64
		}{x, y, f.Coef, f.SE, f.SD, f.R2, f.F, px, 3, g.Coef, nil})
	}
	for range grow(20) {
		var groups [][]float64
		for i := range 2 + r.IntN(5) {
			var g []float64
			for range 2 + r.IntN(8) {
				g = append(g, float64(i)*r.Float64()+r.NormFloat64())
			}
			groups = append(groups, g)
		}
		b, _, err := OneWay(groups)
		if err != nil {
			t.Fatal(err)
		}
		out.OneWay = append(out.OneWay, struct {
			Groups [][]float64
			F, P   float64
		}{groups, b.F, b.P})
	}
	for range grow(20) {
		cells := simulate(r, 2+r.IntN(8), 2+r.IntN(4), 2+r.IntN(4), 2*r.Float64(), r.Float64(), r.Float64(), 1)
		a, err := Crossed(cells, PoolNo, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		sd := map[string]float64{}
		for _, c := range a.Components {
			sd[c.Name] = c.SD
		}
		rep, _ := a.Get(SourceRepeat)
		for i := range a.Table { // JSON knows no NaN
			if math.IsNaN(a.Table[i].F) {
				a.Table[i].F, a.Table[i].P = -1, -1
			}
		}
		out.Crossed = append(out.Crossed, struct {
			Cells     Cells
			Table     []Source
			SD        map[string]float64
			RepeatLow float64
			RepeatHi  float64
		}{cells, a.Table, sd, rep.Low, rep.High})
	}
	for range grow(20) {
		e := struct {
			Text         []string
			Mean, SD, R1 float64
		}{}
		var ds []quantity.Decimal
		base := uint64(r.IntN(1 << 40))
		for range 5 + r.IntN(50) {
			d := quantity.Decimal{Coef: base + uint64(r.IntN(2000)), Scale: int8(r.IntN(3) + 2)}
			ds, e.Text = append(ds, d), append(e.Text, d.String())
		}
		s := Describe(ds)
		e.Mean, e.SD, e.R1 = s.Mean, s.SD, s.R1
		out.Sample = append(out.Sample, e)
	}
	for range grow(6) {
		e := struct {
			Parts     [][]comparedPart
			Values    []float64
			Quantiles []float64
		}{}
		var in []Input
		for range 2 {
			b, c := parts(1+r.IntN(3), 4)
			v := 2 * r.NormFloat64()
			in = append(in, Input{Name: "x", Value: v, Budget: b})
			e.Parts, e.Values = append(e.Parts, c), append(e.Values, v)
		}
		p, err := Propagate(func(x []float64) (float64, error) { return math.Max(x[0], x[1]) - x[0]*x[1], nil }, in, false, *compareSeed)
		if err != nil {
			t.Fatal(err)
		}
		for _, q := range []float64{0.05, 0.25, 0.5, 0.75, 0.95} {
			e.Quantiles = append(e.Quantiles, p.Value+p.Combined.Quantile(q))
		}
		out.Sampled = append(out.Sampled, e)
	}
	b, err := json.Marshal(out) // refuses what is not finite
	if err != nil {
		t.Fatal(err)
	}
	if *compareFile != "" {
		if err := os.WriteFile(*compareFile, b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
