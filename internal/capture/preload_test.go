package capture

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
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

const torqueBench = testBench + `
[[gauge]]
name = "torque"
port = "/dev/full"
driver = "signed-decimal"
unit = "N·m"
error = "0.005 N·m"
`

const preloadJob = `
number = "P-1"

[[component]]
name = "bearing"

  [[component.check]]
  id = "drag"
  name = "turning drag"
  method = "drag"
  gauge = "torque"
  positions = ["seals alone", "bearings set"]
  advance = "at once"

  [component.check.adjuster]
  pitch = "1.5 mm"
  steps = ["tighten while turning", "lock"]

  [[component.check]]
  name = "preload"
  method = "derived"
  value = 'drag["bearings set"] - drag["seals alone"]'
  limits = "0.40..0.60 N·m"

[[component]]
name = "wheel"

  [[component.check]]
  name = "run-out"
  method = "run-out"
  gauge = "dial-2"
`

// aPull is one turn with this drag, after a short breakaway.
func aPull(drag float64) *simulate.Path {
	var p simulate.Path
	p.Hold(2, 0, 0)
	p.Glide(1.2*drag, 0.3)
	p.Glide(drag, 0.2)
	p.Hold(6, 0, 0)
	p.Glide(0, 0.3)
	p.Hold(2, 0, 0)
	return &p
}

// pulls turns the bearing once, and gives the takes and the guides that came of it.
func (r *testRig) pulls(drag float64) (takes []*ledger.Take, guides []ledger.Guide) {
	r.t.Helper()
	n := len(r.tks)
	r.guides, r.said = nil, nil
	r.readsIn("torque", quantity.NM, aPull(drag))
	return r.tks[n:], r.guides
}

// A nut is turned with the gauge on the drag, and the maker's figure is of the drag less
// that of the seals: from pull to pull the way is told by what is left, and only the
// take after the lock gives it a verdict.
func TestAPreloadThatIsWorkedOutIsSetPullByPull(t *testing.T) {
	r := rigOn(t, benchAndSheet(t, torqueBench, preloadJob), Resume{})
	if slices.Contains(r.said, SaidStep) || r.do(ledger.Command{Do: ledger.DoLock}) == nil {
		t.Errorf("at the seals alone there is nothing to tighten or to lock: said %v, %q", r.said, r.words)
	}
	if _, g := r.pulls(0.3); len(g) > 0 || r.c.tag.Position != "bearings set" {
		t.Fatalf("the seals alone: told %+v, at %q", g, r.c.tag.Position)
	}
	if !slices.Contains(r.words, "tighten while turning") {
		t.Errorf("the first step was not told where the bearings are set: %q", r.words)
	}
	for _, c := range []struct {
		drag       float64
		side, way  string
		word, sure string
	}{
		{1.5, method.WhereAbove, method.Slacken, "too tight", "too loose"},
		{0.45, method.WhereBelow, method.Tighten, "too loose", "too tight"}, // of the drag alone it would be in the band
		{1.0, method.WhereAbove, method.Slacken, "too tight", "too loose"},
	} {
		takes, guides := r.pulls(c.drag)
		if len(takes) != 2 || takes[0].Verdict != ledger.NoVerdict || takes[1].Verdict != ledger.Fail || takes[1].Side != c.side {
			t.Fatalf("a drag of %v: takes %+v", c.drag, takes)
		}
		if len(guides) != 1 || guides[0].Where != c.side || guides[0].Way != c.way || guides[0].Sure || guides[0].Turn != "" {
			t.Fatalf("a drag of %v less 0.3 in 0.4..0.6: told %+v", c.drag, guides)
		}
		if say := speech.Guide(method.Drag, guides[0]); !strings.Contains(say, c.word) || strings.Contains(say, c.sure) {
			t.Errorf("a drag of %v is spoken as %q", c.drag, say)
		}
		var l ledger.Live
		r.c.Live(&l)
		if g := l.Active.Guide; g == nil || !strings.HasPrefix(g.Now, "preload: ") || !strings.Contains(g.Now, "too") || l.Active.Phase != ledger.PhaseAdjusting {
			t.Errorf("the page shows %+v", l.Active)
		}
	}
	// In the middle, the lock open: no verdict yet.
	takes, guides := r.pulls(0.8)
	if len(takes) != 2 || takes[1].Verdict != ledger.Undecided || takes[1].Settles() != "a take after the lock is fastened" || !takes[0].Unlocked() {
		t.Fatalf("0.8 with the lock open: %+v", takes[1])
	}
	if !slices.Contains(r.said, SaidLock) || len(guides) != 0 || r.c.tag.Position != "bearings set" {
		t.Errorf("0.8 with the lock open: said %v, at %q", r.said, r.c.tag.Position)
	}
	// A look at the seals does not fasten it: what they change is worked out from a take
	// made before.
	if err := r.do(ledger.Command{Do: ledger.DoPosition, Component: "bearing", Check: "drag", Position: "seals alone"}); err != nil {
		t.Fatal(err)
	}
	if takes, _ = r.pulls(0.31); len(takes) != 2 || takes[1].Verdict != ledger.Undecided || !takes[1].InBand() {
		t.Fatalf("the seals again: %+v", takes)
	}
	if r.c.tag.Position != "bearings set" || !r.c.adjust.open {
		t.Fatalf("after the seals at %q, open %v", r.c.tag.Position, r.c.adjust.open)
	}
	if err := r.do(ledger.Command{Do: ledger.DoLock}); err != nil {
		t.Fatal(err)
	}
	if takes, _ = r.pulls(0.82); len(takes) != 2 || takes[1].Verdict != ledger.Pass || takes[0].Unlocked() || r.c.tag.Component != "wheel" {
		t.Errorf("after the lock: %+v, at %v", takes, *r.c.tag)
	}
}

