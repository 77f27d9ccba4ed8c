package metrology

import (
	"math"
	"strconv"
)

// RoundByUncertainty writes a value and its uncertainty as JCGM 100, 7.2.6,
// asks: the uncertainty to two significant digits, the value to the same place.
// An uncertainty that is zero or not finite leaves the value with six
// significant digits.
func RoundByUncertainty(value, u float64) (val, unc string) {
	u = math.Abs(u)
	if !(u > 0) || math.IsInf(u, 1) {
		return plain(value, 6), ""
	}
	places := 1 - int(math.Floor(math.Log10(u)))
	unc = fixed(u, places)
	// 0.0996 has become 0.10: one place less still shows two digits.
	if r, _ := strconv.ParseFloat(unc, 64); r > 0 {
		if p := 1 - int(math.Floor(math.Log10(r)+1e-12)); p < places {
			places = p
			unc = fixed(u, places)
		}
	}
	return fixed(value, places), unc
}

// fixed writes v with so many places; negative places are zeros before the
// point. It never writes a negative zero.
func fixed(v float64, places int) string {
	if places < 0 {
		p := math.Pow10(-places)
		v, places = math.Round(v/p)*p, 0
	}
	s := strconv.FormatFloat(v, 'f', places, 64)
	if f, _ := strconv.ParseFloat(s, 64); f == 0 && s[0] == '-' {
		s = s[1:]
	}
	return s
}

// plain writes v with so many significant digits and no exponent.
func plain(v float64, digits int) string {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	p := max(digits-1-int(math.Floor(math.Log10(math.Abs(v)))), 0)
	r := math.Round(v*math.Pow10(p)) / math.Pow10(p)
	return strconv.FormatFloat(r, 'f', -1, 64)
}
