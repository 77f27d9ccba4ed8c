package motion

import (
	"slices"
	"testing"
)

// ASTM E1049-85, 5.2 and Fig. 4: the sequence whose simple ranges are
// counted 3:1, 4:2, 6:2, 7:1, 8:2 (sequence seen in a
// public test suite, recomputed; the figure from memory).
func TestTurningPointsOfE1049(t *testing.T) {
	turns := []float64{-2, 1, -3, 5, -1, 3, -4, 4, -2}
	// With points on the way between the turns, which must not count.
	var signal []float64
	for i, v := range turns {
		if i > 0 {
			signal = append(signal, (turns[i-1]+v)/2)
		}
		signal = append(signal, v)
	}
	var got []float64
	for _, i := range TurningPoints(signal, 0.5) {
		got = append(got, signal[i])
	}
	if !slices.Equal(got, turns) {
		t.Fatalf("turning points %v, expected %v", got, turns)
	}
	counts := map[float64]int{}
	for k := 1; k < len(got); k++ {
		counts[max(got[k]-got[k-1], got[k-1]-got[k])]++
	}
	for r, n := range map[float64]int{3: 1, 4: 2, 6: 2, 7: 1, 8: 2} {
		if counts[r] != n {
			t.Errorf("range %v counted %d times, published %d", r, counts[r], n)
		}
	}
}