// While a pull is made the page shows no word of the one before: the nut was turned
// since, and what was too loose may be too tight.
func TestNoWordOfThePullBefore(t *testing.T) {
	r := rigOn(t, benchAndSheet(t, torqueBench, preloadJob), Resume{})
	r.pulls(0.3)
	guide := func() *ledger.Guide {
		var l ledger.Live
		r.c.Live(&l)
		return l.Active.Guide
	}
	if r.pulls(0.5); guide() == nil || guide().Way != method.Tighten {
		t.Fatalf("0.2 of 0.4..0.6: %+v", guide())
	}
	var p simulate.Path
	p.Hold(2, 0, 0)
	p.Glide(1.5, 0.3)
	p.Hold(3, 0, 0)
	r.readsIn("torque", quantity.NM, &p)
	if guide() != nil {
		t.Errorf("a pull at 1.5 is under way, and the page says %+v", guide())
	}
	p = simulate.Path{}
	p.Glide(1.5, 0.1)
	p.Hold(3, 0, 0)
	p.Glide(0, 0.3)
	p.Hold(2, 0, 0)
	if r.readsIn("torque", quantity.NM, &p); guide() == nil || guide().Way != method.Slacken {
		t.Errorf("1.2 of 0.4..0.6: %+v", guide())
	}
}

// What is not known of the seals decides too: near the edge of the band the seals' own
// uncertainty keeps the word 'lock' back.
func TestTheSealsUncertaintyCounts(t *testing.T) {
	arm := strings.NewReplacer("0.40..0.60", "..0.60", "error = \"0.005 N·m\"", "error = \"0.03 N·m\"")
	r := rigOn(t, benchAndSheet(t, arm.Replace(torqueBench), arm.Replace(preloadJob)), Resume{})
	r.pulls(0.3)
	r.pulls(1.5)
	// 0.565 below 0.60: known to 0.03 alone it would do, the difference is known to 0.045.
	takes, guides := r.pulls(0.865)
	if len(guides) != 1 || guides[0].Sure || guides[0].Where != method.WhereIn || takes[1].Verdict != ledger.Undecided || takes[1].InBand() {
		t.Errorf("0.565 of ..0.60 N·m, each drag known to 0.03: told %+v, %v", guides, takes[1])
	}
	if takes[1].U95 < 1.2*takes[0].U95 {
		t.Errorf("the preload is known to %v, the drag alone to %v", takes[1].U95, takes[0].U95)
	}
}

