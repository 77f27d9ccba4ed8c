package motion

import (
	"math/rand/v2"
	"testing"
)

// A ring that grows finds the very rests that one of full size from the start
// finds, long rests that fall out of it included.
func TestRingGrows(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	set := Settings{Floor: 0.002}
	small, full := NewFinder(set), NewFinder(set)
	full.ring = make([]sample, ringSize)
	at, longest := 0.0, 0
	var seq uint64
	for range 200 {
		level := float64(r.IntN(2000)) / 1000
		hold := 1 + r.IntN(20)
		if r.IntN(10) == 0 {
			hold = r.IntN(700)
		}
		longest = max(longest, hold)
		for range hold {
			at += 0.08 + 0.04*r.Float64()
			seq++
			v := level + float64(r.IntN(2))/1000
			small.SetStep(0.001)
			full.SetStep(0.001)
			a, b := small.Reading(at, v, seq), full.Reading(at, v, seq)
			if a != b || small.Current() != full.Current() || small.Ended() != full.Ended() {
				t.Fatalf("reading %d: %v %+v %+v, with a full ring %v %+v %+v", seq, a, small.Current(), small.Ended(), b, full.Current(), full.Ended())
			}
		}
	}
	if longest <= 2*ringSize || len(small.ring) != ringSize {
		t.Fatalf("no rest was longer than the ring: %d, ring %d", longest, len(small.ring))
	}
}
