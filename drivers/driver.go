// Package drivers turns the byte streams of gauges into readings by
// declarative TOML files, one per stream shape. The built-in files lie beside
// this source; a user's own are read from the bench's driver_dir. Every key a
// driver file can hold is shown, with comments, in form.toml.example.
//
// A file is compiled once (Parse) into a small program over bytes; a Decoder
// runs it without regular expressions and without allocating per reading.
// Framing comes first (where does one message end), then the line patterns are
// tried in the order of the file, and the first that fits the whole frame
// gives the readings. A frame that fits none is a reading with the fault
// 'garbled' and its raw bytes: a bad line is never a lost port.
package drivers

import (
	"time"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// Value is one decoded reading. Raw, Channel and Flags point into the decoder's
// own buffer and hold only until the callback returns.
type Value struct {
	Channel []byte // of a multiplexer or a several-values line; empty otherwise
	Raw     []byte // the frame as sent, without its line end
	Value   quantity.Decimal
	HasVal  bool
	Step    quantity.Decimal // worth of the last digit sent (a driver's own step wins), in Unit
	Unit    quantity.Unit    // None where the stream does not say
	Fault   ledger.Fault     // LowBattery may come with a value, the others never do
	Reason  Reason           // why a frame is garbled
	Flags   []byte           // min/max/hold flags and tolerance marks, kept as a note
	Pressed bool             // a deliberate reading: the gauge's data button
}

// Reason says why a frame is garbled: the counters of a gauge.
type Reason uint8

// The reasons of a garbled frame.
const (
	Fits     Reason = iota // not garbled
	NoFit                  // no line pattern fits
	BadCheck               // the check bytes are wrong
	CutOff                 // its start or its end was not seen
	TooLong                // longer than the driver's longest frame
)

var reasonWords = [...]string{"", "fits no pattern", "check bytes are wrong", "cut off", "too long"}

// String is the reason in plain words.
func (r Reason) String() string { return reasonWords[r] }

// Driver is one compiled driver file.
type Driver struct {
	Name  string // the file's name without .toml
	About string // one line for people
	File  string
	Text  []byte // the file as read: copied into a job's folder

	Line     string // "9600 8N1"
	DTR, RTS *bool  // the control lines to set; nil leaves them as opened
	Sends    ledger.Sends
	Unit     quantity.Unit    // where the stream does not say
	Step     quantity.Decimal // declared; zero: the last digit
	Silence  time.Duration    // no whole frame for this long: the gauge is silent
	Gap      time.Duration    // a pause this long inside a frame: the line stopped in mid-frame
	NoSniff  bool             // sniff does not propose it: its bytes are those of a plainer driver
	Poll     *Poll            // nil: the gauge sends by itself

	Examples []Example

	sieve *sieve // nil: every byte counts as it is
	frame framing
	lines []line
	check *check
	holds bool // a unit once sent holds for the readings that follow
	most  int  // readings one frame can give
	drop  bool // frames that fit nothing are dropped without a word
}

// Poll says how a gauge is asked. A round sends every Ask in turn; each waits
// up to Wait for its Answers readings and is repeated Retries times before the
// gauge counts as silent.
type Poll struct {
	Start   []byte // sent once after opening, may be empty
	Asks    []Ask  // empty where Start alone sets a stream going
	Every   time.Duration
	Wait    time.Duration
	Retries int
	Answers int // readings that one Ask brings
}

// Ask is what is sent to get a reading. Channel is what readings without a
// channel of their own then belong to (Decoder.SetChannel).
type Ask struct {
	Channel string
	Send    []byte
}

// Defaults of a driver file, in one place.
const (
	DefaultLine    = "9600 8N1"
	DefaultSilence = 3 * time.Second
	// A network or USB stall of some hundred ms is not the gauge stopping.
	DefaultGap = time.Second
	// Quiet is how long a line must have been silent after opening for its
	// first byte to count as the start of a frame. It is longer than the
	// latency timers of USB adapters (16 ms) and a character at 300 baud.
	Quiet = 100 * time.Millisecond

	defaultMax = 256
	mostMax    = 4096
)

// Complexity weighs how much a file says: of two that make the same of a
// stream, the plainer one is the better answer.
func (d *Driver) Complexity() int {
	n := 10 * len(d.lines)
	for i := range d.lines {
		l := &d.lines[i]
		for _, ops := range [][]op{l.ops, l.tail} {
			walk(ops, func(o *op) {
				n++
				if o.words != nil && o.words != knownUnits {
					n += len(o.words.plain) + len(o.words.made)
				}
				if o.num != nil {
					n += o.num.complexity()
				}
			})
		}
	}
	f := &d.frame
	if len(f.start) > 0 {
		n += 5
	}
	if f.length > 0 {
		n += 40
	}
	if f.idle > 0 { // times can be lost on the way, bytes not
		n += 60
	}
	if d.Sends != ledger.Streams {
		n += 5
	}
	return n
}

func (n *number) complexity() (k int) {
	if n.faults != nil {
		k += len(n.faults.plain) + len(n.faults.made)
	}
	for _, odd := range []bool{n.after, n.required, !n.before, !n.plainSigns, !n.point, n.decimals >= 0, n.fractions, n.exponent, n.hex, n.scaled, n.packed(), n.group != 0, n.sixties > 0, n.lowFirst} {
		if odd {
			k += 3
		}
	}
	return k
}

// Checked tells whether frames prove themselves by check bytes.
func (d *Driver) Checked() bool { return d.check != nil }