// A restart leaves the lock as it was, and accept leaves the preload as it is.
func TestAPreloadsLockStaysOpenOverARestart(t *testing.T) {
	r := rigOn(t, benchAndSheet(t, torqueBench, preloadJob), Resume{})
	r.pulls(0.3)
	r.pulls(1.5)
	last := r.tks[len(r.tks)-1].Take
	again := rigOn(t, benchAndSheet(t, torqueBench, preloadJob), Resume{Take: last, Takes: asKept(r.tks), Tag: *r.c.tag, HasActive: true, Measured: true})
	if again.c.tag.Position != "bearings set" {
		t.Fatalf("after a restart at %q", again.c.tag.Position)
	}
	if takes, _ := again.pulls(0.8); len(takes) != 2 || !takes[1].InBand() {
		t.Errorf("0.8 after a restart, the lock open: %+v", takes)
	}
	if err := r.do(ledger.Command{Do: ledger.DoAccept}); err != nil {
		t.Fatal(err)
	}
	if r.c.tag.Component != "wheel" || !r.c.done(1) {
		t.Errorf("accepted as it is, at %v", *r.c.tag)
	}
}

// What the derived value takes away, or takes otherwise than evenly, is no preload: a
// guide by it would have no way that is right everywhere.
func TestNoGuideByWhatDoesNotGrowWithTheDrag(t *testing.T) {
	for _, value := range []string{
		`drag["seals alone"] - drag["bearings set"]`,
		`max(drag["bearings set"], 0.1) - drag["seals alone"]`,
		`0.4 * drag["seals alone"] / drag["bearings set"]`,
		`abs(drag["bearings set"] - drag["seals alone"])`,
	} {
		job := strings.Replace(preloadJob, `drag["bearings set"] - drag["seals alone"]`, value, 1)
		r := rigOn(t, benchAndSheet(t, torqueBench, job), Resume{})
		r.pulls(0.3)
		if takes, guides := r.pulls(1.5); len(guides) > 0 || len(takes) != 2 {
			t.Errorf("%s: told %+v, takes %v", value, guides, takes)
		}
	}
}

// Limits of the drag's own lead the nut, and close its lock.
func TestTheDragsOwnLimitsLead(t *testing.T) {
	job := strings.Replace(preloadJob, "  advance = \"at once\"\n", "  advance = \"at once\"\n  limits = \"..2 N·m\"\n", 1)
	r := rigOn(t, benchAndSheet(t, torqueBench, job), Resume{})
	r.pulls(0.3)
	if takes, guides := r.pulls(1.5); len(guides) > 0 || len(takes) != 2 || takes[1].Verdict != ledger.Fail || r.c.tag.Component != "wheel" {
		t.Errorf("a drag within its own limits: told %+v, takes %v, at %v", guides, takes, *r.c.tag)
	}
}

