package method

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thouwright/internal/simulate"
)

// rocked feeds a machine a play of 0.3 mm seen in steps of 0.01 mm, tells progress
// after each reading, and gives the result.
func rocked(t interface{ Fatal(...any) }, s Spec, h simulate.Hand, strokes int, seed uint64, progress func(Progress)) *Result {
	r := rand.New(rand.NewPCG(seed, 3))
	var p simulate.Path
	h.SetUp(&p, r, 2, 8)
	h.Rock(&p, r, 0.3, 0.3, strokes)
	mem, minus := new(GaugeMemory), new(GaugeMemory)
	m, err := New(s, mem, minus)
	if err != nil {
		t.Fatal(err)
	}
	const step = 0.01
	var out Out
	for i, x := range (simulate.Gauge{Step: step, Rate: 10, Offset: 3.2}).Read(&p, r) {
		for d := m.Deadline(); d < x.T && out.Result == nil; d = m.Deadline() {
			m.Tick(d, &out)
		}
		mem.Reading(x.Value, step)
		m.Reading(Reading{Seq: uint64(i + 1), T: x.T, Value: x.Value, Step: step}, &out)
		if s.Minus != nil && out.Result == nil {
			minus.Reading(1, step)
			m.Reading(Reading{Seq: uint64(i + 1), T: x.T, Value: 1, Step: step, Minus: true}, &out)
		}
		if out.Result != nil {
			return out.Result
		}
		progress(m.Progress())
	}
	return nil
}

var evenHand = simulate.Hand{Hold: [2]float64{0.8, 1}, Stroke: [2]float64{0.3, 0.4}}

// Every number of strokes that a job sheet may ask for makes a take of so many, and
// four, which leave too little to judge by, are taken for six.
func TestAsManyStrokesAsAskedFor(t *testing.T) {
	for asked, made := range map[int]int{4: 6, 6: 6, 8: 8, 62: 62, 64: 64, 200: 200} {
		for _, most := range []int{0, asked} {
			s := mmSpec(Play, simulate.Gauge{})
			s.Strokes, s.MaxStrokes = asked, most
			res := rocked(t, s, evenHand, made+6, 1, func(Progress) {})
			if res == nil || res.Strokes != made {
				t.Errorf("%d asked for, at most %d: %+v", asked, most, res)
			}
		}
	}
}

// Two gauges whose difference is the same at each stop need no more strokes than one.
func TestTwoMoreStrokesWhereTheStopsScatter(t *testing.T) {
	for _, two := range []bool{false, true} {
		for noise, want := range map[float64]int{0: 6, 0.008: 8} {
			s := mmSpec(Play, simulate.Gauge{})
			if two {
				s.Minus = &Gauge{Name: "m", HasError: true}
			}
			h, said := evenHand, false
			h.Noise = noise
			res := rocked(t, s, h, 16, 4, func(p Progress) {
				said = said || strings.HasSuffix(p.Say, "of 8 strokes: the stops scatter")
			})
			if res == nil || res.Strokes != want || want > 6 && !said {
				t.Errorf("two gauges %v, stops that scatter by %v: said %v, %+v", two, noise, said, res)
			}
		}
	}
}

// As long as there is no take more strokes are wanted than were made.
func TestMoreIsWantedUntilTheTakeIsMade(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := simulate.Hand{Hold: [2]float64{0.5, 1.5}, Stroke: [2]float64{0.3, 0.6},
			Noise: rapid.Float64Range(0, 0.06).Draw(t, "noise"), Short: rapid.Float64Range(0, 0.3).Draw(t, "short")}
		s := mmSpec(Play, simulate.Gauge{})
		s.Strokes = rapid.SampledFrom([]int{4, 6, 8, 12}).Draw(t, "strokes")
		s.MaxStrokes = s.Strokes + rapid.SampledFrom([]int{0, 2, 6}).Draw(t, "more")
		rocked(t, s, h, 24, rapid.Uint64().Draw(t, "seed"), func(p Progress) {
			if p.Strokes >= p.Wanted || p.Wanted > p.Most || p.Wanted%2 != 0 && p.LeftOut == 0 || math.IsNaN(p.U95) {
				t.Fatalf("%+v", p)
			}
			if p.Strokes > 0 && !strings.HasPrefix(p.Say, fmt.Sprintf("%d of %d strokes", p.Strokes, p.Wanted)) {
				t.Fatalf("%+v", p)
			}
		})
	})
}

// Whoever is called away with the part held at a stop begins anew, and is told so.
func TestALongPauseIsSaid(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 9))
	h := simulate.Hand{Hold: [2]float64{0.7, 1}, Stroke: [2]float64{0.2, 0.4}, Noise: 0.0004}
	g := simulate.Gauge{Step: 0.001, Rate: 10}
	var p simulate.Path
	h.SetUp(&p, r, 2, 4)
	h.Rock(&p, r, 0, 0.1, 6)
	p.Hold(10, 0, 0)
	h.Rock(&p, r, 0, 0.1, 12)
	mem := new(GaugeMemory)
	m, err := New(mmSpec(Play, g), mem, nil)
	if err != nil {
		t.Fatal(err)
	}
	var out Out
	said := 0
	for i, x := range g.Read(&p, r) {
		if out.Reset(); !math.IsInf(m.Deadline(), 1) && m.Deadline() < x.T {
			m.Tick(m.Deadline(), &out)
		}
		mem.Reading(x.Value, 0.001)
		m.Reading(Reading{Seq: uint64(i + 1), T: x.T, Value: x.Value, Step: 0.001}, &out)
		for _, n := range out.Notes {
			if n.Kind == StrokeLeftOut && n.Text == reasonPaused {
				said++
			}
		}
		if out.Result != nil {
			break
		}
	}
	if said != 1 || out.Result == nil {
		t.Errorf("a pause of ten seconds amid the strokes: said %d times, then %+v", said, out.Result)
	}
}

// A play of one code is told by a finer look at what is one long rest to the other: where
// its strokes end, nobody has paused.
func TestNoPauseIsSaidOfAPlayOfOneCode(t *testing.T) {
	mem := new(GaugeMemory)
	m, err := New(mmSpec(Play, simulate.Gauge{}), mem, nil)
	if err != nil {
		t.Fatal(err)
	}
	var out Out
	now, counted := 0.0, 0
	read := func(v float64, seconds float64) {
		for range int(10*seconds + 0.5) {
			now += 0.1
			mem.Reading(v, 0.01)
			m.Reading(Reading{Seq: uint64(10*now + 0.5), T: now, Value: v, Step: 0.01}, &out)
			counted = max(counted, m.Progress().Strokes)
		}
	}
	for _, v := range []float64{1.5, 1.9, 2.4, 1.7, 1.3} {
		read(v, 0.1)
	}
	for range 4 {
		read(1.23, 1.2)
		read(1.24, 1.2)
	}
	read(1.23, 5) // too long for one of these
	read(1.24, 1.2)
	read(1.23, 1.2)
	if counted < lostSaid {
		t.Fatalf("only %d strokes of one code were seen", counted)
	}
	for _, n := range out.Notes {
		if n.Text == reasonPaused {
			t.Errorf("at %.1f s: %s", n.T, n.Text)
		}
	}
}
