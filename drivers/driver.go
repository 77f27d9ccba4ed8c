// Package drivers turns the byte streams of gauges into readings by
// declarative TOML files, one per stream shape. The built-in files lie beside
// this source; a user's own are read from the bench's driver_dir.
package drivers

import (
	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// Value is one decoded reading. Raw and Channel point into the decoder's own
// buffer and hold only until the callback returns.
type Value struct {
	Channel []byte // of a multiplexer or a several-values line; empty otherwise
	Raw     []byte // the frame as sent, without its line end
	Value   quantity.Decimal
	HasVal  bool
	Unit    quantity.Unit // None where the stream does not say
	Fault   ledger.Fault
	Flags   []byte // min/max/hold flags and tolerance marks, kept as a note
	Pressed bool   // a deliberate reading: the gauge's data button
}
