// Package ledger names what the program keeps: readings, rests, takes, budget
// lines, extras and events, with the one table of columns that the CSV files,
// the page's JSON and every reader of a job's folder share. It is pure.
package ledger

import (
	"time"

	"thouwright/internal/quantity"
)

// Stamp is the moment at which bytes were read, taken once. Wall is what the
// clock on the wall said; Elapsed is monotonic and alone decides order and
// duration, so a stepped wall clock changes neither.
type Stamp struct {
	Wall    int64 // microseconds since 1970-01-01T00:00:00Z
	Elapsed int64 // microseconds since the daemon started (or on the tape)
}

// Seconds is Elapsed in seconds.
func (s Stamp) Seconds() float64 { return float64(s.Elapsed) / 1e6 }

// Time is the wall time in UTC.
func (s Stamp) Time() time.Time { return time.UnixMicro(s.Wall).UTC() }

// Fault says why a reading carries no value.
type Fault uint8

// The faults of a single reading, as decode prints them.
const (
	NoFault    Fault = iota
	Over             // over range
	Under            // under range
	NoSignal         // the gauge says it has no probe or no signal
	LowBattery       // the gauge says its battery is low
	Error            // any other error word or number
	Garbled          // bytes that fit no pattern, or a wrong check
)

var faultWords = [...]string{"", "over", "under", "no-signal", "low-battery", "error", "garbled"}

// String is the word used in decode's fault column.
func (f Fault) String() string { return faultWords[f] }

// ParseFault reads the word; ok is false for any other.
func ParseFault(s string) (Fault, bool) {
	for i, w := range faultWords {
		if w == s {
			return Fault(i), true
		}
	}
	return 0, false
}

// Motion is the state of a reading's gauge as known when the reading arrived.
type Motion uint8

// The states of the readings file.
const (
	Moving Motion = iota
	AtRest
	Idle    // the active check does not use this gauge
	Faulted // the reading has no usable value
)

var motionWords = [...]string{"moving", "rest", "idle", "fault"}

// String is the word used in readings.csv.
func (m Motion) String() string { return motionWords[m] }

// Sends says when a gauge sends.
type Sends uint8

// The ways a gauge sends.
const (
	Streams  Sends = iota // all the time
	OnChange              // only when the value changes
	OnPress               // only when its data button is pressed
)

var sendsWords = [...]string{"stream", "change", "press"}

// String is the word a driver file uses.
func (s Sends) String() string { return sendsWords[s] }

// ParseSends reads the word; "" is a stream.
func ParseSends(s string) (Sends, bool) {
	if s == "" {
		return Streams, true
	}
	for i, w := range sendsWords {
		if w == s {
			return Sends(i), true
		}
	}
	return 0, false
}

// Reading is one value from one gauge.
type Reading struct {
	Seq     uint64
	At      Stamp
	Gauge   string
	Tag     *Tag   // what was active; shared by every reading of a batch
	Raw     []byte // as sent, without its line end; owned by the batch
	Value   quantity.Decimal
	HasVal  bool
	Unit    quantity.Unit
	Step    float64 // in Unit; what one last digit is worth
	Fault   Fault
	Motion  Motion
	Pressed bool // a deliberate reading: the gauge's data button
}

// Tag is what a reading or take belongs to.
type Tag struct {
	Stage, Component, Position, Check string
}

// Rest is one row of rests.csv. Value and Level are in the take's unit.
type Rest struct {
	Take     uint64
	Rest     int
	FirstSeq uint64
	LastSeq  uint64
	T        float64 // seconds, mean time of the readings used (elapsed_s scale)
	Side     string  // "+" or "-", or the station of a run-out
	Level    int     // stretch between knocks, from 1
	Value    float64
	Used     bool
	Reason   string // why it was left out
}

// Verdict is what a take says of its limits. None means no limits were set.
type Verdict string

// The verdicts.
const (
	Pass      Verdict = "pass"
	Fail      Verdict = "fail"
	Undecided Verdict = "undecided"
	NoVerdict Verdict = ""
)

// Take is one row of takes.csv: the commit record of a measurement.
type Take struct {
	Take        uint64
	At          Stamp // of the last reading used
	Tag         Tag   // Tag.Check is the check's name
	CheckID     string
	Method      string
	Gauge       string
	Unit        quantity.Unit
	Result      float64 // in Unit
	Bound       bool    // the result is an upper bound: '< Result'
	U95         float64
	Low, High   float64 // in Unit; infinite where open or without limits
	Verdict     Verdict
	Side        string // "below", "above" or ""
	PIn         float64
	PBelow      float64
	PAbove      float64
	Dof         float64 // may be infinite
	Confidence  float64
	Strokes     int
	LeftOut     int
	DriftPerMin float64 // in Unit
	FirstSeq    uint64
	LastSeq     uint64
	Replaces    uint64
	Operator    string
	Sheet       int
	Note        string

	Rests  []Rest
	Budget []BudgetLine
	Extras []Extra
	Say    string // for people, in Unit: 'too loose by 1.2 thou, at least 0.6'
	Ruled  bool   // Say is a rule's or the procedure's own words, whatever the unit
	Sound  string // a rule's choice: "pass", "fail", "undecided"; else ""
}

// BudgetLine is one row of budget.csv: one part of a take's uncertainty.
type BudgetLine struct {
	Part         string
	Value        float64 // the half-width or standard deviation as given, in Unit
	Unit         quantity.Unit
	Distribution string // normal, t, rectangular, triangular
	Divisor      float64
	U            float64 // standard uncertainty of the result from this part
	Dof          float64
}

// Extra is one row of extras.csv: what else a take found.
type Extra struct {
	Quantity string // eccentricity, breakaway, closure, …
	Value    float64
	Unit     quantity.Unit
	U95      float64 // NaN where unknown
}

// Event is one row of events.csv.
type Event struct {
	Seq   uint64 // of the last reading before it
	At    Stamp
	Kind  EventKind
	Gauge string
	Text  string
}

// EventKind is the kind column of events.csv.
type EventKind string

// The kinds.
const (
	EvStart     EventKind = "start"
	EvStop      EventKind = "stop"
	EvJob       EventKind = "job"
	EvSheet     EventKind = "sheet"
	EvBench     EventKind = "bench"
	EvStage     EventKind = "stage"
	EvPosition  EventKind = "position"
	EvAccept    EventKind = "accept"
	EvRedo      EventKind = "redo"
	EvBack      EventKind = "back"
	EvNote      EventKind = "note"
	EvDropped   EventKind = "dropped"
	EvGaugeLost EventKind = "gauge-lost"
	EvGaugeBack EventKind = "gauge-back"
	EvClock     EventKind = "clock"
	EvDisk      EventKind = "disk"
	EvRepaired  EventKind = "repaired"
	EvRule      EventKind = "rule"
	EvAnchor    EventKind = "anchor"
)
