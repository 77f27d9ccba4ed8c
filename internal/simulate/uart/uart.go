// Package uart is what a serial line does to bytes when the two ends are set
// differently: the sender's bits on the wire, and what a receiver with settings
// of its own samples from them, start, data, parity and stop bits, framing and
// parity errors included. Frames are those of common asynchronous serial
// interfaces (start bit low, data least significant bit first, parity, stop
// bits high, idle high).
package uart

import (
	"math"
	"math/bits"

	"thouwright/internal/port"
)

// Wire is the level of a line over time: a list of bits at the sender's speed,
// high before and behind it.
type Wire struct {
	baud float64
	high []bool
}

// Send puts bytes on the wire one behind the other, with pause idle bit times
// between two of them.
func Send(s port.Settings, data []byte, pause int) Wire {
	w := Wire{baud: float64(s.Baud)}
	for i, c := range data {
		w.high = append(w.high, false)
		for k := 0; k < s.DataBits; k++ {
			w.high = append(w.high, c>>k&1 == 1)
		}
		if p, ok := parity(s, c); ok {
			w.high = append(w.high, p)
		}
		stops := 1
		if s.Stop != port.OneStop { // one and a half: the half is idle time
			stops = 2
		}
		if i < len(data)-1 {
			stops += pause
		}
		for ; stops > 0; stops-- {
			w.high = append(w.high, true)
		}
	}
	return w
}

// parity is the parity bit of c; ok is false where none is sent.
func parity(s port.Settings, c byte) (high, ok bool) {
	odd := bits.OnesCount8(c&byte(1<<s.DataBits-1))%2 == 1
	switch s.Parity {
	case port.EvenParity:
		return odd, true
	case port.OddParity:
		return !odd, true
	case port.MarkParity:
		return true, true
	case port.SpaceParity:
		return false, true
	}
	return false, false
}

// Seconds is how long the wire is busy.
func (w Wire) Seconds() float64 { return float64(len(w.high)) / w.baud }

// at is the level at t seconds.
func (w Wire) at(t float64) bool {
	i := int(t * w.baud)
	if t < 0 || i >= len(w.high) {
		return true
	}
	return w.high[i]
}

// Char is one character as received.
type Char struct {
	Byte    byte
	Framing bool // its stop bit was low
	Parity  bool // its parity bit was wrong
	Break   bool // low all the way, stop bit too
}

// Receiver samples a wire.
type Receiver struct {
	Settings port.Settings
	// Eager receivers take a low stop bit for the next start bit, as common
	// circuits do; others wait for the line to go high first.
	Eager bool
}

// oversampling is how many times per bit a receiver looks for the start bit.
const oversampling = 16

// Receive is what arrives of a wire.
func (r Receiver) Receive(w Wire) (out []Char) {
	bit := 1 / float64(r.Settings.Baud)
	tick := bit / oversampling
	end := w.Seconds()
	t := -tick // idle before
	for {
		// the falling edge, as seen by the sampling clock
		for t < end && !w.at(t) {
			t += tick
		}
		t = w.nextLow(t, end, tick)
		if t >= end {
			return out
		}
		if w.at(t + bit/2) { // a spike, no start bit
			t += bit / 2
			continue
		}
		for {
			c, stop := r.one(w, t, bit)
			out = append(out, c)
			t = stop
			if !c.Framing || c.Break || !r.Eager {
				break
			}
			t -= bit / 2 // the low stop bit is taken for a start bit
			if t >= end {
				return out
			}
		}
	}
}

// nextLow is the first tick from t on at which the line is seen low; ticks are
// those of the receiver's clock, which knows nothing of the sender's.
func (w Wire) nextLow(t, end, tick float64) float64 {
	for t < end && w.at(t) {
		i := -1
		if t >= 0 {
			i = int(t * w.baud)
		}
		for i++; i < len(w.high) && w.high[i]; i++ {
		}
		edge := float64(i) / w.baud
		t += max(1, math.Ceil((edge-t)/tick)) * tick
	}
	return t
}

// one samples the character whose start bit begins at t; stop is where its stop
// bit was sampled.
func (r Receiver) one(w Wire, t, bit float64) (c Char, stop float64) {
	s := r.Settings
	at := t + 1.5*bit
	low := true
	for k := 0; k < s.DataBits; k++ {
		if w.at(at) {
			c.Byte |= 1 << k
			low = false
		}
		at += bit
	}
	if want, ok := parity(s, c.Byte); ok {
		got := w.at(at)
		c.Parity = got != want
		low = low && !got
		at += bit
	}
	c.Framing = !w.at(at)
	c.Break = c.Framing && low
	return c, at
}

// Bytes are what a program reads of received characters. checked is a line
// whose errors the system looks at (INPCK): there a wrong character reads as
// NUL, as a Linux terminal gives it; else it reads as it is. A break is a NUL
// either way.
func Bytes(chars []Char, checked bool) []byte {
	out := make([]byte, 0, len(chars))
	for _, c := range chars {
		switch {
		case c.Break, checked && (c.Framing || c.Parity):
			out = append(out, 0)
		default:
			out = append(out, c.Byte)
		}
	}
	return out
}

// Heard is what a program at settings to reads of data sent at settings from.
func Heard(from, to port.Settings, data []byte, eager bool) []byte {
	checked := to.Parity != port.NoParity
	if from == to {
		return append([]byte(nil), data...)
	}
	return Bytes(Receiver{to, eager}.Receive(Send(from, data, 0)), checked)
}

// After is what is left of the wire from t seconds on: what a receiver gets
// that was set in the middle of a message.
func (w Wire) After(t float64) Wire {
	n := min(max(0, int(t*w.baud)), len(w.high))
	return Wire{w.baud, w.high[n:]}
}
