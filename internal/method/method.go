// Package method turns the readings of a check's gauges into one result with
// its uncertainty: play, end-play, run-out, size and drag, each a small state
// machine that finds rests and strokes through package motion. It is pure: it
// is told the time of everything and asks no clock.
package method

import (
	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// The methods.
const (
	Play    = "play"
	EndPlay = "end-play"
	RunOut  = "run-out"
	Size    = "size"
	Drag    = "drag"
	Derived = "derived"
)

// Gauge is what a method must know of a gauge. Lengths are in Spec.Unit; zero
// means not given, Range is infinite where not given.
type Gauge struct {
	Name          string
	Step          float64 // declared; 0: learn it from the readings
	Sends         ledger.Sends
	RangeLow      float64
	RangeHigh     float64
	Error         float64 // largest error of a reading over the whole travel
	HasError      bool    // given, even as zero
	ErrorLocal    float64 // largest error of a difference within ErrorSpan
	HasErrorLocal bool    // given, even as zero
	ErrorSpan     float64
	Hysteresis    float64
	Repeatability float64
}

// Spec is a check as a method needs it: every number in Unit, the unit of the
// check's limits (or of the gauge where there are none).
type Spec struct {
	Method     string
	Unit       quantity.Unit
	Gauge      Gauge
	Minus      *Gauge // a second gauge whose readings are subtracted
	Limits     metrology.Limits
	Strokes    int
	MaxStrokes int
	Confidence float64
	Rule       metrology.Rule

	TiltDeg      float64 // plunger off the surface normal: a known angle …
	TiltMax      float64 // … or a bound of it
	DirectionDeg float64
	DirectionMax float64

	Master      float64 // comparative gauging: the master's size
	HasMaster   bool
	MasterU95   float64
	Sense       int // +1 or -1
	ExpectLow   float64
	ExpectHigh  float64
	Turning     string // rest, least, most
	Warmth      Warmth // size: what refers it to 20 °C
	Stations    int    // run-out: stop and press at so many stations
	Arm         float64
	ArmUnit     quantity.Unit
	ArmU95      float64 // in ArmUnit
	Compare     string  // drag: breakaway, running, peak or over centre
	RestSeconds float64
	RestCount   int
}

// Reading is one value for a method.
type Reading struct {
	Seq     uint64
	T       float64 // seconds, monotonic
	Value   float64 // in Spec.Unit
	Step    float64 // one last digit, in Spec.Unit
	Fault   bool    // no usable value
	Pressed bool    // the gauge's data button
	Minus   bool    // from the second gauge

	step2  float64 // last digit of the second gauge, once subtracted …
	second float64 // … and what it read
}

// Note is what a machine says while it works.
type Note struct {
	Kind NoteKind
	T    float64
	Text string // reason or caution, in plain words
}

// NoteKind is the kind of a Note.
type NoteKind uint8

// The notes.
const (
	RestFound     NoteKind = iota // a rest is confirmed
	StrokeCounted                 // a good stroke
	StrokeLeftOut                 // a stroke that does not count, and why
	NextStep                      // what the person is asked to do now
	Caution                       // 'turn slower', 'end of travel', 'no contact'
	DroppedTake                   // what was gathered is given up, and why
)

// Result is a finished measurement, before its verdict.
type Result struct {
	Value       float64 // in Spec.Unit
	Bound       bool    // an upper bound only: '< Value'
	Budget      metrology.Budget
	T           float64 // of the last reading used
	FirstSeq    uint64
	LastSeq     uint64
	Strokes     int
	LeftOut     int
	DriftPerMin float64
	Hold        float64       // how long the hand held at a stop, s: the upper quartile; 0 where nothing was held
	Rests       []ledger.Rest // Take is filled in later
	Extras      []ledger.Extra
	Note        string // 'strokes do not agree', 'assumed error', …
	NoVerdict   string // why no verdict may be given, e.g. 'the stand moved'
}

// Progress is what a person sees while a take is made.
type Progress struct {
	Strokes, Wanted, Most, LeftOut int
	HasResult                      bool
	Result, U95                    float64
	HasLevels                      bool
	LevelLow, LevelHigh            float64 // mean of the rests at the two stops
	Say                            string  // what to do now
	Reason                         string  // of the last stroke left out or caution
	AtRest                         bool
}

// Machine measures one check at one position, once. Feed it in the order of
// time; it appends what it has to say to Out. After Out.Result is set the
// machine is spent.
type Machine interface {
	// Reading takes one value of the check's gauge or of its minus gauge.
	Reading(r Reading, out *Out)
	// Tick tells the time when no reading came. It must be called no later
	// than Deadline says; calling it more often changes nothing.
	Tick(t float64, out *Out)
	// Deadline is the next moment at which Tick has something to do; +Inf
	// where there is none.
	Deadline() float64
	// Finish ends the take where a person's word is needed: a whole turn is
	// confirmed, a size accepted. It does nothing where it makes no sense.
	Finish(t float64, out *Out)
	// AtRest tells whether the reading just taken lies in a confirmed rest; it
	// is asked after every reading and must be cheap.
	AtRest() bool
	// Progress is the present state, for the page.
	Progress() Progress
}

// Out collects what a machine says. It is reused between calls.
type Out struct {
	Notes  []Note
	Result *Result
}

// Reset empties o for the next call.
func (o *Out) Reset() { o.Notes, o.Result = o.Notes[:0], nil }
