package ledger

import (
	"slices"
	"strings"
)

// What a take's note says of itself, so that it is known again of a kept take.
const (
	notTrusted = "not trusted: "
	toDecide   = "would decide it: "
	beforeLock = "before the lock is fastened"
	inBand     = "in the band " + beforeLock
)

// Distrust notes why a take's readings are no result, such as of a gauge at the
// end of its travel. A distrusted take has no pass or fail, nor has what is worked
// out from it.
func (t *Take) Distrust(why string) { t.note(notTrusted + why) }

// Distrusted is why a take is not trusted, "" where it is.
func (t *Take) Distrusted() string { return t.noted(notTrusted) }

// Settle notes what would decide an undecided take.
func (t *Take) Settle(by string) {
	if by != "" {
		t.note(toDecide + by)
	}
}

// Settles is what would decide an undecided take, "" where nothing is said of it.
func (t *Take) Settles() string { return t.noted(toDecide) }

// Unlock notes that a take was made, or worked out from one made, while the lock of what
// is adjusted was open. Locking moves it, so that a pass is not yet one.
func (t *Take) Unlock() {
	if t.Verdict != Pass {
		t.note(beforeLock)
		return
	}
	t.Verdict, t.Side = Undecided, ""
	t.note(inBand)
	t.Settle("a take after the lock is fastened")
}

// Unlocked tells whether the lock was open.
func (t *Take) Unlocked() bool { return t.has(beforeLock) || t.InBand() }

// InBand tells whether the take would have passed but for the open lock.
func (t *Take) InBand() bool { return t.has(inBand) }

// Beside is the note without what the take's words say already: why it is not trusted.
func (t *Take) Beside() string {
	return strings.Join(slices.DeleteFunc(strings.Split(t.Note, noteParts), func(item string) bool { return strings.HasPrefix(item, notTrusted) }), noteParts)
}

// note adds an item. What parts the items of a note parts none of its own, such as
// a position's name with one in it.
func (t *Take) note(s string) {
	t.Note = JoinNotes(t.Note, strings.ReplaceAll(s, noteParts, ", "))
}

// noteParts stands between the items of a note.
const noteParts = "; "

// JoinNotes is one note of two, either of which may be empty.
func JoinNotes(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + noteParts + b
}

func (t *Take) has(item string) bool {
	return slices.Contains(strings.Split(t.Note, noteParts), item)
}

func (t *Take) noted(what string) string {
	for item := range strings.SplitSeq(t.Note, noteParts) {
		if rest, ok := strings.CutPrefix(item, what); ok {
			return rest
		}
	}
	return ""
}
