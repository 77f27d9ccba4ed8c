package sums

import (
	"math"
	"slices"
)

// spread carries the inputs' uncertainties into the results by first-order
// propagation (JCGM 100, 5.1.2): each uncertain input in turn goes up and down
// by its expanded uncertainty, half the change of a result is its share, and
// independent shares add as squares. One common coverage factor is assumed.
// Limits to work to get no ± but are drawn in by it.
func (s *Sum) spread(v *values, a *Answer) {
	if len(a.Results) == 0 {
		return
	}
	sums := make([]float64, len(a.Results))
	any, lost := false, false
	for name, list := range v.m {
		for i, x := range list {
			if x.u95 == 0 {
				continue
			}
			any = true
			up, err1 := s.run(v.shifted(name, i, x.u95))
			down, err2 := s.run(v.shifted(name, i, -x.u95))
			for k, r := range a.Results {
				d := 0.0
				switch {
				case r.settled && !r.drawn || r.Form > Band:
					continue
				case err1 == nil && err2 == nil:
					d = change(r, up, down) / 2
				case err1 == nil:
					d = change(r, up, a)
				case err2 == nil:
					d = change(r, a, down)
				default:
					d = math.NaN()
				}
				if math.IsNaN(d) {
					lost = true
					if r.drawn { // not known how far to draw it in
						sums[k] = math.Inf(1)
					}
					continue
				}
				sums[k] += d * d
			}
		}
	}
	if !any {
		return
	}
	for k := range a.Results {
		// A share below a picometre is rounding of the arithmetic.
		u := math.Sqrt(sums[k])
		switch r := &a.Results[k]; {
		case r.drawn:
			r.Low, r.High = r.Low+u, r.High-u
		case u > 1e-9:
			r.U95 = u
		}
	}
	a.Results = slices.DeleteFunc(a.Results, func(r Result) bool {
		if r.drawn && !(r.Low <= r.High) {
			a.note(r.Label + ": nothing is left of it once the ± of the inputs is taken off")
			return true
		}
		return false
	})
	a.assume("the ± of the inputs are expanded uncertainties (95 %), independent of each other, carried to first order (JCGM 100)")
	if lost {
		a.note("for some results the uncertainty could not be carried: an input at the edge of its ± gives no answer")
	}
}

// change is how much a result differs between two answers; the larger end of a
// band counts. NaN where one of them lacks it.
func change(r Result, a, b *Answer) float64 {
	x, ok1 := a.Result(r.Name)
	y, ok2 := b.Result(r.Name)
	if !ok1 || !ok2 || x.Form != y.Form {
		return math.NaN()
	}
	if r.Form == Value {
		return x.Value - y.Value
	}
	d := 0.0
	for _, p := range [][2]float64{{x.Low, y.Low}, {x.High, y.High}} {
		if !math.IsInf(p[0], 0) && !math.IsInf(p[1], 0) && math.Abs(p[0]-p[1]) > math.Abs(d) {
			d = p[0] - p[1]
		}
	}
	return d
}

// shifted is a copy of the values with one of them moved.
func (v *values) shifted(name string, i int, by float64) *values {
	w := &values{sum: v.sum, unit: v.unit, m: make(map[string][]value, len(v.m))}
	for n, l := range v.m {
		w.m[n] = append([]value(nil), l...)
	}
	x := &w.m[name][i]
	x.num, x.low, x.high = x.num+by, x.low+by, x.high+by
	return w
}
