package proof

import (
	"math"
	"testing"
)

// Up the blocks and down again, whichever way the gauge counts and wherever its
// zero is; before every block was seen nothing is claimed.
func TestPlaceNamesTheBlockAndTheNext(t *testing.T) {
	for _, sizes := range [][]float64{{1, 1.1, 1.25}, {1, 1.1, 1.2}} { // the second could be read from either end
		for _, sense := range []float64{1, -1} {
			var rests []Rest
			walk := []int{0, 1, 2, 1, 0, 1, 2, 1}
			next := []int{1, 2, 1, 0, 1, 2, 1, 0}
			for k, i := range walk {
				rests = append(rests, Rest{T: float64(k), Value: 7.3 + sense*sizes[i] + 0.0005*float64(k%2), Count: 9})
				on, then, ok := Place(rests, sizes, 0.001)
				if k < 2 {
					if ok {
						t.Errorf("%v, sense %v: a block was named after %d rests", sizes, sense, k+1)
					}
					continue
				}
				if !ok || on != sizes[i] || then != sizes[next[k]] {
					t.Errorf("%v, sense %v, rest %d: on %v, next %v (%v), expected %v and %v", sizes, sense, k+1, on, then, ok, sizes[i], sizes[next[k]])
				}
			}
			rests = append(rests, Rest{T: 20, Value: 9.9})
			if on, next, ok := Place(rests, sizes, 0.001); !ok || !math.IsNaN(on) || !math.IsNaN(next) {
				t.Errorf("a rest on none of the blocks is given as %v, next %v (%v)", on, next, ok)
			}
		}
	}
}
