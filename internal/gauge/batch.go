package gauge

import (
	"thouwright/internal/ledger"
)

// Batch is what one call of a Source gave. It may be used again after Reset:
// then nothing of it holds any longer.
type Batch struct {
	Readings []ledger.Reading // Raw points into the batch's own memory
	From     []int            // Spec.Index of each reading's gauge
	Notes    []Note
	arena    []byte
}

// Reset empties the batch and keeps its memory.
func (b *Batch) Reset() {
	b.Readings, b.From, b.Notes, b.arena = b.Readings[:0], b.From[:0], b.Notes[:0], b.arena[:0]
}

// keep copies raw into the batch. Where the memory must grow, the readings
// before go on pointing into the old one.
func (b *Batch) keep(raw []byte) []byte {
	n := len(b.arena)
	b.arena = append(b.arena, raw...)
	return b.arena[n:len(b.arena):len(b.arena)]
}

// Note is news of a gauge that is no reading.
type Note struct {
	Gauge string
	Index int // Spec.Index
	Kind  NoteKind
	Text  string // plain words with one thing to do
	At    ledger.Stamp
}

// NoteKind says what a note is about.
type NoteKind uint8

// The kinds of notes. A gauge that is lost, by any of the first three, is back
// with Speaking or with its port.
const (
	Silent     NoteKind = iota // nothing arrives from the gauge any more
	Stopped                    // the line stopped in the middle of a reading
	Unreadable                 // bytes arrive, and the driver can read none of them
	Speaking                   // readings arrive again
	Burst                      // several unreadable lines in a row, between good ones
	Unclaimed                  // a channel that belongs to no gauge
)

var noteWords = [...]string{"silent", "stopped", "unreadable", "speaking", "burst", "unclaimed"}

// String is a word for the kind.
func (k NoteKind) String() string { return noteWords[k] }

// Lost tells whether the gauge's last value is no longer to be trusted.
func (k NoteKind) Lost() bool { return k <= Unreadable }

// Back tells whether a gauge that was lost speaks again.
func (k NoteKind) Back() bool { return k == Speaking }

// Counts are a gauge's frames by what became of them.
type Counts struct {
	Good     uint64 // a value
	Short    uint64 // cut off: the start or the end was not seen
	Checksum uint64 // the check bytes are wrong
	Format   uint64 // fits no pattern
	Overflow uint64 // longer than any frame of the driver
	Range    uint64 // the gauge said it is over or under its range
	NoSignal uint64 // the gauge said it has no probe or no signal
	Error    uint64 // the gauge said any other error
}

// Garbled is the number of frames that could not be read.
func (c Counts) Garbled() uint64 { return c.Short + c.Checksum + c.Format + c.Overflow }
