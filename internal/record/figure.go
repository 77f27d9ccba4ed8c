package record

import (
	"math"
	"strconv"
	"strings"

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

// Full is the figure with its unit, OtherFull that in the other system.
func (f Figure) Full() string { return withUnit(f.Text, f.Unit) }

// OtherFull is "" where there is no other system.
func (f Figure) OtherFull() string {
	if f.Other == "" {
		return ""
	}
	return withUnit(f.Other, f.OtherUnit)
}

// Both is the figure in both systems: '0.218 mm (0.00859 in)'.
func (f Figure) Both() string {
	if f.Other == "" {
		return f.Full()
	}
	return f.Full() + " (" + f.OtherFull() + ")"
}

func withUnit(s string, u quantity.Unit) string {
	if u == quantity.None || s == "" {
		return s
	}
	return s + " " + unitText(u)
}

// unitText is a unit as a document writes it.
func unitText(u quantity.Unit) string {
	switch u {
	case quantity.UM:
		return "µm"
	case quantity.Uin:
		return "µin"
	case quantity.Deg:
		return "°"
	}
	return u.String()
}

// otherUnit is the unit a length is shown in second.
func otherUnit(u quantity.Unit) quantity.Unit {
	switch {
	case !u.IsLength():
		return quantity.None
	case u == quantity.In || u == quantity.Thou || u == quantity.Ft || u == quantity.Uin:
		return quantity.MM
	}
	return quantity.In
}

// figures are a value and its uncertainty, both rounded to the place that the
// uncertainty gives (JCGM 100, 7.2.6), each system for itself.
func figures(v, u95 float64, unit quantity.Unit) (value, unc Figure) {
	value, unc = Figure{Value: v, Unit: unit}, Figure{Value: u95, Unit: unit}
	value.Text, unc.Text = rounded(v, u95)
	if o := otherUnit(unit); o != quantity.None {
		a, err1 := quantity.Convert(v, unit, o)
		b, err2 := quantity.Convert(u95, unit, o)
		if err1 == nil && err2 == nil {
			value.OtherUnit, unc.OtherUnit = o, o
			value.Other, unc.Other = rounded(a, b)
		}
	}
	return value, unc
}

func rounded(v, u float64) (value, unc string) {
	value, unc = metrology.RoundByUncertainty(v, u)
	return minus(value), unc
}

// figure is a number without an uncertainty of its own, to the place that
// another one's uncertainty gives; without any, to six digits.
func figure(v, place float64, unit quantity.Unit) Figure {
	f, _ := figures(v, place, unit)
	return f
}

// Limits is a permitted range, ready to be read.
type Limits struct {
	Low, High         float64 // infinite where open
	Unit              quantity.Unit
	LowText, HighText string // the ends as the sheet writes them, without the unit; "" where open
	Text              string // '0.020 to 0.150 mm', 'up to 0.250 mm'; "" without limits
	Other             string // the same in the other system, rounded inward
}

// Both is the range in both systems.
func (l Limits) Both() string {
	if l.Other == "" {
		return l.Text
	}
	return l.Text + " (" + l.Other + ")"
}

// newLimits writes a range. sheet is the one the job sheet states, nil where
// there is none (a fit, a take without a sheet): its own digits are kept, for
// 0.020 says more than 0.02.
func newLimits(low, high float64, unit quantity.Unit, sheet *quantity.Range) Limits {
	l := Limits{Low: low, High: high, Unit: unit}
	var own [2]string
	if sheet != nil && (sheet.Unit == unit || sheet.Unit == quantity.None) {
		if sheet.HasLow && same(sheet.Low.Float(), low) {
			own[0] = sheet.Low.String()
		}
		if sheet.HasHigh && same(sheet.High.Float(), high) {
			own[1] = sheet.High.String()
		}
	}
	l.LowText, l.HighText = ends(low, high, own)
	l.Text = rangeText(l.LowText, l.HighText, unit)
	l.Other = inOther(l)
	return l
}

func same(a, b float64) bool { return math.Abs(a-b) <= 1e-12*math.Max(math.Abs(a), math.Abs(b)) }

// ends writes both ends with the same number of decimals.
func ends(low, high float64, own [2]string) (string, string) {
	text := [2]string{}
	places := 0
	for i, v := range [2]float64{low, high} {
		if math.IsInf(v, 0) || math.IsNaN(v) {
			continue
		}
		if text[i] = own[i]; text[i] == "" {
			text[i] = ledger.Number(v)
		}
		places = max(places, decimals(text[i]))
	}
	for i, v := range [2]float64{low, high} {
		if n := decimals(text[i]); text[i] != "" && own[i] == "" && n < places {
			text[i] = strconv.FormatFloat(v, 'f', places, 64)
		}
	}
	return text[0], text[1]
}

// decimals counts the digits behind the point.
func decimals(s string) int {
	if i := strings.IndexByte(s, '.'); i >= 0 {
		return len(s) - i - 1
	}
	return 0
}

// inOther is a range of lengths in the other system, rounded inward, so that a
// part good by it is good by the maker's own; "" where that leaves nothing.
func inOther(l Limits) string {
	o := otherUnit(l.Unit)
	if l.Text == "" || o == quantity.None {
		return ""
	}
	a, err1 := quantity.Convert(l.Low, l.Unit, o)
	b, err2 := quantity.Convert(l.High, l.Unit, o)
	if err1 != nil || err2 != nil {
		return ""
	}
	// A digit finer than the sheet's: a tenth of its last digit may be lost.
	worth, err := quantity.Convert(math.Pow10(-max(decimals(l.LowText), decimals(l.HighText))), l.Unit, o)
	if err != nil {
		return ""
	}
	places := min(max(int(math.Ceil(-math.Log10(worth/2))), 0), 8)
	p := math.Pow10(places)
	write := func(v float64, round func(float64) float64, hair float64) string {
		if math.IsInf(v, 0) || math.IsNaN(v) {
			return ""
		}
		return strconv.FormatFloat(round(v*p+hair)/p, 'f', places, 64)
	}
	low, high := write(a, math.Ceil, -1e-6), write(b, math.Floor, 1e-6)
	if low != "" && high != "" && math.Ceil(a*p-1e-6) > math.Floor(b*p+1e-6) {
		return ""
	}
	return rangeText(low, high, o)
}

func rangeText(low, high string, unit quantity.Unit) string {
	switch {
	case low != "" && high != "" && low == high:
		return withUnit(low, unit)
	case low != "" && high != "":
		return withUnit(low+" to "+high, unit)
	case high != "":
		return "up to " + withUnit(high, unit)
	case low != "":
		return "from " + withUnit(low, unit)
	}
	return ""
}
