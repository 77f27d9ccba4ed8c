package method

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"thouwright/internal/metrology"
)

// A hand gauges the same size over and over and scatters. The true size lies within
// U95 in 94 % of the takes, however widely: three that agree by luck are not picked out
// of the scatter, and what they miss is made up for by the takes that go on. Between
// gaugings the gauge stands open anywhere, or closed. A hand that scatters by a quarter
// of a step pays nothing for it: it gauges three times.
func TestSizesCoverTheirMean(t *testing.T) {
	for _, gauge := range []struct {
		step float64 // mm
		sds  []float64
	}{
		{0.001, []float64{0.0002, 0.001, 0.002, 0.003, 0.004, 0.005, 0.007, 0.010, 0.015}},
		{0.010, []float64{0.002, 0.010, 0.020, 0.030}},
		{0.0254, []float64{0.005, 0.025, 0.050}},
	} {
		for _, sd := range gauge.sds {
			t.Run(fmt.Sprintf("step %.1f µm, scatter %.1f µm", 1000*gauge.step, 1000*sd), func(t *testing.T) {
				t.Parallel()
				takes := gaugeOver(t, gauge.step, sd)
				t.Logf("%d takes of %d, %.2f gaugings each, %.1f %% within U95, ±%.2f µm",
					takes.made, coverTakes, takes.gaugings(), 100*takes.inside(), 1000*takes.u95/float64(takes.made))
				if takes.inside() < 0.94 || takes.made < coverTakes*98/100 {
					t.Errorf("%d of %d takes made, %.2f %% hold the true size within U95", takes.made, coverTakes, 100*takes.inside())
				}
				if 4*sd <= gauge.step && takes.gaugings() > 3.05 {
					t.Errorf("%.2f gaugings to a take", takes.gaugings())
				}
			})
		}
	}
}

const coverTakes = 4000 // 0.35 % of chance in a share of 95 %

type coverage struct {
	made, gauged, holds int
	u95                 float64
}

func (c coverage) inside() float64   { return float64(c.holds) / float64(c.made) }
func (c coverage) gaugings() float64 { return float64(c.gauged) / coverTakes }

// gaugeOver makes takes of up to twelve gaugings.
func gaugeOver(t *testing.T, step, sd float64) (c coverage) {
	open := metrology.Limits{Low: math.Inf(-1), High: math.Inf(1)}
	r := rand.New(rand.NewPCG(7, uint64(sd*1e6)))
	const truth = 30.0004
	for range coverTakes {
		z := newSizer(t, Spec{Limits: open, Gauge: Gauge{Step: step, HasError: true}}, step)
		at := truth + r.Float64()*step
		for k := 0; k < 12 && z.out.Result == nil; k++ {
			if r.IntN(3) == 0 {
				z.gaugeQuickly(0)
			}
			z.gaugeQuickly(at + 0.2 + 5*r.Float64())
			z.gaugeQuickly(at + sd*r.NormFloat64())
			c.gauged++
		}
		if res := z.out.Result; res != nil {
			u := res.Budget.Combine().U95
			c.made++
			c.u95 += u
			if math.Abs(res.Value-at) <= u {
				c.holds++
			}
		}
	}
	return c
}

// gaugeQuickly is gauge with no more readings than a rest takes.
func (z *sizer) gaugeQuickly(v float64) {
	z.read(v+1, false)
	z.read(v+2, false)
	for range 6 {
		z.read(v, false)
	}
}
