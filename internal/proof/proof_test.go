package proof

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"thouwright/internal/quantity"
)

// rig is a gauge with an error of its own, pushed over known sizes.
type rig struct {
	step, noise, hysteresis, drift float64 // drift per second
	err                            func(x float64) float64
	sense                          float64
	offset                         float64
	r                              *rand.Rand
}

func (g *rig) reads(x float64, from int, t float64) float64 {
	v := g.offset + g.sense*(x+g.err(x)) - float64(from)*g.hysteresis/2*g.sense + g.drift*t + g.noise*g.r.NormFloat64()
	return math.Round(v/g.step) * g.step
}

// walk rests on each size for a second, at ten readings a second, moving
// between them; it gives the readings.
func (g *rig) walk(sizes []float64) []Reading {
	var out []Reading
	t := 0.0
	at := sizes[0] - 0.3 // comes from outside
	put := func(x float64, from int) {
		out = append(out, Reading{Seq: uint64(len(out) + 1), T: t, Value: g.reads(x, from, t), Digit: g.step})
		t += 0.1
	}
	for _, x := range sizes {
		from := 1
		if x < at {
			from = -1
		}
		for k := 1; k < 4; k++ {
			put(at+(x-at)*float64(k)/4, from)
		}
		for range 10 {
			put(x, from)
		}
		at = x
	}
	return out
}

func collect(rs []Reading, step float64) []Rest {
	c := NewCollector(step, 0.002, false)
	for _, r := range rs {
		c.Reading(r)
	}
	c.Finish()
	return c.Rests
}

func repeat(cycle []float64, n int) []float64 {
	var s []float64
	for range n {
		s = append(s, cycle...)
	}
	return s
}

func TestTwoBlocks(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	g := &rig{step: 0.001, noise: 0.0004, err: func(x float64) float64 { return 0.02 * (x - 1) }, sense: 1, offset: 3.337, drift: 0.00002, r: r}
	rests := collect(g.walk(repeat([]float64{1.0, 1.25}, 6)), 0)
	if len(rests) != 12 {
		t.Fatalf("%d rests, want 12", len(rests))
	}
	for i, x := range rests {
		if want := []int{1, -1}[boolInt(i%2 == 0 && i > 0)]; x.From != want {
			t.Errorf("rest %d from %d, want %d", i, x.From, want)
		}
	}
	res, err := Solve(rests, Standard{Sizes: []float64{1.25, 1.0}, U95: 0.0001}, 0.001)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(res.Error.Value-0.005) > 0.001 || res.Error.Most < 0.005 || res.Error.Most > 0.0065 {
		t.Errorf("error %+v, true 0.005", res.Error)
	}
	if res.Hysteresis != nil {
		t.Error("two blocks, each from one side, gave a hysteresis")
	}
	if !strings.Contains(strings.Join(res.Notes, ""), "part of the error") {
		t.Errorf("notes %q", res.Notes)
	}
	for i := range rests { // a plunger that is lifted and let down each time
		rests[i].From = -1
	}
	if lifted, err := Solve(rests, Standard{Sizes: []float64{1.25, 1.0}}, 0.001); err != nil || !strings.Contains(strings.Join(lifted.Notes, ""), "not in these figures") {
		t.Errorf("lifted: %v, %v", lifted, err)
	}
	if math.Abs(res.Drift-0.0012) > 0.001 {
		t.Errorf("drift %v a minute, true 0.0012", res.Drift)
	}
	if res.Over != 0.25 {
		t.Errorf("over %v", res.Over)
	}
	if s := res.BenchError(quantity.MM); !strings.HasSuffix(s, " mm over 0.25 mm") {
		t.Errorf("bench text %q", s)
	}
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}

func TestThreeBlocksShowHysteresis(t *testing.T) {
	for _, sense := range []float64{1, -1} {
		g := &rig{step: 0.001, noise: 0.0006, hysteresis: 0.004, err: func(float64) float64 { return 0 }, sense: sense, offset: -0.71, r: rand.New(rand.NewPCG(2, 2))}
		// Unequal spacing tells the sense.
		rests := collect(g.walk(repeat([]float64{1.0, 1.1, 1.3, 1.1}, 5)), 0)
		res, err := Solve(rests, Standard{Sizes: []float64{1.0, 1.1, 1.3}}, 0.001)
		if err != nil {
			t.Fatal(err)
		}
		if float64(res.Sense) != sense {
			t.Errorf("sense %d, want %v", res.Sense, sense)
		}
		if res.Hysteresis == nil || math.Abs(res.Hysteresis.Value-0.004) > 0.001 || res.Hysteresis.Most < 0.004 {
			t.Errorf("hysteresis %+v, true 0.004", res.Hysteresis)
		}
		if res.BenchHysteresis(quantity.MM) == "" {
			t.Error("no text for the bench file")
		}
		if p := res.Positions[1]; p.Below == 0 || p.Above == 0 {
			t.Errorf("the middle block: %+v", p)
		}
	}
}

