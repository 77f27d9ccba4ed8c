package capture

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thouwright/config"
	"thouwright/internal/ledger"
	"thouwright/internal/method"
	"thouwright/internal/quantity"
	"thouwright/internal/simulate"
	"thouwright/internal/speech"
)

// From the sheet's text to the words that are spoken: a bearing that is too tight is
// never called too loose, whatever unit the gauge sends and the limits are written in,
// which way it counts, on which side it stands and of which hand the thread is. A wrong
// word here loosens a loose bearing.
func TestSidesFromTheSheetToTheWord(t *testing.T) {
	type sender struct {
		unit   quantity.Unit
		places int
		digit  float64 // mm
	}
	rapid.Check(t, func(t *rapid.T) {
		g := rapid.SampledFrom([]sender{{quantity.MM, 3, 0.001}, {quantity.In, 5, 0.000254}, {quantity.UM, 0, 0.001}}).Draw(t, "gauge sends")
		unit := rapid.SampledFrom([]quantity.Unit{quantity.MM, quantity.UM, quantity.In, quantity.Thou}).Draw(t, "limits in")
		hand := rapid.SampledFrom([]string{"right", "left"}).Draw(t, "hand")
		thread := rapid.SampledFrom([]string{`pitch = "1.5 mm"`, `tpi = 18`, `pitch = "0.05 in"`}).Draw(t, "thread")
		sense := rapid.SampledFrom([]float64{1, -1}).Draw(t, "counts")
		zero := rapid.Float64Range(-3, 3).Draw(t, "zero")
		low := rapid.Float64Range(0.05, 0.1).Draw(t, "low")
		high := low + rapid.Float64Range(0.03, 0.08).Draw(t, "width")
		tight := rapid.Bool().Draw(t, "too tight")
		play := high + 0.05
		if tight {
			play = low - 0.03
		}
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))

		limit := func(mm float64) string {
			v, err := quantity.Convert(mm, quantity.MM, unit)
			if err != nil {
				t.Fatal(err)
			}
			return fmt.Sprintf("%.5f", v)
		}
		b, ps := config.ParseBench("bench.toml", []byte("[[gauge]]\nname = \"dial\"\nport = \"/dev/null\"\ndriver = \"signed-decimal\"\nerror_local = \"0.002 mm over 0.5 mm\"\n"))
		if b == nil {
			t.Fatal(ps)
		}
		j, ps := config.ParseJob("job.toml", []byte(fmt.Sprintf(`number = "1"
[[component]]
name = "hub"
[[component.check]]
name = "end play"
method = "end-play"
gauge = "dial"
limits = "%s..%s %s"
[component.check.adjuster]
hand = "%s"
%s
`, limit(low), limit(high), unit, hand, thread)))
		if j == nil {
			t.Fatal(ps)
		}
		s, err := NewSheet(b, j, 1, func(string) ledger.Sends { return ledger.Streams })
		if err != nil {
			t.Fatal(err)
		}
		var out Out
		c := New(s, Resume{}, ledger.Stamp{}, &out)
		var take *ledger.Take
		var guides []ledger.Guide
		var p simulate.Path
		p.Glide(zero, 1)
		steady.Rock(&p, r, zero, play, 20)
		one, _ := quantity.Convert(1, quantity.MM, g.unit)
		for _, x := range (simulate.Gauge{Step: g.digit, Rate: 10, Noise: 0.0003}).Read(&p, r) {
			v := sense * x.Value * one * math.Pow10(g.places)
			d := quantity.Decimal{Coef: uint64(math.Round(math.Abs(v))), Scale: int8(g.places), Neg: v < 0}
			at := ledger.Stamp{Elapsed: int64(x.T * 1e6), Wall: int64(x.T * 1e6)}
			c.Readings([]ledger.Reading{{At: at, Gauge: "dial", Value: d, HasVal: true, Unit: g.unit, Step: math.Pow10(-g.places)}}, &out)
			for _, f := range out.Facts {
				switch f := f.(type) {
				case TakeFact:
					if take == nil {
						take = f.Take
					}
				case GuideFact:
					guides = append(guides, f.Guide)
				}
			}
			out.Reset()
		}
		if take == nil || len(guides) == 0 {
			t.Fatalf("a play of %.3f mm: take %v, %d guides", play, take, len(guides))
		}
		side, word, other, way := "above", "too loose", "too tight", method.Tighten
		if tight {
			side, word, other, way = "below", "too tight", "too loose", method.Slacken
		}
		if take.Verdict != ledger.Fail || take.Side != side || !strings.Contains(take.Say, word) || strings.Contains(take.Say, other) {
			t.Fatalf("%.3f mm in %.3f..%.3f is %v %q, %q", play, low, high, take.Verdict, take.Side, take.Say)
		}
		spoken := map[bool]string{true: "too tight", false: "too much"}
		if got := speech.Take(take, quantity.Thou); !strings.Contains(got, spoken[tight]) || strings.Contains(got, spoken[!tight]) {
			t.Fatalf("spoken %q of a play %s the limits", got, side)
		}
		for _, gd := range guides {
			if gd.Where != side || gd.Way != way || gd.Sure {
				t.Fatalf("%.3f mm in %.3f..%.3f: told %+v", play, low, high, gd)
			}
			clockwise := (way == method.Tighten) == (hand == "right")
			if strings.Contains(gd.Turn, "anticlockwise") == clockwise || !strings.Contains(gd.Turn, "clockwise") {
				t.Fatalf("to %s on a %s-hand thread: %q", way, hand, gd.Turn)
			}
			if say := speech.Guide(method.EndPlay, gd); !strings.HasPrefix(say, spoken[tight]+", "+way) {
				t.Fatalf("spoken %q where the play lies %s", say, side)
			}
		}
	})
}
