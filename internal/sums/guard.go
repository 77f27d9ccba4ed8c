package sums

import "math"

// normal is the standard normal distribution function.
func normal(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }

// coverage95 turns an expanded uncertainty (95 %, normal) into a standard one.
const coverage95 = 1.959963984540054

// guarded is the zone in which an estimate with the standard uncertainty u shows
// with the given confidence that the true value lies within low..high (JCGM 106,
// 8.3: a guarded decision); either end may be infinite. ok is false where no
// estimate could show it.
func guarded(low, high, u, confidence float64) (from, to float64, ok bool) {
	if u <= 0 {
		return low, high, low <= high
	}
	in := func(x float64) float64 { return normal((high-x)/u) - normal((low-x)/u) }
	switch {
	case math.IsInf(low, -1) && math.IsInf(high, 1):
		return low, high, true
	case math.IsInf(low, -1):
		return low, edge(in, high, high-20*u, confidence), true
	case math.IsInf(high, 1):
		return edge(in, low, low+20*u, confidence), high, true
	}
	mid := (low + high) / 2
	if in(mid) < confidence {
		return 0, 0, false
	}
	return edge(in, low, mid, confidence), edge(in, high, mid, confidence), true
}

// edge finds where in() reaches the confidence between an outer and an inner
// place, by halving.
func edge(in func(float64) float64, outer, inner, confidence float64) float64 {
	for range 100 {
		m := (outer + inner) / 2
		if in(m) >= confidence {
			inner = m
		} else {
			outer = m
		}
	}
	return inner
}
