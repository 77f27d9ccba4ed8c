package proving

import (
	"fmt"
	"math"
	"slices"
)

// Tally sums up outcomes of one cell.
type Tally struct {
	N, Done, Covered, InTime, Plain int
	Errors, U95                     []float64
}

// Add counts one outcome.
func (t *Tally) Add(c Case, o Outcome) {
	t.N++
	if !o.Done {
		return
	}
	t.Done++
	t.Errors = append(t.Errors, math.Abs(o.Error))
	t.U95 = append(t.U95, o.U95)
	if math.Abs(o.Error) <= o.U95 {
		t.Covered++
	}
	if o.LeftOut == 0 {
		t.Plain++
		if o.Strokes <= c.Strokes+2 {
			t.InTime++
		}
	}
}

// String is one line of figures, in the unit of the outcomes.
func (t *Tally) String() string {
	return fmt.Sprintf("n %d done %.3f in time %.3f  p50 %.2f p95 %.2f  cover %.3f  U95 %.2f", t.N, float64(t.Done)/float64(t.N), float64(t.InTime)/float64(t.Plain),
		Quantile(t.Errors, .5), Quantile(t.Errors, .95), float64(t.Covered)/float64(t.Done), Quantile(t.U95, .5))
}

// Quantile of a sample; NaN where it is empty.
func Quantile(v []float64, p float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	c := slices.Clone(v)
	slices.Sort(c)
	return c[min(len(c)-1, int(p*float64(len(c))))]
}
