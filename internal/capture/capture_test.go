package capture

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"thouwright/config"
	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
	"thouwright/internal/simulate"
)

const testBench = `
[[gauge]]
name = "dial-1"
port = "/dev/null"
driver = "signed-decimal"
unit = "mm"
error_local = "0.002 mm over 0.5 mm"

[[gauge]]
name = "dial-2"
port = "/dev/zero"
driver = "signed-decimal"
unit = "mm"
`

const testJob = `
number = "T-1"
operator = "A. Tester"
stages = ["as found", "assembled"]

[[component]]
name = "pin"

  [[component.check]]
  id = "pin_play"
  name = "play"
  method = "play"
  gauge = "dial-1"
  positions = ["ahead", "left", "right"]
  limits = "0.02..0.15 mm"
  stage_limits = { "assembled" = "0.02..0.08 mm" }

[[component]]
name = "hub"

  [[component.check]]
  name = "end play"
  method = "end-play"
  gauge = "dial-2"
  limits = "0.03..0.08 mm"

[[component]]
name = "both"

  [[component.check]]
  name = "difference"
  method = "derived"
  value = 'pin_play["left"] - pin_play["right"]'
  limits = "-1..1 mm"
`

// bench is a capture under test with a gauge that reads simulated paths.
type testRig struct {
	t    *testing.T
	c    *Capture
	out  Out
	now  int64 // µs
	rand *rand.Rand
	said []Said
	evs  []ledger.Event
	tks  []*ledger.Take

	words  []string // of what was said
	guides []ledger.Guide
}

func sheetOf(t *testing.T, job string, version int) *Sheet {
	t.Helper()
	s := benchAndSheet(t, testBench, job)
	s.Version = version
	return s
}

