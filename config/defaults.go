package config

import "thouwright/internal/metrology"

// What holds where a file says nothing. A loaded bench or job has these
// already filled in.
const (
	DefaultLogDir      = "logs"
	DefaultJobDir      = "jobs"
	DefaultDisplayUnit = "mm"
	DefaultOutput      = "auto"
	DefaultVolume      = 0.6
	DefaultSpeech      = true             // silence is not a pass: he must not have to look
	DefaultListen      = "127.0.0.1:8417" // nobody else's business until he says so

	DefaultStrokes    = 6  // even, and four degrees of freedom beside play, level and drift
	DefaultMaxStrokes = 12 // beyond it the strokes do not agree, and that is the finding
	DefaultConfidence = 0.95
	DefaultRule       = metrology.Guarded
	DefaultAdvance    = AdvancePause // rocking on after the sound must not make a take
	DefaultTurning    = "rest"
	DefaultCompare    = "running"
	DefaultSense      = "+"
	DefaultHand       = "right"
)

// How the next position opens after a take.
const (
	AdvancePause  = "pause"   // after a large movement, three seconds of stillness, or a command
	AdvanceAtOnce = "at once" //
	AdvanceSwitch = "switch"  // only on a command: foot switch, page, key
)

// Bounds of what a job sheet may ask for; beyond them it is a slip of the pen.
const (
	minStrokes    = 4 // asked; a take has six at least, since fewer leave too little to judge scatter by
	mostStrokes   = 200
	mostStations  = 360
	mostPositions = 200
	mostChecks    = 2000 // of a whole job
)
