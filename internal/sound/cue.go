// Package sound plays the bench's tones and speech: on a PulseAudio or
// PipeWire server where there is one, else as the terminal's bell. Nothing here
// ever holds up who asks for a sound, and nothing is played late.
package sound

import (
	"time"

	"thouwright/internal/ledger"
)

// Cue is an event that has a sound.
type Cue int

// The cues. Their names are those of [sound].cues in the bench file.
const (
	Rest      Cue = iota // a rest is found
	Stroke               // a stroke counts
	LeftOut              // a stroke is left out
	Taken                // a take without limits is on disk
	Pass                 // a take passed, and its row is on disk
	Fail                 // a take failed, and its row is on disk
	Undecided            // a take is undecided, and its row is on disk
	GaugeLost            //
	GaugeBack            //
	Disk                 // the logs can't be written
	Position             // another position is active
	Step                 // the next step of a procedure
	Guide                // while an adjuster is turned
	numCues
)

var cueNames = [numCues]string{"rest", "stroke", "left-out", "taken", "pass", "fail", "undecided", "gauge-lost", "gauge-back", "disk", "position", "step", "guide"}

// String is the cue's name in the bench file.
func (c Cue) String() string {
	if c < 0 || c >= numCues {
		return "none"
	}
	return cueNames[c]
}

// Cues lists all of them.
func Cues() []Cue {
	all := make([]Cue, numCues)
	for i := range all {
		all[i] = Cue(i)
	}
	return all
}

// OfVerdict is the sound of a take's verdict.
func OfVerdict(v ledger.Verdict) Cue {
	switch v {
	case ledger.Pass:
		return Pass
	case ledger.Fail:
		return Fail
	case ledger.Undecided:
		return Undecided
	}
	return Taken
}

// How much a cue weighs. A sound that has not started gives way to a newer one
// that weighs as much or more; one that is playing is faded for one that weighs
// more; anything else that comes meanwhile waits its turn, one at a time.
const (
	minor  = iota // what the hands know anyway
	plain         // what comes next
	result        // what a take was worth
	alarm         // what must not be missed
)

func (c Cue) weight() int {
	switch c {
	case Rest, Stroke, LeftOut:
		return minor
	case Taken, Pass, Undecided, GaugeLost:
		return result
	case Fail, Disk:
		return alarm
	}
	return plain
}

// note is one tone of a cue: from hz to to (0: steady), ms long, and then
// silence.
type note struct {
	hz, to   float64
	ms, rest float64
	soft     float64 // ms of rise; 0 is the usual
	level    float64 // of the cue's full level; 0 is 1
}

// The lengths of which the patterns are made. Tones further apart than 90 ms
// are heard one by one (Jurado et al. 2021); the fundamentals lie between 300
// Hz and 2.5 kHz, where hearing lasts longest (ISO 24500, from memory).
const (
	tick  = 45
	short = 90
	long  = 220
	apart = 90
	pause = 240
)

// scores are the cues' tones. No two share a pattern of long and short, so that
// each is known without an ear for pitch.
var scores = [numCues][]note{
	Rest:    {{hz: 1000, ms: tick, level: 0.5}},
	Stroke:  {{hz: 1250, ms: tick, rest: apart, level: 0.6}, {hz: 1250, ms: tick, level: 0.6}},
	LeftOut: {{hz: 350, ms: long, level: 0.8}},
	Taken:   {{hz: 660, ms: long, rest: apart}, {hz: 660, ms: short, rest: apart}, {hz: 660, ms: long}},
	// Up and home: short, short, long.
	Pass: {{hz: 523, ms: short, rest: apart}, {hz: 659, ms: short, rest: apart}, {hz: 784, ms: long}},
	// Down and heavy: two very long ones.
	Fail: {{hz: 466, ms: 2 * long, rest: apart}, {hz: 370, ms: 2 * long}},
	// To and fro.
	Undecided: {{hz: 622, ms: short, rest: apart}, {hz: 523, ms: short, rest: apart}, {hz: 622, ms: short, rest: apart}, {hz: 523, ms: short}},
	GaugeLost: {
		{hz: 1200, ms: short, rest: apart}, {hz: 800, ms: short, rest: pause},
		{hz: 1200, ms: short, rest: apart}, {hz: 800, ms: short, rest: pause},
		{hz: 1200, ms: short, rest: apart}, {hz: 800, ms: short},
	},
	GaugeBack: {{hz: 800, ms: short, rest: apart}, {hz: 1000, ms: short, rest: apart}, {hz: 1200, ms: short}},
	// Three times a second, high: ISO 7731 (from memory) asks for 0.5 to 4 a
	// second and components between 500 and 2500 Hz.
	Disk:     {{hz: 1400, ms: long, rest: apart}, {hz: 1400, ms: long, rest: apart}, {hz: 1400, ms: long}},
	Position: {{hz: 700, ms: short, rest: apart}, {hz: 700, ms: long}},
	Step:     {{hz: 880, ms: long, rest: apart}, {hz: 660, ms: short}},
}

// bells is how often the terminal's bell rings for a cue where there is no
// better output, and how far apart; what the hands know anyway does not ring.
func (c Cue) bells() (rings int, apart time.Duration) {
	switch c {
	case Pass, Taken:
		return 1, bellApart
	case Undecided:
		return 2, bellApart
	case GaugeBack:
		return 2, 3 * bellApart
	case Fail:
		return 3, bellApart
	case GaugeLost:
		return 4, bellApart
	case Disk:
		return 5, bellApart
	}
	return 0, 0
}