func benchAndSheet(t *testing.T, bench, job string) *Sheet {
	t.Helper()
	b, ps := config.ParseBench("bench.toml", []byte(bench))
	if b == nil {
		t.Fatal(ps)
	}
	j, ps := config.ParseJob("job.toml", []byte(job))
	if j == nil {
		t.Fatal(ps)
	}
	s, err := NewSheet(b, j, 1, func(string) ledger.Sends { return ledger.Streams })
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func rigOn(t *testing.T, s *Sheet, r Resume) *testRig {
	rig := &testRig{t: t, rand: rand.New(rand.NewPCG(1, 2))}
	rig.c = New(s, r, ledger.Stamp{}, &rig.out)
	rig.take()
	return rig
}

func (r *testRig) take() {
	for _, f := range r.out.Facts {
		switch f := f.(type) {
		case SaidFact:
			r.said = append(r.said, f.Kind)
			r.words = append(r.words, f.Text)
		case GuideFact:
			r.guides = append(r.guides, f.Guide)
		case EventFact:
			r.evs = append(r.evs, f.Event)
		case TakeFact:
			r.tks = append(r.tks, f.Take)
		}
	}
	r.out.Reset()
}

// reads feeds what a gauge with a step of 1 µm sends of a path.
func (r *testRig) reads(gauge string, p *simulate.Path) { r.readsIn(gauge, quantity.MM, p) }

func (r *testRig) readsIn(gauge string, unit quantity.Unit, p *simulate.Path) {
	g := simulate.Gauge{Step: 0.001, Rate: 10, Jitter: 0.1, Noise: 0.0003}
	start := r.now
	for _, v := range g.Read(p, r.rand) {
		at := ledger.Stamp{Elapsed: start + int64(v.T*1e6), Wall: start + int64(v.T*1e6)}
		if d := r.c.Deadline(); d <= at.Elapsed {
			r.c.Tick(ledger.Stamp{Elapsed: d, Wall: d}, &r.out)
		}
		d := quantity.Decimal{Coef: uint64(math.Round(math.Abs(v.Value) * 1000)), Scale: 3, Neg: v.Value < 0}
		batch := []ledger.Reading{{At: at, Gauge: gauge, Value: d, HasVal: true, Unit: unit, Step: 0.001}}
		r.c.Readings(batch, &r.out)
		r.now = at.Elapsed
		r.take()
	}
	r.now = start + int64(p.End()*1e6)
}

var steady = simulate.Hand{Hold: [2]float64{0.7, 1}, Stroke: [2]float64{0.3, 0.5}, Noise: 0.0005}

// rock sets a gauge up and rocks a play until well after a take.
func (r *testRig) rock(gauge string, play float64, strokes int) {
	var p simulate.Path
	steady.SetUp(&p, r.rand, 2, 4)
	middle := r.rand.Float64()
	steady.Rock(&p, r.rand, middle, play, strokes)
	r.reads(gauge, &p)
}

func (r *testRig) wantTakes(n int) {
	r.t.Helper()
	if len(r.tks) != n {
		r.t.Fatalf("%d takes, want %d; events %v", len(r.tks), n, r.evs)
	}
}

func (r *testRig) do(c ledger.Command) error {
	err := r.c.Command(c, ledger.Stamp{Elapsed: r.now, Wall: r.now}, &r.out)
	r.take()
	return err
}

// A job that goes well needs no key: set up, rock, go on to the next place.
func TestJobGoesByItself(t *testing.T) {
	r := rigOn(t, sheetOf(t, testJob, 1), Resume{})
	for i, play := range []float64{0.2, 0.08, 0.1} {
		r.rock("dial-1", play, 14) // six strokes too many: no second take of them
		r.wantTakes(i + 1 + i/2)   // the third brings the derived one along
		got := r.tks[i]
		if math.Abs(got.Result-play) > 0.004 {
			t.Errorf("play %g, want %g", got.Result, play)
		}
		want := ledger.Pass
		if play > 0.15 {
			want = ledger.Fail
		}
		if got.Verdict != want {
			t.Errorf("play %g: verdict %s, want %s", play, got.Verdict, want)
		}
	}
	if d := r.tks[3]; d.Method != "derived" || math.Abs(d.Result+0.02) > 0.006 || d.Verdict != ledger.Pass {
		t.Errorf("derived %+v", d)
	}
	// End play stays until it passes.
	r.rock("dial-2", 0.2, 10)
	r.rock("dial-2", 0.055, 10)
	last := r.tks[len(r.tks)-1]
	if last.Verdict != ledger.Pass || last.Tag.Check != "end play" {
		t.Fatalf("last take %+v", last)
	}
	if r.c.at != len(r.c.sheet.places) {
		t.Errorf("not done: %v", r.c.where())
	}
	n := len(r.tks)
	r.rock("dial-1", 0.1, 12)
	r.wantTakes(n)
}

// With advance = "switch" neither movement nor stillness opens the next place,
// and what is to be done is said.
func TestOnlyTheSwitchOpensTheNextPlace(t *testing.T) {
	r := rigOn(t, sheetOf(t, strings.Replace(testJob, `gauge = "dial-1"`, "gauge = \"dial-1\"\n  advance = \"switch\"", 1), 1), Resume{})
	r.rock("dial-1", 0.1, 12)
	r.rock("dial-1", 0.1, 12)
	r.wantTakes(1)
	var l ledger.Live
	r.c.Live(&l)
	if a := l.Active; a.Phase != ledger.PhaseWaiting || a.Position != "left" || a.Say != "move the gauge to the next place, then press the switch or Accept" {
		t.Errorf("%s at %q, says %q", a.Phase, a.Position, a.Say)
	}
	if err := r.do(ledger.Command{Do: ledger.DoAccept, By: "switch"}); err != nil {
		t.Fatal(err)
	}
	r.rock("dial-1", 0.1, 12)
	r.wantTakes(2)
}

func TestRedoNamesWhatItReplaces(t *testing.T) {
	r := rigOn(t, sheetOf(t, testJob, 1), Resume{})
	r.rock("dial-1", 0.2, 10)
	r.wantTakes(1)
	if err := r.do(ledger.Command{Do: ledger.DoRedo}); err != nil {
		t.Fatal(err)
	}
	r.rock("dial-1", 0.1, 10)
	r.wantTakes(2)
	if got := r.tks[1]; got.Replaces != 1 || got.Tag.Position != "ahead" {
		t.Errorf("redo %+v", got)
	}
	if err := r.do(ledger.Command{Do: ledger.DoRedo, Take: 9}); err == nil {
		t.Error("redo of a take that does not exist")
	}
	if err := r.do(ledger.Command{Do: ledger.DoBack}); err != nil {
		t.Fatal(err)
	}
	r.rock("dial-1", 0.12, 10)
	if got := r.tks[2]; got.Replaces != 2 {
		t.Errorf("measured again after back: %+v", got)
	}
}

func TestStageHasItsOwnLimits(t *testing.T) {
	r := rigOn(t, sheetOf(t, testJob, 1), Resume{})
	if err := r.do(ledger.Command{Do: ledger.DoStage, Stage: "assembled"}); err != nil {
		t.Fatal(err)
	}
	r.rock("dial-1", 0.1, 10)
	if got := r.tks[0]; got.Verdict != ledger.Fail || got.Tag.Stage != "assembled" || got.Side != "above" {
		t.Errorf("take %+v", got)
	}
	if err := r.do(ledger.Command{Do: ledger.DoStage, Stage: "painted"}); err == nil {
		t.Error("a stage that does not exist was chosen")
	}
}

func TestRestartGoesOn(t *testing.T) {
	r := rigOn(t, sheetOf(t, testJob, 1), Resume{})
	r.rock("dial-1", 0.1, 10)
	tag := *r.c.tag
	again := rigOn(t, sheetOf(t, testJob, 1), Resume{Seq: r.c.seq, Take: 1, Tag: tag, HasActive: true, Takes: r.tks})
	if again.c.where() != r.c.where() {
		t.Errorf("after a restart at %s, want %s", again.c.where(), r.c.where())
	}
	again.now = r.now
	again.rock("dial-1", 0.1, 10)
	if again.tks[0].Take != 2 || again.tks[0].FirstSeq <= r.c.seq {
		t.Errorf("numbers start over: %+v", again.tks[0])
	}
}

// A run that ended between a take and the move to the next place goes on at
// the next place, not at the one that is measured.
func TestRestartMovesOnFromAMeasuredPlace(t *testing.T) {
	r := rigOn(t, sheetOf(t, testJob, 1), Resume{})
	first := *r.c.tag
	r.rock("dial-1", 0.1, 10)
	for measured, want := range map[bool]ledger.Tag{true: *r.c.tag, false: first} {
		again := rigOn(t, sheetOf(t, testJob, 1), Resume{Seq: r.c.seq, Take: 1, Tag: first, HasActive: true, Measured: measured, Takes: r.tks})
		if got, _ := again.c.Active(); got != want || first == *r.c.tag {
			t.Errorf("measured %v: goes on at %+v, want %+v", measured, got, want)
		}
	}
}

func TestEditedSheet(t *testing.T) {
	r := rigOn(t, sheetOf(t, testJob, 1), Resume{})
	var p simulate.Path
	steady.Rock(&p, r.rand, 0, 0.1, 3)
	r.reads("dial-1", &p)
	before := r.c.machine
	r.c.Replace(sheetOf(t, testJob, 2), ledger.Stamp{Elapsed: r.now}, &r.out)
	if r.c.machine != before {
		t.Error("a sheet that leaves the check as it was dropped the take in progress")
	}
	s := sheetOf(t, strings.Replace(testJob, "0.02..0.15 mm", "0.02..0.16 mm", 1), 3)
	r.out.Reset()
	r.c.Replace(s, ledger.Stamp{Elapsed: r.now}, &r.out)
	r.take()
	if r.c.machine == before {
		t.Error("a changed check kept the take in progress")
	}
	dropped := false
	for _, e := range r.evs {
		dropped = dropped || e.Kind == ledger.EvDropped
	}
	if !dropped {
		t.Error("no event says that the take in progress was dropped")
	}
}

func TestLostGaugeDropsTheTake(t *testing.T) {
	r := rigOn(t, sheetOf(t, testJob, 1), Resume{})
	var p simulate.Path
	steady.Rock(&p, r.rand, 0, 0.1, 4)
	r.reads("dial-1", &p)
	r.c.Link([]string{"dial-1"}, false, "pulled out", ledger.Stamp{Elapsed: r.now}, &r.out)
	r.take()
	r.reads("dial-1", &p) // four more strokes: six in all, but not in one go
	r.wantTakes(0)
}

func TestHaltKeepsTakesBack(t *testing.T) {
	r := rigOn(t, sheetOf(t, testJob, 1), Resume{})
	r.c.Halt("the disk is gone")
	r.rock("dial-1", 0.1, 10)
	r.wantTakes(0)
	r.c.Halt("")
	r.rock("dial-1", 0.1, 10)
	r.wantTakes(1)
}

// What has no limits is worked out all the same, in the unit of what it is made of.
func TestADerivedValueWithoutLimits(t *testing.T) {
	r := rigOn(t, sheetOf(t, strings.Replace(testJob, "limits = \"-1..1 mm\"\n", "", 1), 1), Resume{})
	for _, play := range []float64{0.05, 0.06, 0.07} {
		r.rock("dial-1", play, 9)
		var p simulate.Path
		p.Glide(3, 1)
		p.Hold(4, 0, 0)
		r.reads("dial-1", &p)
	}
	r.wantTakes(4)
	if k := r.tks[3]; k.Method != "derived" || k.Unit != quantity.MM || math.Abs(k.Result+0.01) > k.U95 || k.Verdict != ledger.NoVerdict {
		t.Errorf("%+v", k)
	}
}
