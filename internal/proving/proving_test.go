package proving

import (
	"math/rand/v2"
	"testing"
)

// A lean form of the statistical proof; scripts/proving runs the deep one.
func TestTakesAgainstTheOracle(t *testing.T) {
	for i, c := range []Cell{{Step: 0.0254, Strokes: 6}, {Step: 0.01, Noise: 0.5, Strokes: 6}, {Step: 0.001, Noise: 1, Strokes: 10, Drift: 0.01}} {
		r := c.Run(rand.New(rand.NewPCG(11, uint64(i))), 400)
		if r.Done < 396 || r.Cover < 0.915 || r.Error > 1.15*r.OracleEr || r.U95 > 1.4*r.OracleU95 || r.BadPass > 0.05 || r.BadFail > 0.05 {
			t.Errorf("%v", r)
		}
	}
}

// The second model, which nothing was tuned to.
func TestTheAdversary(t *testing.T) {
	for i, x := range []Text{Texts[1], Texts[5], Texts[9]} {
		var tally Tally
		r := rand.New(rand.NewPCG(12, uint64(i)))
		for range 60 {
			f := DrawFoe(r, x, 5+25*r.Float64(), 0.3*max(x.MM(), 0.002))
			tally.Add(Case{Strokes: f.Strokes}, f.Run())
		}
		if tally.Done < 57 || tally.Covered < tally.Done*9/10 {
			t.Errorf("%v: %s", x, &tally)
		}
	}
}
