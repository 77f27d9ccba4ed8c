package capture

import (
	"slices"
	"strings"
	"testing"

	"thouwright/internal/ledger"
	"thouwright/internal/method"
	"thouwright/internal/quantity"
	"thouwright/internal/simulate"
)

const adjustJob = `
number = "A-1"

[[component]]
name = "hub"

  [[component.check]]
  name = "end play"
  method = "end-play"
  gauge = "dial-1"
  limits = "0.03..0.08 mm"

  [component.check.adjuster]
  pitch = "1.5 mm"
  slots = 6
  holes = 2
  steps = ["tighten while turning", "back off 60 deg", "lock"]

[[component]]
name = "wheel"

  [[component.check]]
  name = "run-out"
  method = "run-out"
  gauge = "dial-2"
  limits = "..0.2 mm"
`

// A nut set by feel: too loose, then in the band with the lock open, then locked.
// At every stroke pair it is told where the play lies and which way to go; the
// take in the band is no verdict, and only the one after the lock moves the job on.
func TestAnEndPlayIsSetAndLocked(t *testing.T) {
	r := rigOn(t, sheetOf(t, adjustJob, 1), Resume{})
	r.rock("dial-1", 0.2, 9)
	r.wantTakes(1)
	if k := r.tks[0]; k.Verdict != ledger.Fail || k.Side != "above" {
		t.Fatalf("0.2 mm in 0.03..0.08: %v %q", k.Verdict, k.Side)
	}
	r.rock("dial-1", 0.14, 5)
	if len(r.guides) == 0 {
		t.Fatal("nothing was told while the adjuster was turned")
	}
	for _, g := range r.guides {
		// From 0.14 to the middle, 0.055: 0.085 of 1.5 mm are 20 degrees clockwise,
		// and a place of 6 slots and 2 holes lies every 60.
		if g.Where != method.WhereAbove || g.Way != method.Tighten || g.Sure || !strings.HasSuffix(g.Turn, " clockwise") {
			t.Errorf("0.14 mm: %+v", g)
		}
	}
	r.guides = nil
	r.rock("dial-1", 0.055, 9)
	r.wantTakes(2)
	if last := r.guides[len(r.guides)-1]; last.Where != method.WhereIn || !last.Sure || last.Way != method.Lock {
		t.Errorf("0.055 mm: %+v", last)
	}
	if k := r.tks[1]; k.Verdict != ledger.Undecided || !strings.Contains(k.Note, "before the lock") || k.Settles() != "a take after the lock is fastened" {
		t.Errorf("a take with the lock open: %v, %q", k.Verdict, k.Note)
	}
	if !slices.Contains(r.said, SaidLock) {
		t.Errorf("nobody was told to fasten the lock: %v", r.said)
	}
	if r.c.at != 0 {
		t.Fatal("the job moved on before the lock was fastened")
	}
	if err := r.do(ledger.Command{Do: ledger.DoLock}); err != nil {
		t.Fatal(err)
	}
	r.guides = nil
	r.rock("dial-1", 0.052, 9)
	r.wantTakes(3)
	if r.tks[2].Verdict != ledger.Pass || r.c.at != 1 {
		t.Errorf("after the lock: %v, place %d", r.tks[2].Verdict, r.c.at)
	}
	if len(r.guides) != 0 {
		t.Errorf("a turn was told after the lock: %+v", r.guides)
	}
}

// Locking moved the play out of the band: that take fails, and the lock is open.
func TestALockThatMovesThePlay(t *testing.T) {
	r := rigOn(t, sheetOf(t, adjustJob, 1), Resume{})
	r.rock("dial-1", 0.2, 9)
	r.rock("dial-1", 0.055, 9)
	if err := r.do(ledger.Command{Do: ledger.DoLock}); err != nil {
		t.Fatal(err)
	}
	r.rock("dial-1", 0.01, 8)
	r.wantTakes(3)
	if k := r.tks[2]; k.Verdict != ledger.Fail || k.Side != "below" || r.c.at != 0 {
		t.Errorf("0.01 mm after the lock: %v %q at %d", k.Verdict, k.Side, r.c.at)
	}
	r.guides = nil
	r.rock("dial-1", 0.012, 6)
	for _, g := range r.guides {
		if g.Where == method.WhereBelow && g.Way != method.Slacken {
			t.Errorf("too tight, told to %s", g.Way)
		}
	}
}

