package ledger

import "testing"

// What a take's note says of trust and of what would decide it is known again, among
// whatever else it says.
func TestANoteIsKnownAgain(t *testing.T) {
	k := Take{Note: "gauge error assumed: one step"}
	if k.Distrusted() != "" || k.Settles() != "" || k.Beside() != k.Note {
		t.Errorf("%+v", k)
	}
	k.Settle("")
	k.Settle("2 more strokes")
	if k.Settles() != "2 more strokes" || k.Note != "gauge error assumed: one step; would decide it: 2 more strokes" {
		t.Errorf("%q", k.Note)
	}
	k.Distrust("the stand moved")
	if k.Distrusted() != "the stand moved" || k.Beside() != "gauge error assumed: one step; would decide it: 2 more strokes" {
		t.Errorf("%q, beside %q", k.Note, k.Beside())
	}
	k = Take{}
	k.Distrust(`bore["top; left"] (end of travel)`)
	if k.Distrusted() != `bore["top, left"] (end of travel)` || k.Beside() != "" {
		t.Errorf("%q, beside %q", k.Distrusted(), k.Beside())
	}
}

// A pass with the lock open is none yet, and is known for one that would have been.
func TestAnOpenLockIsKnownAgain(t *testing.T) {
	k := Take{Verdict: Pass, Note: "running compared"}
	if k.Unlocked() || k.InBand() {
		t.Errorf("%+v", k)
	}
	k.Unlock()
	if k.Verdict != Undecided || !k.Unlocked() || !k.InBand() || k.Settles() != "a take after the lock is fastened" {
		t.Errorf("%v, %q", k.Verdict, k.Note)
	}
	for _, v := range []Verdict{Fail, Undecided, NoVerdict} {
		k = Take{Verdict: v, Note: `bore["before the lock is fastened"] = take 1`}
		if k.Unlocked() {
			t.Errorf("%q", k.Note)
		}
		k.Unlock()
		if k.Verdict != v || !k.Unlocked() || k.InBand() {
			t.Errorf("%v became %v, %q", v, k.Verdict, k.Note)
		}
	}
}
