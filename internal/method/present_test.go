package method

import (
	"math"
	"math/rand/v2"
	"testing"

	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
	"thouwright/internal/simulate"
)

// A nut is turned between two strokes, and the hand rocks on: whoever is told the way
// while too tight a bearing is being made must never hear it of what was too loose
// before. After four strokes of the new play the word is there, and right.
func TestTheGuideFollowsThePresentPlay(t *testing.T) {
	plays := []float64{0.14, 0.09, 0.07, 0.04, 0.012, 0.007} // against 0.02..0.06
	for _, noise := range []float64{0.0005, 0.001, 0.002} {
		wrong, stale, told, due := 0, 0, 0, 0
		for seed := range uint64(150) {
			r := rand.New(rand.NewPCG(seed, 77))
			h := simulate.Hand{Hold: [2]float64{0.6, 1}, Stroke: [2]float64{0.2, 0.4}, Noise: noise}
			var p simulate.Path
			h.SetUp(&p, r, 2, 3)
			middle, side := 1.0, 1.0
			type part struct{ from, play float64 }
			var parts []part
			for range 3 {
				play := plays[r.IntN(len(plays))]
				parts = append(parts, part{p.End(), play})
				for range 5 + r.IntN(4) {
					p.Glide(middle+side*play/2+noise*r.NormFloat64(), 0.2+0.2*r.Float64())
					p.Hold(0.6+0.4*r.Float64(), 0, 0)
					side = -side
				}
			}
			s := Spec{Method: EndPlay, Unit: quantity.MM, Limits: metrology.Limits{Low: 0.02, High: 0.06}, Gauge: Gauge{HasError: true}}
			mem := new(GaugeMemory)
			m, err := New(s, mem, nil)
			if err != nil {
				t.Fatal(err)
			}
			strokes, now := 0, 0 // since the play is what it is
			var out Out
			for i, x := range (simulate.Gauge{Step: 0.001, Rate: 10, Noise: 0.0003}).Read(&p, r) {
				for now+1 < len(parts) && x.T >= parts[now+1].from {
					now, strokes = now+1, 0
				}
				mem.Reading(x.Value, 0.001)
				out.Reset()
				m.Reading(Reading{Seq: uint64(i + 1), T: x.T, Value: x.Value, Step: 0.001}, &out)
				if out.Result != nil {
					if m, err = New(s, mem, nil); err != nil {
						t.Fatal(err)
					}
					strokes = 0
					continue
				}
				for _, n := range out.Notes {
					if n.Kind == RestFound {
						strokes++
					}
					if n.Kind != StrokeCounted || strokes == 0 {
						continue
					}
					play := parts[now].play
					where := func(p Progress) string { return Guidance(s, Adjuster{}, p.Result, p.U95).Where }
					is := where(Progress{Result: play})
					opposite := func(said string) bool { return said != is && said != WhereIn && is != WhereIn }
					if old := m.Progress(); old.HasResult && opposite(where(old)) {
						stale++
					}
					pr := Present(m)
					if pr.HasResult && opposite(where(pr)) {
						wrong++
						t.Logf("seed %d: %.3f mm, said to be %.4f ± %.4f after %d strokes of it", seed, play, pr.Result, pr.U95, strokes)
					}
					if strokes >= 5 {
						due++
						if pr.HasResult && math.Abs(pr.Result-play) < 0.01 {
							told++
						}
					}
				}
			}
		}
		t.Logf("noise %g: %d wrong words (%d of all strokes alike), right after four strokes %d of %d", noise, wrong, stale, told, due)
		if wrong > 0 || stale == 0 || told < due*19/20 {
			t.Errorf("noise %g: %d wrong words, %d of all strokes alike; right after four strokes %d of %d", noise, wrong, stale, told, due)
		}
	}
}

// A gauge of half or a whole thou shows plays of 0.055 and 0.2 mm as two to four steps
// and eight to sixteen: what was before and what is now make a mean that is like both,
// and told by it a nut that is right would be turned further.
func TestTheGuideFollowsOnACoarseGauge(t *testing.T) {
	for _, step := range []float64{0.0127, 0.0254} {
		wrong, told, due := 0, 0, 0
		for seed := range uint64(200) {
			r := rand.New(rand.NewPCG(seed, 78))
			before, play := 0.2, 0.055
			if seed%2 > 0 {
				before, play = play, before
			}
			var p simulate.Path
			p.Glide(1, 1)
			side, from := 1.0, 0.0
			for k := range 18 {
				l := before
				if first := 4 + int(seed%7); k >= first {
					if l = play; k == first {
						from = p.End()
					}
				}
				p.Glide(1+side*l/2+0.001*r.NormFloat64(), 0.2+0.2*r.Float64())
				p.Hold(0.6+0.4*r.Float64(), 0, 0)
				side = -side
			}
			s := Spec{Method: EndPlay, Unit: quantity.MM, Limits: metrology.Limits{Low: 0.03, High: 0.08}, Gauge: Gauge{HasError: true, Step: step}}
			mem := new(GaugeMemory)
			m, err := New(s, mem, nil)
			if err != nil {
				t.Fatal(err)
			}
			strokes := -1 // one goes from a stop of before to one of now
			var out Out
			for i, x := range (simulate.Gauge{Step: step, Rate: 10, Noise: 0.0003}).Read(&p, r) {
				mem.Reading(x.Value, step)
				out.Reset()
				m.Reading(Reading{Seq: uint64(i + 1), T: x.T, Value: x.Value, Step: step}, &out)
				if out.Result != nil {
					if m, err = New(s, mem, nil); err != nil {
						t.Fatal(err)
					}
					continue
				}
				if x.T < from {
					continue
				}
				for _, n := range out.Notes {
					if n.Kind == RestFound {
						strokes++
					}
				}
				if pr := Present(m); strokes >= 3 && pr.HasResult && len(out.Notes) > 0 {
					due++
					if math.Abs(pr.Result-play) > 1.5*step {
						wrong++
						t.Logf("step %v, seed %d: %.3f mm is said to be %.3f ± %.3f after %d strokes", step, seed, play, pr.Result, pr.U95, strokes)
					} else {
						told++
					}
				}
			}
		}
		t.Logf("step %v: %d of %d right", step, told, due)
		if wrong > 0 || told < 200 {
			t.Errorf("step %v: %d words of %d are of another play", step, wrong, due)
		}
	}
}
