package capture

import (
	"math"
	"strings"
	"testing"

	"thouwright/config"
	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
	"thouwright/internal/simulate"
)

const rangedBench = `
[[gauge]]
name = "mic"
port = "/dev/null"
driver = "button-decimal"
unit = "mm"
step = "0.001 mm"
error = "0.001 mm"
range = "0..25 mm"
`

const clearanceJob = `
number = "T-2"

[[component]]
name = "pin"

  [[component.check]]
  id = "bush"
  name = "bore"
  method = "size"
  gauge = "mic"
  advance = "at once"

  [[component.check]]
  id = "pin"
  name = "diameter"
  method = "size"
  gauge = "mic"
  advance = "at once"

  [[component.check]]
  name = "clearance"
  method = "derived"
  value = "bush - pin"
  limits = "0.009..0.050 mm"
`

// press gauges a size by the gauge's own button.
func (r *testRig) press(gauge string, thousandths uint64) {
	r.now += 5e6
	at := ledger.Stamp{Elapsed: r.now, Wall: r.now}
	r.c.Readings([]ledger.Reading{{At: at, Gauge: gauge, Value: quantity.Decimal{Coef: thousandths, Scale: 3}, HasVal: true, Unit: quantity.MM, Step: 0.001, Pressed: true}}, &r.out)
	r.take()
}

// A size read at the end of the gauge's travel has no limits of its own and so no
// verdict to lose, but the clearance worked out from it would pass.
func TestNothingPassesOnASizeAtTheEndOfTravel(t *testing.T) {
	r := rigOn(t, benchAndSheet(t, rangedBench, clearanceJob), Resume{})
	r.press("mic", 24990)
	r.press("mic", 24965)
	r.wantTakes(3)
	bore, clearance := r.tks[0], r.tks[2]
	if bore.Distrusted() != "end of travel" || !strings.Contains(bore.Say, "end of travel") {
		t.Errorf("24.990 of 0..25 mm: note %q, said %q", bore.Note, bore.Say)
	}
	if math.Abs(clearance.Result-0.025) > 1e-9 || clearance.Verdict != ledger.Undecided || clearance.Distrusted() != "bush (end of travel), pin (end of travel)" {
		t.Errorf("0.025 in 0.009..0.050 of two sizes at the end of travel: %s, note %q", clearance.Verdict, clearance.Note)
	}
	if strings.Contains(clearance.Say, "inside the limits") {
		t.Errorf("said %q", clearance.Say)
	}

	// The same from takes read back: the note is all that tells.
	kept := *bore
	kept.Say = ""
	again := rigOn(t, benchAndSheet(t, rangedBench, clearanceJob), Resume{Take: 1, Takes: []*ledger.Take{&kept}})
	again.press("mic", 20000)
	if k := again.tks[len(again.tks)-1]; k.Method != "derived" || k.Verdict != ledger.Undecided || k.Distrusted() != "bush (end of travel)" {
		t.Errorf("after a restart: %+v", k)
	}
}

// What would decide a derived value is said, of the input that leaves it open; and of a
// pull no strokes are asked for.
func TestAnUndecidedTakeSaysWhatWouldDecideIt(t *testing.T) {
	r := rigOn(t, benchAndSheet(t, strings.Replace(rangedBench, "0..25", "0..32", 1), clearanceJob), Resume{})
	r.press("mic", 20010)
	r.press("mic", 20000)
	r.wantTakes(3)
	if k := r.tks[2]; k.Verdict != ledger.Undecided || k.Settles() == "" || ledger.LiveTakeOf(k)["settles"] != k.Settles() {
		t.Errorf("0.010 in 0.009..0.050 mm: %s, note %q", k.Verdict, k.Note)
	}

	r = rigOn(t, benchAndSheet(t, rangedBench+"\n[[gauge]]\nname = \"pull\"\nport = \"/dev/full\"\ndriver = \"signed-decimal\"\nunit = \"N\"\nstep = \"0.001 N\"\nerror = \"0.001 N\"\n",
		"number = \"T-3\"\n[[component]]\nname = \"hub\"\n[[component.check]]\nname = \"drag\"\nmethod = \"drag\"\ngauge = \"pull\"\nlimits = \"..1.98 N\"\n"), Resume{})
	var p simulate.Path
	p.Hold(1, 0, 0)
	for i := range 8 {
		p.Glide(1.97+0.07*math.Sin(float64(i)*2.4), 0.5) // of one pull
		p.Hold(0.5, 0, 0)
	}
	p.Glide(0, 0.2)
	p.Hold(2, 0, 0)
	r.readsIn("pull", quantity.N, &p)
	if len(r.tks) == 0 || r.tks[0].Verdict != ledger.Undecided {
		t.Fatalf("a pull of about 1.97 N against 1.98: %d takes, %+v", len(r.tks), *r.tks[0])
	}
	if by := r.tks[0].Settles(); by == "" || strings.Contains(by, "stroke") {
		t.Errorf("a pull: would decide it: %q", by)
	}
}

