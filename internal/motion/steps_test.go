package motion

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
)

// A gauge whose step is not its last digit is found out from some tens of
// readings, whichever unit it sends and however often a reading goes astray.
func TestStepOfAnyGauge(t *testing.T) {
	for _, c := range []struct {
		step, unit float64 // of the gauge and of what it sends, mm
		places     int
		ratio      float64
	}{
		{0.0254, 1, 3, 25.4}, {0.0254, 1, 4, 254}, {0.0254, 25.4, 3, 1}, {0.0254, 25.4, 5, 100},
		{0.0127, 1, 3, 12.7}, {0.0127, 1, 4, 127}, {0.0127, 25.4, 4, 5}, {0.0127, 25.4, 5, 50},
		{0.01, 1, 2, 1}, {0.01, 1, 3, 10}, {0.01, 25.4, 5, 39.37008}, {0.001, 1, 3, 1}, {0.001, 25.4, 6, 39.37008},
		{0.0005, 1, 4, 5}, {0.0005, 25.4, 6, 19.68504},
	} {
		digit := math.Pow(10, -float64(c.places))
		wrong, low := 0, 0
		for seed := range uint64(200) {
			r := rand.New(rand.NewPCG(seed, 1))
			var s Steps
			x := 5 * r.NormFloat64()
			for range 60 {
				x += 0.4 * r.NormFloat64()
				v := math.Round(x/c.step) * c.step
				if r.Float64() < 0.02 {
					v = 5 * r.NormFloat64()
				}
				sent, _ := strconv.ParseFloat(strconv.FormatFloat(v/c.unit, 'f', c.places, 64), 64)
				s.Reading(sent, digit)
				if s.Most() < c.ratio*0.999 && s.count > 0 {
					low++
				}
			}
			if math.Abs(s.Ratio()-c.ratio) > 1e-3 {
				wrong++
			}
		}
		if wrong > 6 {
			t.Errorf("step %v mm as %d places of %v mm: %d of 200 gauges got another step than %v last digits", c.step, c.places, c.unit, wrong, c.ratio)
		}
		if low > 200*60/25 {
			t.Errorf("step %v mm as %d places of %v mm: the most it may be was too small at %d of 12000 readings", c.step, c.places, c.unit, low)
		}
	}
}

// A few sizes that lie near each other, pressed on a micrometer of a micrometre, leave
// open little more than what they show: no step larger than a change that was seen
// can be feared, nor one that a change happens to fall on.
func TestAFewSizesBoundTheStep(t *testing.T) {
	const takes = 4000
	for n, most := range map[int]float64{3: 2.5, 4: 1.8, 5: 1.5} {
		sum, wide := 0.0, 0
		for seed := range uint64(takes) {
			r := rand.New(rand.NewPCG(seed, 3))
			var s Steps
			low, high := math.Inf(1), math.Inf(-1)
			for range n {
				v := math.Round(1000 * (30 + 0.003*r.NormFloat64()))
				low, high = math.Min(low, v), math.Max(high, v)
				s.Reading(v/1000, 0.001)
			}
			if s.Most() > math.Max(1, high-low+1) {
				t.Fatalf("sizes %v digits apart leave a step of %v open", high-low, s.Most())
			}
			sum += s.Most()
			if s.Most() > 5 {
				wide++
			}
		}
		if sum/takes > most || wide > takes/40 {
			t.Errorf("%d sizes: the step may be %.2f digits on average, over 5 in %d of %d", n, sum/takes, wide, takes)
		}
	}
	// 7.9 digits were once feared of these.
	var s Steps
	for _, v := range []float64{30.008, 30.000, 30.008, 30.000, 30.008} {
		s.Reading(v, 0.001)
	}
	if s.Most() > 2 {
		t.Errorf("a change of 8 digits leaves a step of %v open", s.Most())
	}
}

// Two stops a few steps apart are two rests, not one, whatever was seen before.
func TestStopsAFewStepsApart(t *testing.T) {
	const step = 0.0254
	for _, codes := range []float64{2, 3, 4, 6} {
		for seed := range uint64(20) {
			r := rand.New(rand.NewPCG(seed, 2))
			f := NewFinder(Settings{Floor: 0.002})
			f.SetStep(step)
			ended, n := 0, uint64(0)
			for i := range 600 { // ten a second, a second at each stop, the edge of a code now and then
				n++
				at := float64(i / 10 % 2)
				v := at * codes
				switch {
				case i%10 == 0:
					v = (1-at)*codes + (2*at-1)*codes*r.Float64() // on the way
				case i%10 == 9 && r.Float64() < 0.5:
					v += 1 - 2*at // sets out already
				case r.Float64() < 0.1:
					v += 1 - 2*at // flickers
				}
				if f.Reading(float64(i)/10, math.Round(v)*step, n)&RestEnded != 0 {
					ended++
				}
			}
			if ended < 50 || ended > 70 {
				t.Errorf("%v steps apart, seed %d: %d rests in 60 holds; the window is %.1f steps", codes, seed, ended, f.Window()/step)
			}
		}
	}
}
