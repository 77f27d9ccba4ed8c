package sums

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestTurnAgainstSlots: positions per turn by trying every angle, and every
// position said to be in the band is, and none in the band is left out.
func TestTurnAgainstSlots(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		slots, holes := rapid.IntRange(1, 12).Draw(t, "slots"), rapid.IntRange(1, 6).Draw(t, "holes")
		// Slots at i/slots and mouths at j/holes of a turn line up when the nut
		// has turned by the difference; count in parts of slots × holes.
		parts := map[int]bool{}
		for i := range slots {
			for j := range holes {
				parts[((j*slots-i*holes)%(slots*holes)+slots*holes)%(slots*holes)] = true
			}
		}
		pitch := rapid.Float64Range(0.5, 3).Draw(t, "pitch")
		play := math.Round(rapid.Float64Range(0, 1).Draw(t, "play")*1e4) / 1e4
		low := math.Round(rapid.Float64Range(0, 0.2).Draw(t, "low")*1e4) / 1e4
		high := low + math.Round(rapid.Float64Range(0.001, 0.3).Draw(t, "width")*1e4)/1e4
		pitch = math.Round(pitch*100) / 100
		in := Inputs{"play": {fmt.Sprintf("%.4f", play)}, "band": {fmt.Sprintf("%.4f..%.4f", low, high)}, "pitch": {fmt.Sprintf("%.2f", pitch)},
			"slots": {fmt.Sprint(slots)}, "holes": {fmt.Sprint(holes)}, "offset": {"0 deg"}}
		a := run(t, "turn", in)
		n := int(get(t, a, "positions_per_turn").Value)
		if n != len(parts) {
			t.Fatalf("%d slots, %d mouths: %d positions, counted %d", slots, holes, n, len(parts))
		}
		turned := get(t, a, "turn").Value
		if got := play - turned/360*pitch; math.Abs(got-(low+high)/2) > 1e-9 {
			t.Fatalf("turned by %v the play is %v, aim %v", turned, got, (low+high)/2)
		}
		inBand := 0
		for k := -20 * n; k <= 20*n; k++ {
			if p := play - float64(k)*pitch/float64(n); p >= low-1e-9 && p <= high+1e-9 {
				inBand++
			}
		}
		listed := len(get(t, a, "positions").Words)
		if (inBand > 0) != (get(t, a, "lands").Text == "yes") || inBand <= 2*n && listed != inBand {
			t.Fatalf("%v: %d positions lie in the band, %d are listed, lands %q", in, inBand, listed, get(t, a, "lands").Text)
		}
		if r, ok := a.Result("slot_play"); ok {
			if yes := get(t, a, "slot_in_band").Yes; yes != (r.Value >= low-1e-9 && r.Value <= high+1e-9) || !yes && inBand > 0 {
				t.Fatalf("%v: slot at play %v", in, r.Value)
			}
		}
	})
}

// TestTightenMeansLess: tightening is the way that takes play away, for either
// hand, and the words turn round with the hand.
func TestTightenMeansLess(t *testing.T) {
	for _, x := range []struct{ play, hand, want string }{
		{"0.12", "right", "tighten 20.4 deg clockwise (0.06 turns)"},
		{"0.12", "left", "tighten 20.4 deg anticlockwise (0.06 turns)"},
		{"0.010", "right", "slacken 6.0 deg anticlockwise (0.02 turns)"},
		{"0.010", "left", "slacken 6.0 deg clockwise (0.02 turns)"},
		{"0.035", "right", "leave it as it is"},
	} {
		a := must(t, "turn", "--pitch 1.5 --band 0.02..0.05 --play "+x.play+" --hand "+x.hand)
		if got := result(t, a, "way").Text; got != x.want {
			t.Errorf("play %s, %s hand: %q, expected %q", x.play, x.hand, got, x.want)
		}
	}
}