// What would decide a take is said in the unit that the bench's people read, as all else
// beside it is.
func TestWhatDecidesIsSaidInTheBenchsUnit(t *testing.T) {
	for unit, other := range map[string]string{"mm": " thou", "thou": " mm"} {
		r := rigOn(t, benchAndSheet(t, "display_unit = \""+unit+"\"\n"+strings.Replace(rangedBench, `error = "0.001 mm"`, `error = "0.0001 mm"`, 1), strings.Replace(clearanceJob, "0.009..", "0.0095..", 1)), Resume{})
		r.press("mic", 20010)
		r.press("mic", 20000)
		r.wantTakes(3)
		if by := r.tks[2].Settles(); !strings.Contains(by, " "+unit) || strings.Contains(by, other) {
			t.Errorf("a bench that shows %s: would decide it: %q", unit, by)
		}
	}
}

// A play that was only bounded is no value to work a difference out from, and that is
// said, once.
func TestABoundLeavesADerivedValueOpen(t *testing.T) {
	r := rigOn(t, sheetOf(t, testJob, 1), Resume{})
	r.rock("dial-1", 0.1, 12)
	r.rock("dial-1", 0.1, 12)
	r.wantTakes(2)
	var p simulate.Path
	steady.SetUp(&p, r.rand, 2, 4)
	p.Hold(4, 0, 0)
	r.reads("dial-1", &p)
	if err := r.do(ledger.Command{Do: ledger.DoAccept}); err == nil || !strings.Contains(err.Error(), "accept again") {
		t.Fatalf("one word for a part that nobody may have rocked: %v", err)
	}
	var rocked simulate.Path
	rocked.Glide(p.Place(), 0)
	rocked.Hold(4, 0, 0)
	r.reads("dial-1", &rocked)
	r.words = nil
	if err := r.do(ledger.Command{Do: ledger.DoAccept}); err != nil {
		t.Fatal(err)
	}
	r.wantTakes(3)
	if !r.tks[2].Bound {
		t.Fatalf("no movement: %+v", r.tks[2])
	}
	said := 0
	for _, w := range r.words {
		if strings.Contains(w, `not worked out, for pin_play["right"] is only known to be less than 0.00`) {
			said++
		}
	}
	if said != 1 {
		t.Errorf("said %q", r.words)
	}
}

// Nobody is told to turn a nut by a take whose stand moved.
func TestNoWayIsToldByADistrustedTake(t *testing.T) {
	b, ps := config.ParseBench("bench.toml", []byte(testBench))
	if b == nil {
		t.Fatal(ps)
	}
	j, ps := config.ParseJob("job.toml", []byte(strings.Replace(adjustJob, `limits = "0.03..0.08 mm"`, "limits = \"0.03..0.08 mm\"\n  max_strokes = 6", 1)))
	if j == nil {
		t.Fatal(ps)
	}
	s, err := NewSheet(b, j, 1, func(string) ledger.Sends { return ledger.OnPress })
	if err != nil {
		t.Fatal(err)
	}
	r := rigOn(t, s, Resume{})
	for _, v := range []uint64{100, 400, 102, 470, 99, 560, 101} { // the high stops climb
		r.press("dial-1", v)
	}
	r.wantTakes(1)
	if k := r.tks[0]; k.Distrusted() != "the stand moved" || k.Verdict != ledger.Undecided {
		t.Fatalf("%s, %q", k.Verdict, k.Note)
	}
	if len(r.guides) != 0 || r.c.adjust.open || r.c.adjust.guide != nil {
		t.Errorf("told %+v, lock open %v", r.guides, r.c.adjust.open)
	}
}
