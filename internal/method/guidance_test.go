package method

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
	"thouwright/internal/simulate"
)

// Below and above are never confused, whatever the gauge's sense, side or unit:
// a wrong word here loosens a loose bearing. The whole way is taken: a hand
// rocks a part with a known end play, the gauge may stand on either side and
// count either way, the limits may be in any unit.
func TestBelowAndAboveAreNeverConfused(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := rapid.SampledFrom([]quantity.Unit{quantity.MM, quantity.UM, quantity.In, quantity.Thou, quantity.CM}).Draw(t, "unit")
		sense := rapid.SampledFrom([]float64{1, -1}).Draw(t, "sense")
		zero := rapid.Float64Range(-8, 8).Draw(t, "zero")
		low := rapid.Float64Range(0.02, 0.05).Draw(t, "low")
		high := low + rapid.Float64Range(0.02, 0.05).Draw(t, "width")
		where := rapid.SampledFrom([]string{WhereBelow, WhereIn, WhereAbove}).Draw(t, "where")
		play := (low + high) / 2
		switch where {
		case WhereBelow:
			play = low - 0.01
		case WhereAbove:
			play = high + 0.03
		}
		left := rapid.Bool().Draw(t, "left-hand thread")
		seed := rapid.Uint64().Draw(t, "seed")

		one, err := quantity.Convert(1, quantity.MM, unit)
		if err != nil {
			t.Fatal(err)
		}
		s := Spec{Method: EndPlay, Unit: unit, Limits: metrology.Limits{Low: low * one, High: high * one}, Gauge: Gauge{HasError: true}}
		mem := new(GaugeMemory)
		m, err := New(s, mem, nil)
		if err != nil {
			t.Fatal(err)
		}
		r := rand.New(rand.NewPCG(seed, 1))
		h := simulate.Hand{Hold: [2]float64{0.6, 1}, Stroke: [2]float64{0.2, 0.4}, Noise: 0.0005}
		var p simulate.Path
		h.Rock(&p, r, zero, play, 16)
		g := simulate.Gauge{Step: 0.001, Rate: 10, Noise: 0.0003}
		var out Out
		for i, x := range g.Read(&p, r) {
			v := sense * x.Value
			mem.Reading(v, 0.001)
			m.Reading(Reading{Seq: uint64(i + 1), T: x.T, Value: v * one, Step: 0.001 * one}, &out)
			if out.Result != nil {
				break
			}
		}
		if out.Result == nil {
			t.Fatal("no take")
		}
		c := out.Result.Budget.Combine()
		s, _ = s.checked()
		guide := Guidance(s, Adjuster{Pitch: 1.5 * one, Left: left}, out.Result.Value, c.U95)
		if guide.Where != where {
			t.Fatalf("play %.4f mm in %.4f..%.4f mm is said to lie %q", play, low, high, guide.Where)
		}
		ways := map[string][]string{WhereBelow: {Slacken}, WhereIn: {Lock, Hold, Tighten, Slacken}, WhereAbove: {Tighten}}
		ok := false
		for _, w := range ways[where] {
			ok = ok || guide.Way == w
		}
		if !ok {
			t.Fatalf("play lies %s: told to %s", where, guide.Way)
		}
		if where != WhereIn {
			clockwise := (guide.Way == Tighten) != left
			if strings.Contains(guide.Turn, "anticlockwise") == clockwise || guide.Turn == "" {
				t.Fatalf("%s on a thread with left %v: %q", guide.Way, left, guide.Turn)
			}
			// As the guide says, so far turned, the play lies in the band.
			var deg float64
			if _, err := fmt.Sscan(guide.Turn, &deg); err != nil {
				t.Fatal(err)
			}
			after := play - deg/360*1.5
			if guide.Way == Slacken {
				after = play + deg/360*1.5
			}
			if after < low || after > high {
				t.Fatalf("%q takes the play from %.4f to %.4f, outside %.4f..%.4f", guide.Turn, play, after, low, high)
			}
		}
		v := metrology.Decide(out.Result.Value, c, s.Limits, 0.95, metrology.Guarded)
		if v.Side != strings.TrimPrefix(where, WhereIn) {
			t.Fatalf("the verdict's side is %q where the play lies %s", v.Side, where)
		}
	})
}

