package proving

import (
	"fmt"
	"math"
	"slices"
)

// Tally sums up outcomes of one cell.
type Tally struct {
	N, Done, Covered, InTime, Plain int
	Errors, U95                     []float64 // in the takes' units
}

// Add counts one outcome.
func (t *Tally) Add(c Case, o Outcome) {
	t.N++
	if !o.Done {
		return
	}
	t.Done++
	t.Errors = append(t.Errors, math.Abs(o.Error)/c.Unit())
	t.U95 = append(t.U95, o.U95/c.Unit())
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

// TallyHeader heads a table of tallies, each after columns of these names.
func TallyHeader(of ...string) string {
	head, under := "|", "|"
	for _, name := range append(of, "takes", "complete", "in time", "median error", "p95", "covers", "median U95") {
		head, under = head+" "+name+" |", under+" ---: |"
	}
	return head + "\n" + under
}

// String is one row of figures; errors and U95 in units.
func (t *Tally) String() string {
	return fmt.Sprintf("%d | %.1f %% | %.1f %% | %.2f | %.2f | %.1f %% | %.2f |", t.N, 100*float64(t.Done)/float64(t.N), 100*float64(t.InTime)/float64(max(1, t.Plain)),
		Quantile(t.Errors, .5), Quantile(t.Errors, .95), 100*float64(t.Covered)/float64(max(1, t.Done)), Quantile(t.U95, .5))
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
