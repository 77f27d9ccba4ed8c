package sums

import (
	"math"
	"strconv"

	"thouwright/internal/quantity"
)

// shopPlaces are the digits a length is worked to: a micrometre, a tenth of a
// thou.
var shopPlaces = map[quantity.Unit]int{quantity.MM: 3, quantity.UM: 0, quantity.CM: 4, quantity.M: 6, quantity.In: 4, quantity.Thou: 1}

// toWork is a band of lengths in words, in the unit asked for and in the other
// system: '27.991 to 28.116 mm (1.1021 to 1.1069 in)'. Each end is rounded into
// the band, so that what is made to these words lies within it.
func (r Result) toWork(u quantity.Unit) string {
	other := quantity.In
	if u == quantity.In || u == quantity.Thou || u == quantity.Ft {
		other = quantity.MM
	}
	return r.bandIn(u) + " (" + r.bandIn(other) + ")"
}

func (r Result) bandIn(u quantity.Unit) string {
	low, _ := r.inUnit(r.Low, u)
	high, shown := r.inUnit(r.High, u)
	n, ok := shopPlaces[shown]
	if !ok {
		n = places[shown]
	}
	from, to := roundUp(low, n), roundDown(high, n)
	for n < 8 && from > to { // a band narrower than a shop works to
		n++
		from, to = roundUp(low, n), roundDown(high, n)
	}
	text := func(v float64) string { return strconv.FormatFloat(v, 'f', n, 64) }
	if text(from) == text(to) {
		return text(from) + " " + shown.String()
	}
	return text(from) + " to " + text(to) + " " + shown.String()
}

// A hair of float64 noise is not a digit.
func roundUp(v float64, places int) float64 {
	p := math.Pow10(places)
	return math.Ceil(v*p-1e-6) / p
}

func roundDown(v float64, places int) float64 {
	p := math.Pow10(places)
	return math.Floor(v*p+1e-6) / p
}

// plainly is one length to the digits a shop works to.
func (r Result) plainly(u quantity.Unit) string {
	v, shown := r.inUnit(r.Value, u)
	n, ok := shopPlaces[shown]
	if !ok {
		return number(v, shown) + " " + shown.String()
	}
	return strconv.FormatFloat(v, 'f', n, 64) + " " + shown.String()
}
