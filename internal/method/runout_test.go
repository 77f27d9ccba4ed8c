package method

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"thouwright/internal/quantity"
)

// circleTrace reads a constructed roundness trace.
func circleTrace(t *testing.T) (radii []float64) {
	f, err := os.Open("../../testdata/reference/circle_constructed16.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) != 17 {
		t.Fatalf("%d rows, expected a head and 16 (%v)", len(rows), err)
	}
	for i, row := range rows[1:] {
		angle, err1 := strconv.ParseFloat(row[0], 64)
		v, err2 := strconv.ParseFloat(row[1], 64)
		if err1 != nil || err2 != nil || angle != 22.5*float64(i) {
			t.Fatalf("row %v: expected a radius at %v deg", row, 22.5*float64(i))
		}
		radii = append(radii, v)
	}
	return radii
}

func TestStationsGiveThePublishedCircle(t *testing.T) {
	radii := circleTrace(t)
	f, err := os.Open("../../testdata/reference/circle_expected.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) != 6 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	c := FitCircle(radii)
	sin, cos := math.Sincos(c.AngleDeg * math.Pi / 180)
	got := map[string]float64{ // mm
		"eccentricity": c.Eccentricity, "eccentricity_x": c.Eccentricity * cos, "eccentricity_y": c.Eccentricity * sin,
		"roundness_least_squares": c.Form, "run_out": slices.Max(radii) - slices.Min(radii),
	}
	totalRunOut := 0.0
	for _, r := range rows[1:] {
		want, err1 := strconv.ParseFloat(r[1], 64)
		tolerance, err2 := strconv.ParseFloat(r[2], 64)
		v, known := got[r[0]]
		if err1 != nil || err2 != nil || !known {
			t.Fatalf("row %v: %v, %v", r, err1, err2)
		}
		if math.Abs(v*1000-want) > tolerance {
			t.Errorf("%s is %v %s, expected %v (%s)", r[0], v*1000, r[3], want, r[4])
		}
		if r[0] == "run_out" {
			totalRunOut = want / 1000
		}
	}
	s := Spec{Method: RunOut, Unit: quantity.MM, Stations: 16, Gauge: Gauge{Name: "g", HasError: true}}
	m, err := New(s, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	var out Out
	for i, r := range radii {
		// A reading before each press must not count.
		m.Reading(Reading{Seq: uint64(2*i + 1), T: float64(i), Value: r + 0.001, Step: 0.0001}, &out)
		m.Reading(Reading{Seq: uint64(2*i + 2), T: float64(i) + 0.5, Value: r, Step: 0.0001, Pressed: true}, &out)
	}
	if out.Result == nil {
		t.Fatal("no result after 16 presses")
	}
	if math.Abs(out.Result.Value-totalRunOut) > 1e-9 {
		t.Errorf("total run-out %.5f, expected %v", out.Result.Value, totalRunOut)
	}
	if len(out.Result.Rests) != 16 || out.Result.Rests[4].Side != "5" {
		t.Errorf("stations: %+v", out.Result.Rests)
	}
}

// turning feeds a turn after a set-up, and confirms it.
func turning(t *testing.T, m Machine, r *rand.Rand, amplitude, noise, step float64, readings int) *Result {
	t.Helper()
	var out Out
	at, seq := 0.0, uint64(0)
	read := func(v float64) {
		seq++
		at += 0.1
		m.Reading(Reading{Seq: seq, T: at, Value: math.Round((v+noise*r.NormFloat64())/step) * step, Step: step}, &out)
	}
	for range 30 {
		read(3 * r.NormFloat64())
	}
	for range 20 {
		read(1)
	}
	for i := range readings {
		read(1 + amplitude/2*(math.Cos(2*math.Pi*float64(i)/float64(readings))-1))
	}
	for range 30 {
		read(1)
	}
	m.Finish(at, &out)
	return out.Result
}

func TestRunOutNeedsAWholeSlowTurn(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	covered := 0
	for range 200 {
		amplitude := 0.01 + 0.2*r.Float64()
		m, _ := New(Spec{Method: RunOut, Unit: quantity.MM, Gauge: Gauge{HasError: true}}, nil, nil)
		res := turning(t, m, r, amplitude, 0.0005, 0.001, 80)
		if res == nil {
			t.Fatal("no result")
		}
		u := res.Budget.Combine().U95
		if math.Abs(res.Value-amplitude) <= u {
			covered++
		}
		if math.Abs(res.Value-amplitude) > 1.5*u || u > 0.005 {
			t.Errorf("run-out %.4f ± %.4f, truth %.4f", res.Value, u, amplitude)
		}
	}
	if covered < 188 {
		t.Errorf("U95 covered %d of 200", covered)
	}
	// The rests before the turn and after it do not make a quick one slow.
	for readings, slow := range map[int]bool{12: false, 20: false, 32: true, 40: true} {
		for _, amplitude := range []float64{0.02, 0.03, 0.2} {
			m, _ := New(Spec{Method: RunOut, Unit: quantity.MM, Gauge: Gauge{HasError: true}}, nil, nil)
			if res := turning(t, m, r, amplitude, 0, 0.001, readings); (res != nil) != slow {
				t.Errorf("a run-out of %v in %d readings: result %v", amplitude, readings, res)
			}
		}
	}
	m, _ := New(Spec{Method: RunOut, Unit: quantity.MM}, nil, nil)
	var out Out
	for i := range 10 {
		m.Reading(Reading{Seq: uint64(i), T: float64(i), Value: 0.01 * float64(i), Step: 0.001}, &out)
	}
	m.Finish(10, &out)
	if out.Result != nil || len(out.Notes) != 1 || !strings.Contains(out.Notes[0].Text, "turn slower") {
		t.Errorf("10 readings made a turn: %+v", out)
	}
}

// The bias of the range by noise alone is about 4.6 sigma for 60 readings of a
// round part (the expected range of 60 normal values: Blom's approximation).
func TestNoiseBiasOfARoundPart(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	var got, bias float64
	const n = 400
	for range n {
		turn := make([]Reading, 60)
		low, high := math.Inf(1), math.Inf(-1)
		for i := range turn {
			turn[i].Value = r.NormFloat64()
			low, high = math.Min(low, turn[i].Value), math.Max(high, turn[i].Value)
		}
		got += (high - low) / n
		bias += (extremeBias(turn, high, 1) + extremeBias(turn, low, 1)) / n
	}
	if math.Abs(got-4.64) > 0.15 || math.Abs(bias-got) > 0.4 {
		t.Errorf("mean range %.2f, bias reported %.2f, expected about 4.6", got, bias)
	}
}

// Rests of the set-up, before the part is turned from station to station, are
// no stations.
func TestSetUpIsNoStation(t *testing.T) {
	s := Spec{Method: RunOut, Unit: quantity.MM, Stations: 12, Gauge: Gauge{Name: "g", HasError: true}}
	m, err := New(s, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	var out Out
	now, seq := 0.0, uint64(0)
	rest := func(v float64) {
		for range 8 {
			seq++
			now += 0.1
			m.Reading(Reading{Seq: seq, T: now, Value: math.Round(v*1000) / 1000, Step: 0.001}, &out)
		}
		now += 0.3
	}
	for _, v := range []float64{1.2, -0.7, 2.1} {
		rest(v)
	}
	for k := range 12 {
		if out.Result != nil {
			t.Fatalf("done after %d of 12 stations: %+v", k, out.Result)
		}
		rest(0.5 + 0.1*math.Cos(2*math.Pi*float64(k)/12))
	}
	if out.Result == nil {
		t.Fatal("no result after 12 stations")
	}
	if math.Abs(out.Result.Value-0.2) > 0.003 {
		t.Errorf("run-out %g, the part has 0.2", out.Result.Value)
	}
}

// A part that stands still after its turn, wherever that ended, before a person accepts
// it does not run true: the turn counts, or it is to be made once more.
func TestAStandstillAfterTheTurnIsNoTrueRunning(t *testing.T) {
	for _, readings := range []int{8, 20, 26, 40, 80, 160} {
		for _, after := range []int{5, 20, 30, 60} {
			for _, before := range []int{0, 20} {
				for phase := range 8 {
					for _, runOut := range []float64{0.05, 0.2, 0.5} {
						m, err := New(Spec{Method: RunOut, Unit: quantity.MM, Gauge: Gauge{HasError: true}}, nil, nil)
						if err != nil {
							t.Fatal(err)
						}
						var out Out
						at, seq := 0.0, uint64(0)
						read := func(v float64, n int) {
							for range n {
								seq++
								at += 0.1
								m.Reading(Reading{Seq: seq, T: at, Value: math.Round(v*1000) / 1000, Step: 0.001}, &out)
							}
						}
						part := func(i int) float64 {
							return 1 + runOut/2*math.Cos(2*math.Pi*float64(i)/float64(readings)+float64(phase)*math.Pi/4)
						}
						read(part(0), before)
						for i := range readings {
							read(part(i), 1)
						}
						read(part(0), after)
						m.Finish(at, &out)
						switch {
						case out.Result == nil && len(out.Notes) == 0:
							t.Fatal("no result and no word")
						case out.Result == nil && readings >= 40:
							t.Errorf("%d readings, %d before and %d after, phase %d, run-out %v: %q", readings, before, after, phase, runOut, out.Notes[0].Text)
						case out.Result != nil && out.Result.Value < 0.97*runOut-0.001:
							t.Errorf("%d readings, %d before and %d after, phase %d: run-out %v, made %v", readings, before, after, phase, out.Result.Value, runOut)
						}
					}
				}
			}
		}
	}
}

// A part that does run true is told so, after a set-up that jumps as hands do.
func TestAPartThatRunsTrue(t *testing.T) {
	m, err := New(Spec{Method: RunOut, Unit: quantity.MM, Gauge: Gauge{HasError: true}}, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	var out Out
	for i := range 130 {
		v := 1 + 0.001*float64(i/10%2)
		if i < 8 { // the plunger is let down on it
			v = []float64{9, 9, 9, 9, 7.2, 3.1, 0.4, 0.9}[i]
		}
		m.Reading(Reading{Seq: uint64(i + 1), T: 0.1 * float64(i), Value: v, Step: 0.001}, &out)
	}
	m.Finish(13, &out)
	if out.Result == nil || out.Result.Value > 0.0011 {
		t.Errorf("%+v", out)
	}
}

// An eccentric part is at its largest between two stations, and what they miss is counted:
// few stations pass no part that runs out beyond its limit.
func TestWhatLiesBetweenStations(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 11))
	for _, n := range []int{4, 6, 12, 36} {
		held, wide := 0, 0.0
		const takes, e = 400, 0.1
		for range takes {
			m, err := New(Spec{Method: RunOut, Unit: quantity.MM, Stations: n, Gauge: Gauge{Name: "g", HasError: true}}, nil, nil)
			if err != nil {
				t.Fatal(err)
			}
			var out Out
			at := 2 * math.Pi * r.Float64()
			for k := range n {
				v := e * math.Cos(2*math.Pi*float64(k)/float64(n)-at)
				m.Reading(Reading{Seq: uint64(k + 1), T: float64(k), Value: math.Round(v*1e4) / 1e4, Step: 0.0001, Pressed: true}, &out)
			}
			c := out.Result.Budget.Combine()
			wide = max(wide, c.U95)
			if 2*e <= out.Result.Value+c.Quantile(0.95) {
				held++
			}
		}
		if held < takes*94/100 || wide > 2.6*e*(1-math.Cos(math.Pi/float64(n)))+0.0002 {
			t.Errorf("%d stations: %d of %d hold the run-out, U95 up to %.4f", n, held, takes, wide)
		}
	}
}

// A gentle set-up, or the gauge being pressed a little further in before the
// turn, must not enter the result: nothing jumps, and by its shape alone it could
// be part of a turn. What tells it is the standstill between the two.
func TestAGentleSetUpIsNoPartOfTheTurn(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 8))
		amplitude := 0.02 + 0.1*r.Float64()
		gentle := amplitude * (0.2 + 3*r.Float64())
		m, _ := New(Spec{Method: RunOut, Unit: quantity.MM, Gauge: Gauge{HasError: true}}, nil, nil)
		var out Out
		now, seq := 0.0, uint64(0)
		read := func(v float64) {
			seq++
			now += 0.1
			m.Reading(Reading{Seq: seq, T: now, Value: math.Round((v+0.0003*r.NormFloat64())/0.001) * 0.001, Step: 0.001}, &out)
		}
		for i := range 30 { // eased on
			x := float64(i) / 29
			read(1 - gentle*(1+math.Cos(math.Pi*x))/2)
		}
		for range 10 + r.IntN(15) { // and left alone
			read(1)
		}
		for i := range 90 {
			read(1 + amplitude/2*(math.Cos(2*math.Pi*float64(i)/90)-1))
		}
		for range 10 {
			read(1)
		}
		m.Finish(now, &out)
		if out.Result == nil {
			t.Fatalf("%d: no result", seed)
		}
		// What lies within the window of a rest, 1.6 steps and 2 µm, is no movement.
		if u := out.Result.Budget.Combine().U95; math.Abs(out.Result.Value-amplitude) > max(1.5*u, 0.0036) {
			t.Errorf("%d: run-out %.4f ± %.4f, truth %.4f after a set-up of %.4f", seed, out.Result.Value, u, amplitude, gentle)
		}
	}
}