// A drag has no strokes: after each pull that is not right the way to turn is told,
// and it is the other way round than with a play.
func TestADragIsSetPullByPull(t *testing.T) {
	job := strings.NewReplacer(`method = "end-play"`, `method = "drag"`, `limits = "0.03..0.08 mm"`, `limits = "2..3 N"`, `gauge = "dial-1"`, `gauge = "pull"`).Replace(adjustJob)
	r := rigOn(t, benchAndSheet(t, testBench+"\n[[gauge]]\nname = \"pull\"\nport = \"/dev/full\"\ndriver = \"signed-decimal\"\nunit = \"N\"\nerror = \"0.01 N\"\n", job), Resume{})
	pull := func(force float64) {
		var p simulate.Path
		p.Hold(2, 0, 0)
		p.Glide(force, 0.5)
		p.Hold(6, 0, 0)
		p.Glide(0, 0.3)
		p.Hold(2, 0, 0)
		r.readsIn("pull", quantity.N, &p)
	}
	for i, c := range []struct {
		force float64
		where string
		way   string
	}{{5, method.WhereAbove, method.Slacken}, {1, method.WhereBelow, method.Tighten}, {4, method.WhereAbove, method.Slacken}} {
		r.guides = nil
		pull(c.force)
		r.wantTakes(i + 1)
		if len(r.guides) != 1 || r.guides[0].Where != c.where || r.guides[0].Way != c.way || r.guides[0].Turn != "" {
			t.Errorf("a drag of %v N in 2..3 N: told %+v", c.force, r.guides)
		}
	}
	pull(2.5)
	r.wantTakes(4)
	if !slices.Contains(r.said, SaidLock) || r.tks[3].Verdict != ledger.Undecided {
		t.Errorf("2.5 N with the lock open: %v, said %v", r.tks[3].Verdict, r.said)
	}
	if err := r.do(ledger.Command{Do: ledger.DoLock}); err != nil {
		t.Fatal(err)
	}
	pull(2.4)
	r.wantTakes(5)
	if r.tks[4].Verdict != ledger.Pass || r.c.at != 1 {
		t.Errorf("after the lock: %v at %d", r.tks[4].Verdict, r.c.at)
	}
}

// The procedure is told one step at a time, and begins again after its last.
func TestAProcedureStepByStep(t *testing.T) {
	r := rigOn(t, sheetOf(t, adjustJob, 1), Resume{})
	if i := slices.Index(r.said, SaidStep); i < 0 || r.words[i] != "tighten while turning" {
		t.Errorf("at the first position %q, expected the first step too", r.words)
	}
	for _, want := range []string{"back off 60 deg", "lock", "tighten while turning"} {
		r.said, r.words = nil, nil
		if err := r.do(ledger.Command{Do: ledger.DoStep}); err != nil {
			t.Fatal(err)
		}
		if i := slices.Index(r.said, SaidStep); i < 0 || r.words[i] != want {
			t.Errorf("said %q, expected %q", r.words, want)
		}
	}
	other := rigOn(t, sheetOf(t, testJob, 1), Resume{})
	if err := other.do(ledger.Command{Do: ledger.DoStep}); err == nil || !strings.Contains(err.Error(), "no procedure") {
		t.Errorf("a step of no procedure: %v", err)
	}
	if err := other.do(ledger.Command{Do: ledger.DoLock}); err == nil {
		t.Error("a lock where there is none")
	}
}

// Who is led through the procedure has the lock open until he says that it is fastened:
// a play that lies in the band before is no verdict, and the steps behind the lock leave
// it fastened.
func TestATakeAmidTheProcedureIsNoVerdict(t *testing.T) {
	step := func(r *testRig) {
		t.Helper()
		if err := r.do(ledger.Command{Do: ledger.DoStep}); err != nil {
			t.Fatal(err)
		}
	}
	r := rigOn(t, sheetOf(t, strings.Replace(adjustJob, `"lock"]`, `"lock", "measure"]`, 1), 1), Resume{})
	step(r) // back off
	r.rock("dial-1", 0.055, 9)
	r.wantTakes(1)
	if k := r.tks[0]; k.Verdict != ledger.Undecided || k.Settles() != "a take after the lock is fastened" || r.c.at != 0 {
		t.Fatalf("0.055 mm backed off: %v, %q, at %d", k.Verdict, k.Note, r.c.at)
	}
	step(r) // lock
	if err := r.do(ledger.Command{Do: ledger.DoLock}); err != nil {
		t.Fatal(err)
	}
	step(r) // measure
	r.rock("dial-1", 0.052, 9)
	r.wantTakes(2)
	if k := r.tks[1]; k.Verdict != ledger.Pass || r.c.at != 1 {
		t.Errorf("after the lock: %v, %q, at %d", k.Verdict, k.Note, r.c.at)
	}
}