// TestShimsByTryingAll: no pack of fewer shims would do, and the play comes out
// in the band, by trying every combination.
func TestShimsByTryingAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var sizes []int // hundredths
		var stock []string
		for range rapid.IntRange(1, 4).Draw(t, "kinds") {
			s := rapid.IntRange(3, 60).Draw(t, "size")
			n := rapid.IntRange(1, 3).Draw(t, "count")
			for range n {
				sizes = append(sizes, s)
			}
			stock = append(stock, fmt.Sprintf("0.%02d x%d", s, n))
		}
		play := rapid.IntRange(0, 150).Draw(t, "play")
		low := rapid.IntRange(0, 10).Draw(t, "low")
		high := low + rapid.IntRange(0, 8).Draw(t, "width")
		a := run(t, "shim", Inputs{"play": {fmt.Sprintf("%.2f", float64(play)/100)}, "band": {fmt.Sprintf("%.2f..%.2f", float64(low)/100, float64(high)/100)}, "stock": stock})
		best := 1000
		for mask := range 1 << len(sizes) {
			sum, n := 0, 0
			for i, s := range sizes {
				if mask&(1<<i) != 0 {
					sum, n = sum+s, n+1
				}
			}
			if p := play - sum; p >= low && p <= high {
				best = min(best, n)
			}
		}
		if a.Failed != (best == 1000) {
			t.Fatalf("play %d, band %d..%d, stock %v: failed %v, fewest %d", play, low, high, stock, a.Failed, best)
		}
		if a.Failed {
			return
		}
		if n := int(get(t, a, "count").Value); n != best {
			t.Fatalf("play %d, band %d..%d, stock %v: %d shims, fewest is %d", play, low, high, stock, n, best)
		}
		if p := get(t, a, "play_after").Value * 100; p < float64(low)-1e-6 || p > float64(high)+1e-6 {
			t.Fatalf("play then is %v, outside %d..%d", p, low, high)
		}
	})
}

// TestShimDirection: with shims that hold a cover away, too little play asks for
// a thicker pack.
func TestShimDirection(t *testing.T) {
	a := must(t, "shim", "--play '2 thou' --band '4..8 thou' --adding more --fitted '5, 10 thou' --stock '3 thou x2'")
	if p := result(t, a, "pack").Value / 0.0254; p < 17-1e-9 || p > 21+1e-9 {
		t.Errorf("pack %v thou, expected 17 to 21", p)
	}
	a = must(t, "shim", "--play '2 thou' --band '4..8 thou' --adding less --fitted '5, 10 thou' --stock '3 thou x2'")
	if p := result(t, a, "pack").Value / 0.0254; p < 9-1e-9 || p > 13+1e-9 {
		t.Errorf("pack %v thou, expected 9 to 13", p)
	}
	if a, _ := do(t, "shim", "--play '0.01 mm' --band 0.02..0.05 --stock 0.05"); !a.Failed {
		t.Error("too little play and no shims to take out: not said to fail")
	}
}

// TestTiltGeometry: the formulas against a shaft pushed into every corner of its
// two bushes.
func TestTiltGeometry(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c1, c2 := mm(t, "near", 0, 0.3), mm(t, "far", 0, 0.3)
		over, span := mm(t, "overhang", 0, 200), mm(t, "span", 10, 300)
		a := run(t, "tilt", Inputs{"near": {c1}, "far": {c2}, "overhang": {over}, "span": {span}})
		n := func(s string) (v float64) { _, _ = fmt.Sscan(s, &v); return }
		least, most := math.Inf(1), math.Inf(-1)
		for _, y1 := range []float64{-n(c1) / 2, n(c1) / 2} {
			for _, y2 := range []float64{-n(c2) / 2, n(c2) / 2} {
				y := y1 + (y1-y2)*n(over)/n(span)
				least, most = math.Min(least, y), math.Max(most, y)
			}
		}
		if got := get(t, a, "greatest_reading").Value; math.Abs(got-(most-least)) > 1e-12 {
			t.Fatalf("greatest reading %v, by its corners %v", got, most-least)
		}
		// There and back: the greatest reading of equal bushes gives their
		// clearance as the least it can come from.
		b := run(t, "tilt", Inputs{"clearance": {c1}, "overhang": {over}, "span": {span}})
		r := get(t, b, "reading").High
		back := run(t, "tilt", Inputs{"reading": {fmt.Sprintf("%.9f", r)}, "overhang": {over}, "span": {span}})
		if got := get(t, back, "clearance").Low; math.Abs(got-n(c1)) > 1e-8 {
			t.Fatalf("clearance %s reads %v, which gives back %v", c1, r, got)
		}
	})
}

