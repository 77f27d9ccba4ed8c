package metrology

import (
	"math"

	"thouwright/internal/ledger"
)

// Verdict is what a result says of its limits, with the probability that the
// true value lies within, below and above them.
type Verdict struct {
	Verdict ledger.Verdict
	Side    string // "below", "above" or "": where the result itself lies
	PIn     float64
	PBelow  float64
	PAbove  float64
}

// Sides of the limits.
const (
	Below = "below"
	Above = "above"
)

// edgeSlack keeps a result that equals its limit but for the last bits of its
// arithmetic within the limit.
const edgeSlack = 1e-9

// Decide applies the limits: pass when the true value lies within them with the
// confidence, fail when it lies on one side beyond them with the confidence
// (not when it merely fails to lie within: a hopeless gauge would fail
// everything), else undecided. JCGM 106, 8.3; ISO 14253-1. Rule Simple compares
// the result alone (JCGM 106, 8.2). Without limits there is no verdict, nor
// where the result is not a number. Open a lower limit of 0 or less first where
// the method calls for it (Limits.OpenLow).
func Decide(value float64, c Combined, lim Limits, confidence float64, rule Rule) Verdict {
	var v Verdict
	if math.IsNaN(value) || lim.None() {
		return v
	}
	v.PBelow, v.PIn, v.PAbove = c.Prob(value, lim.Low, lim.High)
	slack := func(limit float64) float64 { return edgeSlack * math.Abs(limit) }
	switch {
	case value < lim.Low-slack(lim.Low):
		v.Side = Below
	case value > lim.High+slack(lim.High):
		v.Side = Above
	}
	switch {
	case rule == Simple && v.Side == "":
		v.Verdict = ledger.Pass
	case rule == Simple:
		v.Verdict = ledger.Fail
	case v.PIn >= confidence:
		v.Verdict = ledger.Pass
	case v.PAbove >= confidence, v.PBelow >= confidence:
		v.Verdict = ledger.Fail
	default:
		v.Verdict = ledger.Undecided
	}
	return v
}

// None tells whether there is nothing to decide against.
func (l Limits) None() bool {
	return !(l.Low > math.Inf(-1)) && !(l.High < math.Inf(1))
}

// Width is High - Low, infinite where an end is open.
func (l Limits) Width() float64 { return l.High - l.Low }

// OpenLow is the limits with a lower one of 0 or less opened: for play, run-out
// and drag, which cannot be less than nothing.
func (l Limits) OpenLow() Limits {
	if l.Low <= 0 {
		l.Low = math.Inf(-1)
	}
	return l
}