// From the sheet's text to the words: a bearing that is too tight is never called too
// loose nor told to be tightened, whatever unit the gauge sends and the limits are in,
// which way it counts, whether it is a torque or a force at an arm, and what the seals
// take of it.
func TestSidesOfAPreloadFromTheSheetToTheWord(t *testing.T) {
	type sender struct {
		unit   quantity.Unit
		places int
		arm    bool
	}
	rapid.Check(t, func(t *rapid.T) {
		g := rapid.SampledFrom([]sender{{quantity.NM, 3, false}, {quantity.LbfIn, 2, false}, {quantity.N, 2, true}, {quantity.Lbf, 3, true}}).Draw(t, "gauge sends")
		unit := rapid.SampledFrom([]quantity.Unit{quantity.NM, quantity.LbfIn, quantity.NMM}).Draw(t, "limits in")
		hand := rapid.SampledFrom([]string{"right", "left"}).Draw(t, "hand")
		value := rapid.SampledFrom([]string{`drag["set"] - drag["seals"]`, `-(drag["seals"] - drag["set"])`, `-drag["seals"] + 1 * drag["set"]`}).Draw(t, "value")
		sense := rapid.SampledFrom([]float64{1, -1}).Draw(t, "counts")
		seals := rapid.Float64Range(0.2, 0.8).Draw(t, "seals")
		low := rapid.Float64Range(0.5, 1).Draw(t, "low")
		high := low + rapid.Float64Range(0.3, 0.8).Draw(t, "width")
		tight := rapid.Bool().Draw(t, "too tight")
		preload := low - 0.2
		if tight {
			preload = high + 0.2
		}
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))

		limit := func(nm float64) string {
			v, err := quantity.Convert(nm, quantity.NM, unit)
			if err != nil {
				t.Fatal(err)
			}
			return fmt.Sprintf("%.5f", v)
		}
		b, ps := config.ParseBench("bench.toml", []byte("[[gauge]]\nname = \"pull\"\nport = \"/dev/null\"\ndriver = \"signed-decimal\"\nerror = \"0.01 "+g.unit.String()+"\"\nunit = \""+g.unit.String()+"\"\n"))
		if b == nil {
			t.Fatal(ps)
		}
		arm := ""
		if g.arm {
			arm = "arm = \"200 mm\"\n"
		}
		j, ps := config.ParseJob("job.toml", []byte(fmt.Sprintf(`number = "1"
[[component]]
name = "bearing"
[[component.check]]
id = "drag"
name = "drag"
method = "drag"
gauge = "pull"
positions = ["seals", "set"]
advance = "at once"
%s[component.check.adjuster]
hand = "%s"
pitch = "1.5 mm"
[[component.check]]
name = "preload"
method = "derived"
value = '%s'
limits = "%s..%s %s"
`, arm, hand, value, limit(low), limit(high), unit)))
		if j == nil {
			t.Fatal(ps)
		}
		s, err := NewSheet(b, j, 1, func(string) ledger.Sends { return ledger.Streams })
		if err != nil {
			t.Fatal(err)
		}
		one, err := quantity.Convert(1, quantity.NM, g.unit)
		if g.arm {
			one, err = quantity.Convert(1/0.2, quantity.N, g.unit)
		}
		if err != nil {
			t.Fatal(err)
		}
		var out Out
		c := New(s, Resume{}, ledger.Stamp{}, &out)
		var derived *ledger.Take
		var guides []ledger.Guide
		now := 0.0
		for _, drag := range []float64{seals, seals + preload} {
			p := aPull(drag)
			for _, x := range (simulate.Gauge{Step: 0.001, Rate: 10, Noise: 0.001}).Read(p, r) {
				v := math.Round(sense * x.Value * one * math.Pow10(g.places))
				d := quantity.Decimal{Coef: uint64(math.Abs(v)), Scale: int8(g.places), Neg: v < 0}
				at := ledger.Stamp{Elapsed: int64((now + x.T) * 1e6), Wall: int64((now + x.T) * 1e6)}
				c.Readings([]ledger.Reading{{At: at, Gauge: "pull", Value: d, HasVal: true, Unit: g.unit, Step: math.Pow10(-g.places)}}, &out)
				for _, f := range out.Facts {
					switch f := f.(type) {
					case TakeFact:
						if f.Take.Method == method.Derived {
							derived = f.Take
						}
					case GuideFact:
						guides = append(guides, f.Guide)
					}
				}
				out.Reset()
			}
			now += p.End()
		}
		if derived == nil || len(guides) != 1 {
			t.Fatalf("a preload of %.3f N·m: take %v, %d guides", preload, derived, len(guides))
		}
		side, word, other, way := "below", "too loose", "too tight", method.Tighten
		if tight {
			side, word, other, way = "above", "too tight", "too loose", method.Slacken
		}
		if gd := guides[0]; gd.Where != side || gd.Way != way || gd.Sure || gd.Turn != "" {
			t.Fatalf("%.3f in %.3f..%.3f N·m: told %+v", preload, low, high, gd)
		}
		if derived.Verdict != ledger.Fail || derived.Side != side || strings.Contains(derived.Say, other) {
			t.Fatalf("%.3f in %.3f..%.3f N·m is %v %q, %q", preload, low, high, derived.Verdict, derived.Side, derived.Say)
		}
		if say := speech.Guide(method.Drag, guides[0]); say != word+", "+way {
			t.Fatalf("spoken %q where the preload lies %s", say, side)
		}
	})
}

