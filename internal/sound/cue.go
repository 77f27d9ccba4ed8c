// Package sound plays the bench's short tones and speaks.
package sound

import "thouwright/internal/ledger"

// Cue is one of the things that have a sound of their own.
type Cue uint8

// The cues.
const (
	Rest      Cue = iota // a rest is confirmed
	Stroke               // a stroke counts
	LeftOut              // a stroke was left out
	Passed               // a take is on disk, and passed
	Failed               // a take is on disk, and failed
	Undecided            // a take is on disk, and decides nothing
	Taken                // a take without limits is on disk
	GaugeLost
	GaugeBack
	Disk     // the disk does not take what is measured
	Position // another position is active
	Step     // the next step of a procedure
)

var cueWords = [...]string{"rest", "stroke", "left-out", "pass", "fail", "undecided", "taken",
	"gauge-lost", "gauge-back", "disk", "position", "step"}

// String is the cue's name in the bench file's [sound] cues and on the page.
func (c Cue) String() string { return cueWords[c] }

// OfVerdict is a verdict's cue.
func OfVerdict(v ledger.Verdict) Cue {
	switch v {
	case ledger.Pass:
		return Passed
	case ledger.Fail:
		return Failed
	case ledger.Undecided:
		return Undecided
	}
	return Taken
}
