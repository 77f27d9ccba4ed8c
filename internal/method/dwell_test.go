package method

import (
	"math"
	"math/rand/v2"
	"testing"

	"thouwright/internal/quantity"
	"thouwright/internal/simulate"
)

// A hand that sways goes to and fro between the same two places and stands at
// neither. Next to none of it becomes a take (2 of these 60 do: of 3 steps a coarse
// gauge shows little of what is between; without the question 47 did).
func TestSwayingIsNoTake(t *testing.T) {
	const step = 0.0127
	takes := 0
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 91))
		reach, hertz, rate := step*(1.2+2*r.Float64()), 0.25+0.5*r.Float64(), 8+10*r.Float64()
		var readings []simulate.Reading
		for at := 0.0; at < 60; at += (0.9 + 0.2*r.Float64()) / rate {
			x := 1.234 + reach*math.Sin(2*math.Pi*hertz*at) + 0.2*step*r.NormFloat64()
			readings = append(readings, simulate.Reading{T: at, Value: math.Round(x/step) * step})
		}
		mem := new(GaugeMemory)
		m, err := New(Spec{Method: Play, Unit: quantity.MM, Gauge: Gauge{HasError: true}}, mem, nil)
		if err != nil {
			t.Fatal(err)
		}
		if res := run(t, m, mem, readings, step); res != nil {
			takes++
			t.Logf("seed %d: swaying by ± %.1f steps, %.1f times a second, made a take of %.1f", seed, reach/step, hertz, res.Value/step)
		}
	}
	if takes > 3 {
		t.Errorf("%d takes of 60 minutes of swaying", takes)
	}
}

// Time is counted by each stroke of its own, but for those with a pause on the way.
func TestBetweenIsAMoment(t *testing.T) {
	var l trail
	turns := []turn{{side: -1}, {side: 1}, {side: -1}, {side: 1}}
	for k := range turns {
		turns[k].T, turns[k].Value = float64(k), float64(k%2)
	}
	for i := range 31 {
		at := float64(i) / 10
		l.add(place{t: at, v: math.Abs(math.Mod(at+1, 2) - 1)}) // at an even pace: in the middle half for half of the time
	}
	if b := l.between(turns, 1); math.Abs(b-0.5) > 0.1 {
		t.Errorf("an even pace is %.2f of its time in the middle half", b)
	}
	turns[2].paused = 1
	l = trail{}
	for i := range 31 {
		at := float64(i) / 10
		v := float64(int(at+0.5) % 2)
		if at > 1 && at < 2 {
			v = 0.5 // a pause on the way is counted elsewhere
		}
		l.add(place{t: at, v: v})
	}
	if b := l.between(turns, 1); b != 0 {
		t.Errorf("stops are %.2f of the time in the middle half", b)
	}
}
