package record

import (
	"math"
	"strconv"

	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// Figure is a number in the unit of the limits and, for a length, in the other
// system: mm beside inches, inches beside mm. Texts carry no unit.
type Figure struct {
	Value     float64
	Unit      quantity.Unit
	Text      string
	OtherUnit quantity.Unit // None where there is none
	Other     string
}

// Limits is a permitted range, ready to be read.
type Limits struct {
	Low, High float64 // infinite where open
	Unit      quantity.Unit
	Text      string // '0.020 to 0.150 mm', 'up to 0.250 mm'; "" without limits
	Other     string // the same in the other system, rounded inward
}

// otherUnit is the unit a length is shown in second.
func otherUnit(u quantity.Unit) quantity.Unit {
	switch {
	case !u.IsLength():
		return quantity.None
	case u == quantity.In || u == quantity.Thou || u == quantity.Ft:
		return quantity.MM
	}
	return quantity.In
}

// newTake readies a take's figures, rounded by their uncertainty (JCGM 100,
// 7.2.6).
func newTake(t *ledger.Take) *Take {
	n := &Take{Take: t, Limits: newLimits(t.Low, t.High, t.Unit)}
	n.Result, n.U95 = figures(t.Result, t.U95, t.Unit)
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
	return n
}

// figures are a result and its uncertainty, both rounded to the place that the
// uncertainty gives.
func figures(v, u95 float64, unit quantity.Unit) (value, unc Figure) {
	value, unc = Figure{Value: v, Unit: unit}, Figure{Value: u95, Unit: unit}
	value.Text, unc.Text = metrology.RoundByUncertainty(v, u95)
	if o := otherUnit(unit); o != quantity.None {
		a, err1 := quantity.Convert(v, unit, o)
		b, err2 := quantity.Convert(u95, unit, o)
		if err1 == nil && err2 == nil {
			value.OtherUnit, unc.OtherUnit = o, o
			value.Other, unc.Other = metrology.RoundByUncertainty(a, b)
		}
	}
	return value, unc
}

func newLimits(low, high float64, unit quantity.Unit) Limits {
	l := Limits{Low: low, High: high, Unit: unit}
	l.Text = rangeText(low, high, unit, ledger.Number)
	o := otherUnit(unit)
	if l.Text == "" || o == quantity.None {
		return l
	}
	a, err1 := quantity.Convert(low, unit, o)
	b, err2 := quantity.Convert(high, unit, o)
	if err1 != nil || err2 != nil {
		return l
	}
	// Inward, so that a part good by these is good by the maker's own.
	places := 4
	if o == quantity.MM {
		places = 3
	}
	p := math.Pow10(places)
	inward := func(v float64) string {
		if v == a {
			v = math.Ceil(v*p-1e-6) / p
		} else {
			v = math.Floor(v*p+1e-6) / p
		}
		return strconv.FormatFloat(v, 'f', places, 64)
	}
	l.Other = rangeText(a, b, o, inward)
	return l
}

func rangeText(low, high float64, unit quantity.Unit, text func(float64) string) string {
	hasLow, hasHigh := !math.IsInf(low, -1) && !math.IsNaN(low), !math.IsInf(high, 1) && !math.IsNaN(high)
	u := ""
	if unit != quantity.None {
		u = " " + unit.String()
	}
	switch {
	case hasLow && hasHigh:
		return text(low) + " to " + text(high) + u
	case hasHigh:
		return "up to " + text(high) + u
	case hasLow:
		return "from " + text(low) + u
	}
	return ""
}
