package record

import (
	"fmt"
	"math"
	"strconv"

	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// Take is a take with its figures ready to be read.
type Take struct {
	*ledger.Take
	Result  Figure
	U95     Figure
	Drift   Figure // a minute
	Limits  Limits
	Words   string  // 'too loose by …'
	Times   float64 // result over the upper limit; 0 where there is none
	Redone  uint64  // the take that supersedes it; 0: none
	Outcome *Outcome
	Parts   []Part
	Others  []Other
	Left    []Left
}

// Part is a line of the uncertainty budget, ready to be read.
type Part struct {
	Name, Distribution, Divisor string
	Given                       Figure // the half-width or standard deviation
	U                           Figure // the standard uncertainty it gives
	Dof                         string
}

// Other is what else a take found.
type Other struct {
	Name       string
	Value, U95 Figure // U95's texts are "" where it is not known
}

// Text is the value with its uncertainty, in both systems.
func (o Other) Text() string {
	s := plusMinus(o.Value.Text, o.U95.Text, o.Value.Unit)
	if o.Value.Other != "" {
		s += " (" + plusMinus(o.Value.Other, o.U95.Other, o.Value.OtherUnit) + ")"
	}
	return s
}

// Left is a rest that does not count, and why.
type Left struct {
	Rest   int
	After  string // seconds since the take's first rest
	Reason string
}

// newTake readies a take's figures.
func newTake(t *ledger.Take, sheet *quantity.Range) *Take {
	n := &Take{Take: t, Limits: newLimits(t.Low, t.High, t.Unit, sheet)}
	n.Result, n.U95 = figures(t.Result, t.U95, t.Unit)
	n.Drift = figure(t.DriftPerMin, t.U95, t.Unit)
	if t.Bound {
		n.Result.Text = "< " + n.Result.Text
		if n.Result.Other != "" {
			n.Result.Other = "< " + n.Result.Other
		}
	}
	if !math.IsInf(t.High, 1) && t.High > 0 && t.Method != "size" {
		n.Times = t.Result / t.High
	}
	n.Words = metrology.WordsKept(t.Unit, t)
	for _, b := range t.Budget {
		p := Part{Name: b.Part, Distribution: b.Distribution, Divisor: divisorText(b.Divisor), Dof: dofText(b.Dof)}
		p.Given, p.U = figures(b.Value, b.U, b.Unit)
		n.Parts = append(n.Parts, p)
	}
	for _, x := range t.Extras {
		n.Others = append(n.Others, other(t, x))
	}
	for _, x := range t.Rests {
		if !x.Used || x.Reason != "" {
			n.Left = append(n.Left, Left{x.Rest, strconv.FormatFloat(x.T-t.Rests[0].T, 'f', 1, 64), x.Reason})
		}
	}
	return n
}

// other rounds by the quantity's own uncertainty, else by the take's where it is
// of the same kind.
func other(t *ledger.Take, x ledger.Extra) Other {
	o := Other{Name: x.Quantity}
	if x.U95 > 0 {
		o.Value, o.U95 = figures(x.Value, x.U95, x.Unit)
		return o
	}
	place := math.NaN()
	if x.Unit.Kind() == t.Unit.Kind() && x.Unit != quantity.None {
		if u, err := quantity.Convert(t.U95, t.Unit, x.Unit); err == nil {
			place = u
		}
	}
	o.Value = figure(x.Value, place, x.Unit)
	return o
}

// Stands is the result with its uncertainty: '0.218 ± 0.010 mm'.
func (t *Take) Stands() string { return plusMinus(t.Result.Text, t.uncertainty(t.U95.Text), t.Unit) }

// StandsOther is the same in the other system, "" where there is none.
func (t *Take) StandsOther() string {
	if t.Result.Other == "" {
		return ""
	}
	return plusMinus(t.Result.Other, t.uncertainty(t.U95.Other), t.Result.OtherUnit)
}

// StandsBoth is the result with its uncertainty in both systems.
func (t *Take) StandsBoth() string {
	if o := t.StandsOther(); o != "" {
		return t.Stands() + " (" + o + ")"
	}
	return t.Stands()
}

// uncertainty leaves it out of an upper bound, which holds it already.
func (t *Take) uncertainty(s string) string {
	if t.Bound {
		return ""
	}
	return s
}

func plusMinus(v, u string, unit quantity.Unit) string {
	if u != "" {
		v += " ± " + u
	}
	return withUnit(v, unit)
}

// Freedom is the effective degrees of freedom, cut to a whole number (JCGM 100,
// G.4.1).
func (t *Take) Freedom() string { return dofText(t.Dof) }

func dofText(v float64) string {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 1) || v == 0:
		return "∞"
	case v > 1000:
		return "over 1000"
	}
	return strconv.Itoa(int(v + 1e-9))
}

func divisorText(d float64) string {
	for _, r := range []float64{2, 3, 6, 12} {
		if math.Abs(d-math.Sqrt(r)) < 1e-6 {
			return fmt.Sprintf("√%.0f", r)
		}
	}
	if math.Abs(d-math.Round(d)) < 1e-6 {
		return strconv.FormatFloat(math.Round(d), 'f', 0, 64)
	}
	return strconv.FormatFloat(d, 'f', 2, 64)
}
