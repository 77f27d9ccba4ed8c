// Package speech puts results and places into words for the ear, with numbers
// as the trade says them: thou and tenths, hundredths of a millimetre. It is
// pure, and shared by the bench computer's speech and the page's.
package speech

import (
	"math"
	"strconv"
	"strings"

	"thouwright/internal/quantity"
)

// Value says v, a value in unit from, in the unit a person reads (ignored where
// it is of another kind). Short lengths are said in the trade's small units,
// each to the tenth of it:
//
//	in, thou  3.2 thou     "three point two thou"
//	          0.4 thou     "four tenths" (of a thou)
//	          1.1806 in    "one point one eight zero six inches"
//	mm        0.032 mm     "three point two hundredths"
//	          0.0045 mm    "four and a half microns"
//	          29.974 mm    "twenty-nine point nine seven four millimetres"
//	um        32 um        "thirty-two microns"
func Value(v float64, from, unit quantity.Unit) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "no number"
	}
	if unit.Kind() != from.Kind() || unit == quantity.None {
		unit = from
	}
	in := func(u quantity.Unit) float64 {
		if c, err := quantity.Convert(v, from, u); err == nil {
			return c
		}
		return v
	}
	minus := ""
	if v < 0 {
		minus = "minus "
		v = -v
	}
	switch unit {
	case quantity.In, quantity.Thou:
		return minus + inches(in(quantity.Thou))
	case quantity.UM:
		return minus + counted(in(quantity.UM), 1, "micron", "microns")
	}
	if unit.IsLength() {
		return minus + millimetres(in(quantity.MM))
	}
	one, many := unitWords(unit)
	return minus + counted(in(unit), placesFor(in(unit)), one, many)
}

// wholeInches is the size in thou from which a length is a size and not a play.
const wholeInches = 250

func inches(thou float64) string {
	switch {
	case thou >= wholeInches:
		return decimal(thou/1000, 4) + " inches"
	case round(thou, 1) < 1:
		return counted(thou*10, 0, "tenth", "tenths")
	}
	return counted(thou, 1, "thou", "thou")
}

func millimetres(mm float64) string {
	switch {
	case round(mm, 3) >= 1:
		return counted(mm, 3, "millimetre", "millimetres")
	case round(mm*100, 1) < 1:
		return counted(mm*1000, 1, "micron", "microns")
	}
	return counted(mm*100, 1, "hundredth", "hundredths")
}

// placesFor keeps three digits of forces and torques.
func placesFor(v float64) int {
	switch {
	case v >= 100:
		return 0
	case v >= 10:
		return 1
	}
	return 2
}

func unitWords(u quantity.Unit) (one, many string) {
	switch u {
	case quantity.N:
		return "newton", "newtons"
	case quantity.KN:
		return "kilonewton", "kilonewtons"
	case quantity.Lbf:
		return "pound", "pounds"
	case quantity.Ozf:
		return "ounce", "ounces"
	case quantity.Kgf:
		return "kilogram force", "kilograms force"
	case quantity.NM:
		return "newton metre", "newton metres"
	case quantity.NCM:
		return "newton centimetre", "newton centimetres"
	case quantity.LbfIn:
		return "inch pound", "inch pounds"
	case quantity.LbfFt:
		return "foot pound", "foot pounds"
	case quantity.OzfIn:
		return "inch ounce", "inch ounces"
	case quantity.Deg:
		return "degree", "degrees"
	case quantity.None:
		return "", ""
	}
	return u.String(), u.String()
}

// counted says a number with at most places digits behind the point, and its
// unit; a half is said as one.
func counted(v float64, places int, one, many string) string {
	v = round(v, places)
	if v == 1 {
		return strings.TrimSpace("one " + one)
	}
	if whole, part := math.Modf(v); part == 0.5 && whole < 100 {
		if whole == 0 {
			return "half a " + one
		}
		return strings.TrimSpace(integer(int64(whole)) + " and a half " + many)
	}
	return strings.TrimSpace(decimal(v, places) + " " + many)
}

func round(v float64, places int) float64 {
	p := math.Pow(10, float64(places))
	return math.Round(v*p) / p
}

// decimal says 29.974 as "twenty-nine point nine seven four", without zeros at
// the end.
func decimal(v float64, places int) string {
	s := strconv.FormatFloat(v, 'f', places, 64)
	whole, part, _ := strings.Cut(s, ".")
	n, err := strconv.ParseInt(whole, 10, 64)
	if err != nil {
		return s // nobody's measurement: let the speech program try
	}
	out := integer(n)
	if part = strings.TrimRight(part, "0"); part == "" {
		return out
	}
	out += " point"
	for _, d := range part {
		out += " " + small[d-'0']
	}
	return out
}

var small = []string{"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"}
var tens = []string{"", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"}

// integer says a number from 0 on.
func integer(n int64) string {
	switch {
	case n < 20:
		return small[n]
	case n < 100:
		if n%10 == 0 {
			return tens[n/10]
		}
		return tens[n/10] + "-" + small[n%10]
	case n < 1000:
		return and(small[n/100]+" hundred", n%100)
	case n < 1_000_000:
		head := integer(n/1000) + " thousand"
		if n%1000 >= 100 {
			return head + " " + integer(n%1000)
		}
		return and(head, n%1000)
	}
	return strconv.FormatInt(n, 10)
}

func and(head string, rest int64) string {
	if rest == 0 {
		return head
	}
	return head + " and " + integer(rest)
}
