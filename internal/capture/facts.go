package capture

import "thouwright/internal/ledger"

// Fact is something that came of a message: a row to be kept, or a word for
// whoever watches. Facts come in the order in which they are to be written.
type Fact interface{ fact() }

// EventFact is a row of events.csv.
type EventFact struct{ ledger.Event }

// TakeFact is a finished take with all its rows.
type TakeFact struct{ *ledger.Take }

// SaidFact is a word for the person: a rest, a stroke, a caution, a new
// position. It is not kept in a file.
type SaidFact struct {
	Kind  Said
	At    ledger.Stamp
	Gauge string
	Text  string // plain words; empty where the kind says all
	Tag   ledger.Tag
	Seq   uint64  // of the last reading
	Value float64 // the gauge's last reading in the check's unit
}

// GuideFact says where the play lies while an adjuster is turned.
type GuideFact struct {
	ledger.Guide
	Method string
}

func (EventFact) fact() {}
func (TakeFact) fact()  {}
func (SaidFact) fact()  {}
func (GuideFact) fact() {}

// Said is the kind of a SaidFact.
type Said string

// What can be said.
const (
	SaidRest     Said = "rest"
	SaidStroke   Said = "stroke"
	SaidLeftOut  Said = "left out"
	SaidCaution  Said = "caution"
	SaidPosition Said = "position" // a position was announced or chosen
	SaidOpen     Said = "open"     // the announced position opened
	SaidStep     Said = "step"     // the next step, of a procedure or of a take
	SaidLock     Said = "lock"     // in the band: fasten the lock
)

// Out collects facts; it is reused between messages.
type Out struct{ Facts []Fact }

// Reset empties o.
func (o *Out) Reset() { o.Facts = o.Facts[:0] }

func (o *Out) add(f Fact) { o.Facts = append(o.Facts, f) }
