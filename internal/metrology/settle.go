package metrology

import (
	"fmt"
	"math"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// Question is an undecided result.
type Question struct {
	Value      float64
	Combined   Combined
	Limits     Limits // with OpenLow already applied
	Confidence float64
	Strokes    int     // used so far; 0 where the method has none
	Step       float64 // the gauge's, 0 where not known
	Unit       quantity.Unit
	Show       quantity.Unit // the display unit; None: Unit
}

// moreStrokes is the most strokes that may sensibly be asked for.
const moreStrokes = 40

// hopeless is the part of its uncertainty to which a measurement is not likely
// to be brought down (common practice, no source).
const hopeless = 1.0 / 20

// Settle says what would decide an undecided result, supposing that the value
// stays where it is: more strokes, a finer gauge, a proof of the gauge's error,
// or nothing (a value on its limit). It is "" for a result that is decided.
func Settle(q Question) string {
	decided := func(c Combined) bool {
		v := Decide(q.Value, c, q.Limits, q.Confidence, Guarded)
		return v.Verdict != ledger.Undecided
	}
	if q.Limits.None() || math.IsNaN(q.Value) || decided(q.Combined) {
		return ""
	}
	if math.IsInf(q.Combined.U, 1) {
		return "its uncertainty is not known: measure again"
	}
	say := speaker(q.Unit, q.Show, q.Combined.U)
	scaled := func(k float64, names ...string) Combined { return q.Combined.Parts.scale(k, names...).Combine() }

	if q.Combined.UpperBound {
		if s := q.finerStep(say, decided); s > 0 {
			return "a gauge with a step of " + stepText(say, s) + " would decide it"
		}
		return "only a much finer gauge could decide it"
	}
	// More strokes shrink the scatter alone.
	if q.Strokes > 0 {
		for n := q.Strokes + 2; n <= q.Strokes+moreStrokes; n += 2 {
			if decided(q.Combined.Parts.withStrokes(q.Strokes, n).Combine()) {
				return fmt.Sprintf("%d more strokes would decide it", n-q.Strokes)
			}
		}
	}
	if s := q.finerStep(say, decided); s > 0 {
		return "a gauge with a step of " + stepText(say, s) + " would decide it"
	}
	if decided(scaled(0, PartTemperature)) {
		return "let the part come to the temperature of gauge and room, or measure its own: temperature leaves this open"
	}
	if decided(scaled(0, PartError, PartErrorAssumed, PartHysteresis)) {
		return "prove the gauge over a short movement: its error, not its step, leaves this open"
	}
	// Everything smaller: how small? Nobody measures the same part twenty times
	// better.
	lo, hi := 0.0, 1.0
	if !decided(scaled(hopeless)) {
		return "the result lies on its limit: a finer gauge is not likely to decide it; correct the part or ask who set the limit"
	}
	for range 16 { // to a part in 65 thousand
		m := (lo + hi) / 2
		if decided(scaled(m)) {
			lo = m
		} else {
			hi = m
		}
	}
	return "the uncertainty must come down from " + say.full(q.Combined.U95) + " to " + speaker(q.Unit, q.Show, q.Combined.U95*lo).bare(q.Combined.U95*lo) + ": a finer gauge and steadier strokes"
}

// finerStep is a step of the 1-2-5 row (in the unit shown), finer than the
// gauge's, that decides it with what hangs on the step reduced alike; 0 where
// none within four decades does.
func (q Question) finerStep(say speech, decided func(Combined) bool) float64 {
	unit, err := quantity.Convert(1, say.to, say.from)
	if q.Step <= 0 || err != nil {
		return 0
	}
	top := int(math.Ceil(math.Log10(q.Step / unit)))
	for e := top; e > top-5; e-- {
		for _, m := range []float64{1, 0.5, 0.2} {
			s := m * math.Pow10(e) * unit
			if s >= q.Step*0.999 {
				continue
			}
			if decided(q.Combined.Parts.scale(s/q.Step, PartStep, PartErrorAssumed).Combine()) {
				return s
			}
		}
	}
	return 0
}

func stepText(say speech, s float64) string { return Zone{StepNeeded: s}.step(say) }

// scale multiplies the named parts (all where none is named) by k.
func (b Budget) scale(k float64, names ...string) Budget {
	out := make(Budget, len(b))
	for i, p := range b {
		named := len(names) == 0
		for _, n := range names {
			named = named || p.Name == n || n == PartTemperature && isTemperature(p)
		}
		if named {
			p.U, p.Value = p.U*k, p.Value*k
		}
		out[i] = p
	}
	return out
}

// withStrokes is the budget as n strokes instead of the present ones would
// leave it: the scatter falls with the root, its degrees of freedom grow.
func (b Budget) withStrokes(have, n int) Budget {
	out := b.scale(math.Sqrt(float64(have)/float64(n)), PartScatter)
	for i := range out {
		if out[i].Name == PartScatter {
			out[i].Dof += float64(n - have)
		}
	}
	return out
}