// asKept are takes as their rows give them back, which hold no id.
func asKept(takes []*ledger.Take) (kept []*ledger.Take) {
	for _, t := range takes {
		k := *t
		k.CheckID = ""
		kept = append(kept, &k)
	}
	return kept
}

// The sheet is edited while the nut is set: no word of the limits or of the thread of
// before is left standing, and no step that is no longer written is asked for.
func TestAnEditedAdjustingBeginsAnew(t *testing.T) {
	r := rigOn(t, benchAndSheet(t, torqueBench, preloadJob), Resume{})
	r.pulls(0.3)
	edit := func(old, new string) *ledger.LiveActive {
		r.c.Replace(benchAndSheet(t, torqueBench, strings.Replace(preloadJob, old, new, 1)), ledger.Stamp{Elapsed: r.now, Wall: r.now}, &r.out)
		r.take()
		var l ledger.Live
		r.c.Live(&l)
		return l.Active
	}
	r.pulls(1.0)
	if a := edit("0.40..0.60 N·m", "0.80..1.00 N·m"); a.Guide != nil || a.Phase != ledger.PhaseAdjusting {
		t.Errorf("0.7 was too tight in 0.4..0.6 and is too loose in 0.8..1.0: %q, told %+v", a.Phase, a.Guide)
	}
	if _, g := r.pulls(1.0); len(g) != 1 || g[0].Way != method.Tighten {
		t.Errorf("0.7 in 0.8..1.0: %+v", g)
	}
	if a := edit(`"lock"`, `"turn it round", "lock"`); len(a.Steps) != 3 || a.StepNow != 0 {
		t.Errorf("another step: %d of %q", a.StepNow, a.Steps)
	}
	for range 2 {
		if err := r.do(ledger.Command{Do: ledger.DoStep}); err != nil {
			t.Fatal(err)
		}
	}
	if a := edit(`, "lock"`, ""); len(a.Steps) != 1 || a.StepNow != 0 {
		t.Errorf("two steps less: %d of %q", a.StepNow, a.Steps)
	}
}

// A place that waits takes its steps from the sheet as it now is.
func TestStepsTakenAwayWhileAPlaceWaits(t *testing.T) {
	waits := strings.Replace(preloadJob, `"at once"`, `"switch"`, 1)
	r := rigOn(t, benchAndSheet(t, torqueBench, waits), Resume{})
	r.pulls(0.3)
	if err := r.do(ledger.Command{Do: ledger.DoStep}); err != nil {
		t.Fatal(err)
	}
	r.c.Replace(benchAndSheet(t, torqueBench, strings.Replace(waits, `, "lock"`, "", 1)), ledger.Stamp{Elapsed: r.now, Wall: r.now}, &r.out)
	r.take()
	r.words = nil
	if err := r.do(ledger.Command{Do: ledger.DoAccept}); err != nil && !strings.Contains(err.Error(), "nothing to accept") {
		t.Fatal(err)
	}
	if r.c.machine == nil {
		t.Error("nothing is measured")
	}
}