func TestScrew(t *testing.T) {
	// A screw of 0.5 mm pitch and fifty marks, turned five marks at a time.
	g := &rig{step: 0.001, noise: 0.0007, hysteresis: 0.003, err: func(x float64) float64 { return 0.004 * math.Sin(2*math.Pi*x/0.5) }, sense: 1, r: rand.New(rand.NewPCG(3, 3))}
	var path []float64
	for range 3 {
		for i := 0; i <= 10; i++ {
			path = append(path, 2+0.05*float64(i))
		}
		for i := 9; i > 0; i-- {
			path = append(path, 2+0.05*float64(i))
		}
	}
	res, err := Solve(collect(g.walk(path), 0), Standard{Mark: 0.05}, 0.001)
	if err != nil {
		t.Fatal(err)
	}
	const true_ = 2 * 0.004 * 0.9511 // the sine at the marks nearest its crests
	if len(res.Positions) != 11 || math.Abs(res.Error.Value-true_) > 0.0012 || res.Error.Most < true_ {
		t.Errorf("%d positions, error %+v, true %v", len(res.Positions), res.Error, true_)
	}
	if h := res.Hysteresis; h == nil || math.Abs(h.Value-0.003) > 0.0007 {
		t.Errorf("hysteresis %+v, true 0.003", h)
	}
}

// An error that gathers to more than a mark is not taken for a mark less, nor left out.
func TestAScrewCountsMarksFromRestToRest(t *testing.T) {
	g := &rig{step: 0.001, noise: 0.0005, hysteresis: 0.003, err: func(x float64) float64 { return 0.02 * x }, sense: 1, r: rand.New(rand.NewPCG(6, 6))}
	var path []float64
	for range 2 {
		for k := -12; k <= 12; k++ {
			path = append(path, 0.05*float64(12-max(k, -k)))
		}
	}
	res, err := Solve(collect(g.walk(path), 0), Standard{Mark: 0.01}, 0.001)
	if err != nil {
		t.Fatal(err)
	}
	if len(res.LeftOut) > 1 || math.Abs(res.Over-0.6) > 1e-9 || math.Abs(res.Error.Value-0.012) > 0.0015 || res.Error.Most < 0.012 {
		t.Errorf("error %+v over %v, made 0.012 over 0.6; left out %+v", res.Error, res.Over, res.LeftOut)
	}
	// The first rest was the set-up; then they are all between two marks.
	odd := append([]float64{-0.2345}, path...)
	if res, err = Solve(collect(g.walk(odd), 0), Standard{Mark: 0.01}, 0.001); err != nil || math.Abs(res.Error.Value-0.012) > 0.0015 {
		t.Errorf("after a set-up: %+v, %v", res, err)
	}
	for i := range path {
		path[i] += 0.0047 * float64(i/2%2)
	}
	if _, err = Solve(collect(g.walk(path), 0), Standard{Mark: 0.01}, 0.001); err == nil || !strings.Contains(err.Error(), "between two marks") {
		t.Errorf("half of the rests between two marks: %v", err)
	}
}

// What is written bounds the truth in 95 % or more of proofs, also on a gauge
// whose step hides everything.
func TestBoundHolds(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	for _, c := range []struct{ step, noise float64 }{{0.001, 0.0007}, {0.01, 0.0004}, {0.002, 0.0008}, {0.0254, 0.003}} {
		held, n := 0, 300
		for range n {
			slope := 0.08 * (r.Float64() - 0.5)
			g := &rig{step: c.step, noise: c.noise, err: func(x float64) float64 { return slope * x }, sense: 1, offset: r.Float64(), drift: 1e-5 * r.NormFloat64(), r: r}
			gap := 0.2 + 0.1*r.Float64()
			rests := collect(g.walk(repeat([]float64{1.0, 1.0 + gap}, 4)), c.step)
			res, err := Solve(rests, Standard{Sizes: []float64{1, 1 + gap}}, c.step)
			if err != nil {
				t.Fatalf("step %v: %v (%d rests)", c.step, err, len(rests))
			}
			if math.Abs(slope*gap) <= res.Error.Most {
				held++
			}
		}
		if share := float64(held) / float64(n); share < 0.93 {
			t.Errorf("step %v, noise %v: the bound holds in %.3f", c.step, c.noise, share)
		}
	}
}