// TestTheOtherSlotIsNamedByItsSide: which way to turn to a slot is one word, and a play
// below zero is called what it is.
func TestTheOtherSlotIsNamedByItsSide(t *testing.T) {
	notes := strings.Join(must(t, "turn", "--pitch 1.5 --play 0.40 --band 0.02..0.05 --slots 6 --offset 0").Notes, "\n")
	for _, want := range []string{"on the slack side of the aim: tighten 60.0 deg clockwise", "on the tight side of the aim: tighten 120.0 deg", belowZero} {
		if !strings.Contains(notes, want) {
			t.Errorf("%q is missing in\n%s", want, notes)
		}
	}
	if strings.Contains(notes, "slackened") {
		t.Errorf("two ways to turn in one line:\n%s", notes)
	}
	for line, preload := range map[string]bool{
		"turn --pitch 1.5 --play 0.05 --band 0.02..0.03 --slots 6 --offset 0 --to-slot tighten": true,
		"turn --pitch 1.5 --play 0.40 --band 0.02..0.05 --slots 6 --offset 0 --to-slot slacken": false,
		"turn --pitch 1.5 --play 0.05 --band 0.02..0.03 --slots 6 --to-slot tighten":            true,
		"turn --pitch 1.5 --play 0.30 --band 0.2..0.26 --slots 12 --offset 0 --to-slot tighten": false,
		"shim --play 0.31 --band 0.02..0.05 --stock 0.2":                                        true,
		"shim --play 0.31 --band 0.02..0.05 --stock 0.1":                                        false,
	} {
		verb, rest, _ := strings.Cut(line, " ")
		a, err := do(t, verb, rest)
		if err != nil || slices.Contains(a.Notes, belowZero) != preload {
			t.Errorf("%s: preload said %v, want %v (%v)", line, !preload, preload, err)
		}
	}
}

// TestEveryUncertaintyCounts: what says that its ± is counted counts that of the thread,
// of the slot's place and of the overhang too.
func TestEveryUncertaintyCounts(t *testing.T) {
	const turn = "--play 0.285 --band 0.02..0.05 --slots 6 --offset "
	for _, x := range []struct {
		in   string
		want bool
	}{{"0 --pitch 1.5", true}, {"0 --pitch '1.5 ± 0.01'", true}, {"0 --pitch '1.5 ± 0.15'", false}, {"'0 ± 5 deg' --pitch 1.5", false}} {
		a := must(t, "turn", turn+x.in)
		if lands := result(t, a, "lands").Text == "yes"; lands != x.want {
			t.Errorf("%s: lands %v, want %v", x.in, lands, x.want)
		}
		if r, ok := a.Result("slot_in_band"); ok && r.Yes != x.want || !ok && x.want {
			t.Errorf("%s: in the band %v, want %v", x.in, r.Yes, x.want)
		}
	}
	for over, want := range map[string]string{"20": "yes", "'20 ± 1'": "yes", "'20 ± 12'": "not shown"} {
		a := must(t, "tilt", "--reading 0.0125 --clearance 0.009..0.050 --span 120 --overhang "+over)
		if got := result(t, a, "shows_within").Text; !strings.HasPrefix(got, want) {
			t.Errorf("overhang %s: %q, want %q", over, got, want)
		}
	}
}
