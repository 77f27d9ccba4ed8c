package metrology

import (
	"fmt"
	"math"
	"strings"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// Question is an undecided result.
type Question struct {
	Value      float64
	Combined   Combined
	Limits     Limits // with OpenLow already applied
	Confidence float64
	Method     string             // play, size, … as the sheet says
	Strokes    int                // used so far; 0 where more cannot be asked for
	Step       float64            // the gauge's, 0 where not known
	Inputs     map[string]float64 // of a derived value: what each input is known to (U95), by its name in the budget
	Provable   bool               // a proof of the gauge over a short movement would count, and is not given
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
// or nothing (a value on its limit). It goes on from "would decide it: ", and is
// "" for a result that is decided.
func Settle(q Question) string {
	decided := func(c Combined) bool {
		v := Decide(q.Value, c, q.Limits, q.Confidence, Guarded)
		return v.Verdict != ledger.Undecided
	}
	if q.Limits.None() || math.IsNaN(q.Value) || decided(q.Combined) {
		return ""
	}
	if math.IsInf(q.Combined.U, 1) {
		return "to measure again: its uncertainty is not known"
	}
	say := speaker(q.Unit, q.Show, q.Combined.U)
	scaled := func(k float64, names ...string) Combined { return q.Combined.Parts.scale(k, names...).Combine() }

	if q.Combined.UpperBound {
		if s := q.finerStep(say, decided); s > 0 {
			return "a gauge with a step of " + stepText(say, s)
		}
		return "only a much finer gauge"
	}
	// More strokes shrink the scatter alone.
	if q.Strokes > 0 {
		for n := q.Strokes + 2; n <= q.Strokes+moreStrokes; n += 2 {
			if decided(q.Combined.Parts.withStrokes(q.Strokes, n).Combine()) {
				return fmt.Sprintf("%d more strokes", n-q.Strokes)
			}
		}
	}
	if s := q.finerStep(say, decided); s > 0 {
		return "a gauge with a step of " + stepText(say, s)
	}
	if decided(scaled(0, PartTemperature)) {
		return "the part at the temperature of gauge and room, or its own measured: temperature leaves this open"
	}
	if s := q.better(decided); s != "" {
		return s
	}
	if decided(scaled(0, PartError, PartErrorAssumed, PartHysteresis)) {
		return q.truer() + ": its error, not its step, leaves this open"
	}
	// Everything smaller: how small? Nobody measures the same part twenty times
	// better.
	if !decided(scaled(hopeless)) {
		return "no better gauge is likely to: the result lies on its limit, so correct the part or ask who set the limit"
	}
	k := largest(func(k float64) bool { return decided(scaled(k)) })
	return q.known("", k, q.Combined.U95) + ": " + q.steadier()
}

// known is an uncertainty that has to come down to k times itself.
func (q Question) known(what string, k, u95 float64) string {
	if what == "" {
		what = "the result"
	}
	to, now := speaker(q.Unit, q.Show, u95*k), speaker(q.Unit, q.Show, u95)
	for to.places < 9 && to.bare(u95*k) == now.bare(u95) { // 0.002 instead of 0.002 is no advice
		to.places++
		now.places = to.places
	}
	return what + " known to " + to.full(u95*k) + " instead of " + now.bare(u95)
}

// steadier is what makes every part of the uncertainty smaller.
func (q Question) steadier() string {
	switch q.Method {
	case "size":
		return "a finer gauge and steadier gauging"
	case "run-out":
		return "a finer gauge and a slower turn"
	case "drag":
		return "a finer gauge and a steadier pull"
	case "derived":
		return "measure closer what it is worked out from"
	}
	return "a finer gauge and steadier strokes"
}

// truer is what makes the gauge's error smaller.
func (q Question) truer() string {
	switch {
	case q.Provable:
		return "a proof of the gauge over a short movement"
	case q.Method == "size":
		return "a truer gauge, or a master nearer to the size"
	}
	return "a truer gauge"
}

// better is the one input of a derived value that leaves it open most, and how well
// it has to be known; "" where no one of them alone would decide it.
func (q Question) better(decided func(Combined) bool) string {
	if q.Method != "derived" {
		return ""
	}
	of := map[string]Budget{}
	most, u := "", 0.0
	for _, p := range q.Combined.Parts {
		in, _ := inputOf(p)
		of[in] = append(of[in], p)
	}
	for in, b := range of {
		if c := b.Combine(); c.U > u || c.U == u && in < most {
			most, u = in, c.U
		}
	}
	only := func(k float64) Combined {
		out := make(Budget, len(q.Combined.Parts))
		for i, p := range q.Combined.Parts {
			if in, _ := inputOf(p); in == most {
				p.U, p.Value = p.U*k, p.Value*k
			}
			out[i] = p
		}
		return out.Combine()
	}
	u95, input := q.Inputs[most] // its own: in the budget it counts as often as the value takes it
	if !input || len(of) < 2 || !decided(only(hopeless)) {
		return ""
	}
	return q.known(most, largest(func(k float64) bool { return decided(only(k)) }), u95)
}

// inputOf takes a part of a derived value apart: whose it is, and its name there.
// What several share, or a whole input, is one thing by itself.
func inputOf(p Part) (input, name string) {
	if i := strings.LastIndex(p.Name, ": "); i >= 0 {
		return p.Name[:i], p.Name[i+2:]
	}
	return p.Name, p.Name
}

// largest is the largest scale below 1, to a part in 65 thousand, that ok lets pass.
func largest(ok func(k float64) bool) float64 {
	lo, hi := 0.0, 1.0
	for range 16 {
		if m := (lo + hi) / 2; ok(m) {
			lo = m
		} else {
			hi = m
		}
	}
	return lo
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
		_, own := inputOf(p)
		for _, n := range names {
			named = named || own == n || strings.HasPrefix(own, n+", ") // of a temperature, or shared by several
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