// Neither a restart nor a look at another place fastens a lock.
func TestALockStaysOpenOverARestart(t *testing.T) {
	r := rigOn(t, sheetOf(t, adjustJob, 1), Resume{})
	r.rock("dial-1", 0.2, 9)
	r.wantTakes(1)
	failed := r.tks[0]
	again := rigOn(t, sheetOf(t, adjustJob, 1), Resume{Take: failed.Take, Takes: []*ledger.Take{failed}, Tag: failed.Tag, HasActive: true})
	again.rock("dial-1", 0.055, 9)
	again.wantTakes(1)
	if k := again.tks[0]; k.Verdict != ledger.Undecided {
		t.Errorf("0.055 mm after a restart, the lock open: %v", k.Verdict)
	}
	for _, place := range []string{"wheel", "hub"} {
		check := map[string]string{"wheel": "run-out", "hub": "end play"}[place]
		if err := r.do(ledger.Command{Do: ledger.DoPosition, Component: place, Check: check}); err != nil {
			t.Fatal(err)
		}
	}
	r.rock("dial-1", 0.055, 9)
	r.wantTakes(2)
	if k := r.tks[1]; k.Verdict != ledger.Undecided {
		t.Errorf("0.055 mm after a look elsewhere, the lock open: %v", k.Verdict)
	}
}

// The sheet is edited and has no adjuster any more: there is no lock to wait for.
func TestAnAdjusterThatIsTakenAway(t *testing.T) {
	r := rigOn(t, sheetOf(t, adjustJob, 1), Resume{})
	r.rock("dial-1", 0.2, 9)
	r.wantTakes(1)
	i, k := strings.Index(adjustJob, "  [component.check.adjuster]"), strings.Index(adjustJob, "[[component]]\nname = \"wheel\"")
	r.c.Replace(sheetOf(t, adjustJob[:i]+adjustJob[k:], 2), ledger.Stamp{Elapsed: r.now, Wall: r.now}, &r.out)
	r.take()
	r.rock("dial-1", 0.055, 9)
	r.wantTakes(2)
	if k := r.tks[1]; k.Verdict != ledger.Pass || k.Unlocked() || r.c.at != 1 {
		t.Errorf("0.055 mm and no lock: %v, %q, at %d", k.Verdict, k.Note, r.c.at)
	}
}

// A take that is not trusted opens no lock and fastens none, over a restart either.
func TestADistrustedTakeLeavesTheLock(t *testing.T) {
	r := rigOn(t, sheetOf(t, adjustJob, 1), Resume{})
	r.rock("dial-1", 0.2, 9)
	r.wantTakes(1)
	failed, moved := r.tks[0], *r.tks[0]
	moved.Take, moved.Verdict = 2, ledger.Undecided
	moved.Distrust("the stand moved")
	for _, x := range []struct {
		takes []*ledger.Take
		want  ledger.Verdict
	}{{[]*ledger.Take{&moved}, ledger.Pass}, {[]*ledger.Take{failed, &moved}, ledger.Undecided}} {
		again := rigOn(t, sheetOf(t, adjustJob, 1), Resume{Take: 2, Takes: x.takes, Tag: failed.Tag, HasActive: true})
		again.rock("dial-1", 0.055, 9)
		again.wantTakes(1)
		if k := again.tks[0]; k.Verdict != x.want {
			t.Errorf("0.055 mm after %d takes: %v, want %v", len(x.takes), k.Verdict, x.want)
		}
	}
}

// The nut is turned much too far between two strokes, and the hand rocks on: no word
// that was right before is said, or left standing, of what is too tight now.
func TestAGuideOfWhatWasIsTakenBack(t *testing.T) {
	r := rigOn(t, sheetOf(t, adjustJob, 1), Resume{})
	r.rock("dial-1", 0.2, 9)
	r.wantTakes(1)
	side := 1.0
	rock := func(play float64, strokes int) {
		var p simulate.Path
		p.Glide(1, 0.1)
		for range strokes {
			p.Glide(1+side*play/2, 0.3)
			p.Hold(0.9, 0, 0)
			side = -side
		}
		r.reads("dial-1", &p)
	}
	r.guides = nil
	rock(0.14, 5)
	if len(r.guides) == 0 || r.guides[len(r.guides)-1].Way != method.Tighten {
		t.Fatalf("0.14 mm in 0.03..0.08: %+v", r.guides)
	}
	r.guides = nil
	for k := range 5 {
		rock(0.01, 1)
		if g := r.c.adjust.guide; k > 0 && g != nil && g.Way != method.Slacken {
			t.Errorf("after %d strokes of 0.01 mm there still stands %+v", k+1, *g)
		}
	}
	for _, g := range r.guides {
		if g.Way != method.Slacken {
			t.Errorf("0.01 mm: %+v", g)
		}
	}
	if len(r.guides) == 0 {
		t.Error("nothing was said of five strokes of 0.01 mm")
	}
}
