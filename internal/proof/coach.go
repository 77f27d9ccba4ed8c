package proof

import (
	"math"
	"slices"
)

// Place tells, while a proof is made, which block the last rest stands on and
// which one is wanted next: up the sizes and down again, so that each but the
// outermost is reached from both sides as often. It is known only once every size
// was rested on (ok is false before); where the sizes are spaced alike from either
// end, the first rest is taken to be on the smallest, as the person is told. A last
// rest on none of the blocks gives NaN for both.
func Place(rests []Rest, sizes []float64, step float64) (on, next float64, ok bool) {
	r := Result{Step: step}
	if len(rests) < 2 {
		return 0, 0, false
	}
	used, known, err := r.onBlocks(rests, sizes)
	if err != nil || len(used) == 0 {
		return 0, 0, false
	}
	all := slices.Clone(sizes)
	slices.Sort(all)
	all = slices.Compact(all)
	if len(known) < len(all) {
		return 0, 0, false
	}
	if used[len(used)-1].T != rests[len(rests)-1].T {
		return math.NaN(), math.NaN(), true
	}
	turned := used[0].at != 0 && mirrored(all)
	at := func(k int) int {
		if turned {
			return len(all) - 1 - used[k].at
		}
		return used[k].at
	}
	last := at(len(used) - 1)
	up := true
	for k := len(used) - 2; k >= 0; k-- {
		if i := at(k); i != last {
			up = last > i
			break
		}
	}
	switch {
	case last == 0:
		up = true
	case last == len(all)-1:
		up = false
	}
	if up {
		return all[last], all[last+1], true
	}
	return all[last], all[last-1], true
}

// mirrored tells whether sizes are spaced alike from either end.
func mirrored(sizes []float64) bool {
	n := len(sizes) - 1
	for i := 1; i <= n; i++ {
		a, b := sizes[i]-sizes[i-1], sizes[n-i+1]-sizes[n-i]
		if math.Abs(a-b) > 1e-6*(sizes[n]-sizes[0]) {
			return false
		}
	}
	return true
}