// A hand takes a new grip: a pause anywhere in a whole turn, begun anywhere, cuts
// nothing off it, whatever the shape of the part.
func TestAPauseWithinATurnCutsNothing(t *testing.T) {
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 9))
		m, _ := New(Spec{Method: RunOut, Unit: quantity.MM, Gauge: Gauge{HasError: true}}, nil, nil)
		var out Out
		now, seq := 0.0, uint64(0)
		begin, second, pause, over := 7*r.Float64(), 0.6*r.Float64(), r.IntN(90), r.IntN(5)
		low, high := math.Inf(1), math.Inf(-1)
		read := func(k int) {
			a := begin + 2*math.Pi*float64(k)/90
			v := math.Round(1000*(1+0.04*math.Cos(a)+0.04*second*math.Cos(2*a+begin))) / 1000
			low, high = min(low, v), max(high, v)
			seq++
			now += 0.1
			m.Reading(Reading{Seq: seq, T: now, Value: v, Step: 0.001}, &out)
		}
		for k := range 90 + over {
			read(k)
			for n := 10 + r.IntN(20); k == pause && n > 0; n-- {
				read(k)
			}
		}
		m.Finish(now, &out)
		if out.Result == nil || math.Abs(out.Result.Value-(high-low)) > 0.0015 {
			t.Fatalf("%d: pause at %d of 90: %+v, the part has %.3f", seed, pause, out.Result, high-low)
		}
	}
}