func TestDragTurnsTheOtherWay(t *testing.T) {
	s := Spec{Method: Drag, Limits: metrology.Limits{Low: 1, High: 2}, Confidence: 0.95}
	if g := Guidance(s, Adjuster{}, 3, 0.1); g.Where != WhereAbove || g.Way != Slacken {
		t.Errorf("too much drag: %+v", g)
	}
	if g := Guidance(s, Adjuster{}, 0.5, 0.1); g.Where != WhereBelow || g.Way != Tighten {
		t.Errorf("too little drag: %+v", g)
	}
	if g := Guidance(s, Adjuster{}, 1.5, 0.1); g.Way != Lock || !g.Sure {
		t.Errorf("right drag: %+v", g)
	}
}

// A preload that is worked out may have a limit at zero or below: the way still leads
// into the band, never from a value in it back to its only limit, and the page can be
// told how far off it is.
func TestOneLimitAtZeroOrBelow(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		low, high, value, u95 float64
		way                   string
	}{
		{0, inf, -0.01, 0.05, Tighten},
		{0, inf, 0.01, 0.05, Hold},
		{-1, inf, -1.5, 0.5, Tighten},
		{-1, inf, -3, 0.5, Tighten},
		{-1, inf, -0.9, 0.5, Tighten},
		{0.4, inf, 0.3, 0.3, Tighten},
		{0.4, inf, 0.5, 0.3, Tighten},
		{0.4, inf, 1.3, 3, Hold},
		{-inf, -0.5, -0.45, 0.1, Slacken},
		{-inf, -0.5, -0.55, 0.1, Slacken},
		{-inf, 0.5, 0.55, 0.1, Slacken},
		{-inf, 0.5, 0.45, 0.1, Slacken},
		{-inf, 0.5, 0.05, 3, Hold},
		{-inf, 0, 0.01, 0.05, Slacken},
		{-inf, 0, -0.01, 0.05, Hold},
	} {
		s := Spec{Method: Drag, Limits: metrology.Limits{Low: c.low, High: c.high}, Confidence: 0.95}
		if g := Guidance(s, Adjuster{}, c.value, c.u95); g.Way != c.way || math.IsInf(g.Ratio, 0) || math.IsNaN(g.Ratio) {
			t.Errorf("%v ± %v in %v..%v: %+v, want %s", c.value, c.u95, c.low, c.high, g, c.way)
		}
	}
}

func TestTurnsByTheSlot(t *testing.T) {
	s := Spec{Method: EndPlay, Limits: metrology.Limits{Low: 0.02, High: 0.08}, Confidence: 0.95}
	for _, c := range []struct {
		a    Adjuster
		play float64
		want string
	}{
		{Adjuster{Pitch: 1.5, Slots: 6}, 0.30, "one slot clockwise"},
		{Adjuster{Pitch: 1.5, Slots: 6}, 0.55, "2 slots clockwise"},
		{Adjuster{Pitch: 1.5, Slots: 6}, 0.13, "less than one slot clockwise"},
		{Adjuster{Pitch: 1.5, Slots: 7, Holes: 2}, 0.27, "51 deg clockwise, 2 places"},
		{Adjuster{Pitch: 1.5, Slots: 6, Left: true}, 0.30, "one slot anticlockwise"},
		{Adjuster{Pitch: 1.5}, 0.30, "60 deg clockwise"},
		{Adjuster{}, 0.30, ""},
	} {
		if g := Guidance(s, c.a, c.play, 0.01); g.Turn != c.want || g.Way != Tighten {
			t.Errorf("play %.2f with %+v: %q %q, expected %q", c.play, c.a, g.Way, g.Turn, c.want)
		}
	}
	// Where no side is measured there is nothing to say.
	if g := Guidance(Spec{Method: EndPlay, Limits: metrology.Limits{Low: math.Inf(-1), High: math.Inf(1)}}, Adjuster{}, 0.1, 0.01); g.Way != Hold || g.Turn != "" {
		t.Errorf("without limits: %+v", g)
	}
}
