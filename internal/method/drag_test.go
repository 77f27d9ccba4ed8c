package method

import (
	"math"
	"math/rand/v2"
	"testing"

	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// pull feeds one pull: breakaway, running for some seconds, release.
func pull(m Machine, r *rand.Rand, sign, breakaway, running float64, seconds float64) *Result {
	var out Out
	t, seq := 0.0, uint64(0)
	read := func(v float64) {
		seq++
		t += 0.1
		m.Reading(Reading{Seq: seq, T: t, Value: sign * math.Round((v+0.02*r.NormFloat64())*100) / 100, Step: 0.01}, &out)
	}
	for range 20 {
		read(0.03)
	}
	for i := range 5 {
		read(breakaway * float64(i+1) / 5)
	}
	for i := 0; i < int(seconds*10) && out.Result == nil; i++ {
		read(running + 0.4*math.Sin(float64(i)/9))
	}
	for i := 0; i < 20 && out.Result == nil; i++ {
		read(math.Max(0, running*(1-float64(i)/3)))
	}
	return out.Result
}

func TestDragTellsBreakawayFromRunning(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	for _, sign := range []float64{1, -1} {
		for _, compare := range []string{"", Breakaway, Peak} {
			m, _ := New(Spec{Method: Drag, Unit: quantity.N, Compare: compare, Limits: metrology.Limits{Low: math.Inf(-1), High: 20}, Gauge: Gauge{HasError: true}}, nil, nil)
			res := pull(m, r, sign, 9, 5, 6)
			if res == nil {
				t.Fatalf("compare %q: no take", compare)
			}
			want := map[string]float64{"": 5, Breakaway: 9, Peak: 5.4}[compare]
			if math.Abs(res.Value-want) > 0.2 {
				t.Errorf("compare %q, sign %v: %.2f, expected %.2f", compare, sign, res.Value, want)
			}
			if len(res.Extras) != 5 || res.Extras[0].Quantity != Breakaway {
				t.Errorf("extras: %+v", res.Extras)
			}
		}
	}
}

func TestAShortPullIsNoTake(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	m, _ := New(Spec{Method: Drag, Unit: quantity.N}, nil, nil)
	if res := pull(m, r, 1, 9, 5, 1.5); res != nil {
		t.Errorf("a pull of 1.5 s made %v", res.Value)
	}
	if m.Progress().Reason == "" {
		t.Error("no reason was given")
	}
}

// A steering gear drags evenly off centre and has a hump over it: what counts is how
// much higher, whatever the seals add to both.
func TestPreloadOverCentre(t *testing.T) {
	s := Spec{Method: Drag, Unit: quantity.NM, Compare: OverCentre, Limits: metrology.Limits{Low: 0.1, High: 1}, Gauge: Gauge{HasErrorLocal: true, ErrorLocal: 0.02}}
	for seed, seals := range []float64{0.2, 0.7, 1.5} {
		m, err := New(s, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		r := rand.New(rand.NewPCG(9, uint64(seed)))
		var out Out
		read := func(i int, v float64) {
			m.Reading(Reading{Seq: uint64(i + 1), T: float64(i) / 10, Value: math.Round((v+0.005*r.NormFloat64())*100) / 100, Step: 0.01}, &out)
		}
		for i := range 20 {
			read(i, 0)
		}
		for i := range 120 {
			x := (float64(i) - 60) / 60
			read(20+i, seals+0.5*math.Exp(-x*x/0.02))
		}
		for i := range 20 {
			read(140+i, 0)
		}
		if out.Result == nil {
			t.Fatal("no take")
		}
		c := out.Result.Budget.Combine()
		if v := out.Result.Value; math.Abs(v-0.5) > c.U95 || c.U95 > 0.06 {
			t.Errorf("seals of %.1f: %.3f ± %.3f over centre, made 0.5", seals, v, c.U95)
		}
		last := out.Result.Extras[3]
		if last.Quantity != "level off centre" || math.Abs(last.Value-seals) > 0.02 {
			t.Errorf("off centre: %+v, made %.1f", last, seals)
		}
	}
}

// A gear whose hump is wide and high turns as freely behind it as before: that is no
// letting go, and its level counts.
func TestTheLevelBehindTheCentreCounts(t *testing.T) {
	for _, c := range []struct{ seals, hump, width float64 }{{0.5, 0.9, 0.12}, {0.1, 0.9, 0.1}, {0.3, 2, 0.15}} {
		m, err := New(Spec{Method: Drag, Unit: quantity.NM, Compare: OverCentre, Limits: metrology.Limits{Low: 0.1, High: 1}, Gauge: Gauge{HasErrorLocal: true, ErrorLocal: 0.02}}, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		var out Out
		n := 0
		read := func(v float64) {
			n++
			m.Reading(Reading{Seq: uint64(n), T: float64(n) / 10, Value: math.Round(v*100) / 100, Step: 0.01}, &out)
		}
		for range 20 {
			read(0)
		}
		off, turn := 0, 100
		for i := range turn {
			x := float64(i)/float64(turn) - 0.5
			h := c.hump * math.Exp(-x*x/(c.width*c.width))
			if h < 0.01 {
				off++
			}
			read(c.seals + h)
		}
		for range 20 {
			read(0)
		}
		if out.Result == nil {
			t.Fatalf("%+v: no take", c)
		}
		// Half a second of settling is left out, and the release.
		if n := out.Result.Strokes; n < turn-8 {
			t.Errorf("%+v: %d readings of a turn of %d (%d of them off centre)", c, n, turn, off)
		}
		if v, u := out.Result.Value, out.Result.Budget.Combine().U95; math.Abs(v-c.hump) > u {
			t.Errorf("%+v: %.3f ± %.3f over centre", c, v, u)
		}
	}
}

// A force at an arm of 180 mm that is known to 4 mm (95 %) makes a torque known to 2.2 %
// at best, in every figure of the take.
func TestTheArmIsInTheBudget(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 6))
	m, err := New(Spec{Method: Drag, Unit: quantity.NM, Arm: 180, ArmUnit: quantity.MM, ArmU95: 4, Limits: metrology.Limits{Low: math.Inf(-1), High: 20}, Gauge: Gauge{HasError: true}}, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	res := pull(m, r, 1, 9, 5, 6)
	if res == nil {
		t.Fatal("no take")
	}
	if got, want := uOf(res.Budget, PartArm), res.Value*4/180/1.959964; math.Abs(got-want) > 1e-9 {
		t.Errorf("the arm's part is %.4f, by hand %.4f", got, want)
	}
	if b := res.Extras[0]; b.Quantity != Breakaway || b.U95 < b.Value*4/180 {
		t.Errorf("breakaway %+v", b)
	}
}

// A gauge that sends only on change says nothing while the drag is even, and nothing
// more once it is let go: what it said last stands. A drag that is 4 for six seconds and
// 6 for two is 4.5 in the mean, however few readings told so.
func TestDragOfAGaugeThatSendsOnChange(t *testing.T) {
	for _, accept := range []bool{false, true} {
		m, err := New(Spec{Method: Drag, Unit: quantity.N, Limits: metrology.Limits{Low: math.Inf(-1), High: 20}, Gauge: Gauge{HasError: true, Sends: ledger.OnChange}}, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		var out Out
		seq := uint64(0)
		read := func(at, v float64) {
			for d := m.Deadline(); d <= at; d = m.Deadline() {
				m.Tick(d, &out)
			}
			seq++
			m.Reading(Reading{Seq: seq, T: at, Value: v, Step: 0.01}, &out)
		}
		read(0, 0)
		read(2, 2)
		read(2.1, 4)
		read(8.6, 6) // half a second is the breakaway's
		read(10.6, 6.01)
		if accept {
			m.Finish(10.7, &out)
		} else {
			read(10.7, 0) // and no more
			for d := m.Deadline(); d <= 20 && out.Result == nil; d = m.Deadline() {
				m.Tick(d, &out)
			}
		}
		if out.Result == nil {
			t.Fatalf("accept %v: no take, %q", accept, m.Progress().Reason)
		}
		if res := out.Result; math.Abs(res.Value-4.5) > 0.06 || res.Strokes > 4 {
			t.Errorf("accept %v: %.3f of %d readings, expected 4.5", accept, res.Value, res.Strokes)
		}
	}
}

// A gauge that shows the weight of its hook, and stood so before the pull, gives no drag:
// what stood would count. One that is met in mid-pull, or was seen at zero, does.
func TestAGaugeThatIsNotAtZeroGivesNoVerdict(t *testing.T) {
	for _, x := range []struct {
		name    string
		offset  float64
		before  int
		refused bool
	}{{"tared", 0, 20, false}, {"a hook", 1.5, 20, true}, {"a heavy one", 3, 40, true}, {"met in mid-pull", 0, 0, false}} {
		for _, sign := range []float64{1, -1} {
			m, err := New(Spec{Method: Drag, Unit: quantity.N, Limits: metrology.Limits{Low: math.Inf(-1), High: 10}, Gauge: Gauge{HasError: true}}, nil, nil)
			if err != nil {
				t.Fatal(err)
			}
			r := rand.New(rand.NewPCG(3, 3))
			var out Out
			seq := uint64(0)
			read := func(v float64, n int) {
				for range n {
					seq++
					m.Reading(Reading{Seq: seq, T: 0.1 * float64(seq), Value: sign * math.Round((x.offset+v+0.02*r.NormFloat64())*100) / 100, Step: 0.01}, &out)
				}
			}
			read(0, x.before)
			read(4, 1)
			read(11, 2)
			for range 60 {
				read(8+0.3*r.NormFloat64(), 1)
			}
			read(1, 1)
			read(0, 20)
			m.Finish(0.1*float64(seq), &out)
			if out.Result == nil || (out.Result.NoVerdict != "") != x.refused {
				t.Errorf("%s, sign %v: %+v", x.name, sign, out.Result)
			}
		}
	}
}