func TestSolveRefuses(t *testing.T) {
	on := func(vs ...float64) (rs []Rest) {
		for i, v := range vs {
			rs = append(rs, Rest{T: float64(i), Value: v})
		}
		return rs
	}
	for _, c := range []struct {
		rests []Rest
		std   Standard
		want  string
	}{
		{on(1, 2, 1, 2, 1, 2), Standard{Sizes: []float64{1}}, "two or more different sizes"},
		{on(1, 2, 1, 2, 1, 2), Standard{Sizes: []float64{1, 1.01}}, "less than two steps"},
		{on(1, 1, 1, 1, 1, 1), Standard{Sizes: []float64{1, 2}}, "only one of the sizes"},
		{on(1, 2, 1), Standard{Sizes: []float64{1, 2}}, "at least 6 are needed"},
		{on(1, 1, 1, 2, 2, 2), Standard{Sizes: []float64{1, 2}}, ""},
		{on(1, 1, 1, 1, 1, 1), Standard{Mark: 0.5}, "all on one mark"},
		{on(1, 2), Standard{Mark: 0.01}, "--marks"},
		{nil, Standard{Sizes: []float64{1, 2}}, "only one of the sizes"},
		{nil, Standard{Mark: 1}, "0 rests"},
	} {
		_, err := Solve(c.rests, c.std, 0.01)
		if c.want == "" {
			if err != nil {
				t.Errorf("%v: %v", c.rests, err)
			}
			continue
		}
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v on %+v: %v, want %q", c.rests, c.std, err, c.want)
		}
	}
}

// A hand on the gauge between sizes, and a knocked rest, are left out with a
// reason, and change nothing.
func TestLeftOut(t *testing.T) {
	g := &rig{step: 0.001, noise: 0.0007, err: func(x float64) float64 { return 0 }, sense: 1, r: rand.New(rand.NewPCG(4, 4))}
	path := repeat([]float64{1.0, 1.25}, 6)
	path = append(path[:5], append([]float64{4.2}, path[5:]...)...)
	rests := collect(g.walk(path), 0)
	rests[8].Value += 0.02
	res, err := Solve(rests, Standard{Sizes: []float64{1, 1.25}}, 0.001)
	if err != nil {
		t.Fatal(err)
	}
	if len(res.LeftOut) != 2 || res.Error.Most > 0.002 {
		t.Errorf("left out %+v, error %+v", res.LeftOut, res.Error)
	}
	var text, js bytes.Buffer
	if err := res.Text(&text, quantity.MM); err != nil || strings.Count(text.String(), "Left out:") != 2 {
		t.Errorf("%v\n%s", err, text.String())
	}
	var m map[string]any
	if err := res.JSON(&js, "dial-1", quantity.MM); err != nil || json.Unmarshal(js.Bytes(), &m) != nil || m["error_local"] == nil {
		t.Errorf("%v\n%s", err, js.String())
	}
}

func TestUp(t *testing.T) {
	for v, want := range map[float64]string{0.00123: "0.0013", 0.0012: "0.0012", 0.0999: "0.1", 0: "0", 12.1: "13", 0.25: "0.25"} {
		if got := up(v); got != want {
			t.Errorf("up(%v) = %q, want %q", v, got, want)
		}
	}
}

// A screw turned up and back once: each mark is reached once from each side, and that
// tells the hysteresis as well as one size reached often does.
func TestAScrewTurnedUpAndBackShowsTheHysteresis(t *testing.T) {
	g := &rig{step: 0.001, noise: 0.0003, hysteresis: 0.003, err: func(x float64) float64 { return 0.001 * math.Sin(2*math.Pi*x/0.5) }, sense: 1, r: rand.New(rand.NewPCG(5, 5))}
	var marks []float64
	for k := -10; k <= 10; k++ {
		marks = append(marks, 1.3-0.1*math.Abs(float64(k)))
	}
	r, err := Solve(collect(g.walk(marks), 0.001), Standard{Mark: 0.1}, 0.001)
	if err != nil {
		t.Fatal(err)
	}
	if r.Hysteresis == nil {
		t.Fatalf("no hysteresis; notes %q, places %+v", r.Notes, r.Positions)
	}
	if h := r.Hysteresis; math.Abs(h.Value-0.003) > h.U95 || h.U95 > 0.002 {
		t.Errorf("hysteresis %.4f ± %.4f, made 0.003", h.Value, h.U95)
	}
	if math.Abs(r.Error.Value-0.002) > r.Error.U95 {
		t.Errorf("error %.4f ± %.4f, made 0.002", r.Error.Value, r.Error.U95)
	}
}
