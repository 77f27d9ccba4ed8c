package drivers

import (
	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// Decoder runs one driver over one stream. It holds at most a few frames,
// whatever the bytes are, and how the stream is cut into chunks changes no
// value and no order. (Idle-gap framing goes by the times of the chunks: a
// pause of frame.idle or more between two chunks ends a frame, and chunks that
// were merged into one have no pause between them.)
//
// A frame whose start was not seen is never a value: after opening, the first
// frame counts only where the line was quiet for Quiet before its first byte,
// or where the driver has start bytes; otherwise it is given out as garbled
// (CutOff). The same holds for what follows a pause inside a frame and a frame
// that was too long.
type Decoder struct {
	drv *Driver
	val Value

	buf  []byte // the frame so far
	last int64  // time of the last chunk that held a byte

	opened   bool // nothing was read since Opened
	openedAt int64
	spoilt   bool // the start of this frame was not seen

	// a frame at hand (push)
	in       bool // the start bytes were seen
	tailLeft int
	endLen   int
	lastEnd  int
	extra    int
	slid     []byte
	again    []byte
	total    int // how long the frame at hand says that it is
	sieved   []byte

	// a match at hand
	left      int // of the looks that a frame may cost
	caps      []capture
	vals      []pending
	notes     []byte
	data      int // where the frame's data begins
	place     int // {value}s of the pattern passed so far, missing ones too
	from, to  int // what the check bytes are taken over; to -1: up to them
	checkAt   int // where check bytes stand that are taken over what follows; -1 none
	raw       []byte
	rawAll    []byte
	wrong     bool // check bytes were wrong
	badCheck  bool
	keepWrong bool
	tailWrong bool
	failed    failedCheck // the last, for whoever explains it

	// what holds from frame to frame
	unit    quantity.Unit
	channel []byte
	asked   []byte
}

// NewDecoder is a decoder at the start of a stream: the first byte it gets is
// the first of a frame, as in a file.
func (d *Driver) NewDecoder() *Decoder {
	most := d.most
	return &Decoder{
		drv:   d,
		buf:   make([]byte, 0, 64),
		caps:  make([]capture, 0, most*8+16),
		vals:  make([]pending, 0, most),
		notes: make([]byte, 0, 64),
		data:  len(d.frame.start),
	}
}

// Opened forgets all that came before: the port was opened (again) at the
// elapsed microsecond at. What comes within Quiet of it may be the rest of a
// frame whose start nobody saw.
func (d *Decoder) Opened(at int64) {
	d.Reset()
	d.opened, d.openedAt = true, at
}

// Reset forgets half a frame and what held from frame to frame. The first
// frame that follows does not count unless start bytes prove its start.
func (d *Decoder) Reset() {
	d.clear()
	d.slid = d.slid[:0]
	d.unit, d.channel, d.asked = quantity.None, d.channel[:0], d.asked[:0]
	d.opened = false
	d.distrust()
}

// distrust marks the frame at hand as one whose start was not seen.
func (d *Decoder) distrust() {
	f := &d.drv.frame
	d.spoilt = len(f.start) == 0 && f.length == 0
}

// SetChannel says which channel was asked last; readings without a channel of
// their own belong to it.
func (d *Decoder) SetChannel(name string) { d.asked = append(d.asked[:0], name...) }

// Pending is the half frame at hand; it holds until the next call.
func (d *Decoder) Pending() []byte { return d.buf }

// Deadline is the elapsed microsecond at which the frame at hand ends by an
// idle gap, or counts as stopped in the middle.
func (d *Decoder) Deadline() (at int64, ok bool) {
	if len(d.buf) == 0 && len(d.slid) == 0 {
		return 0, false
	}
	return d.last + d.patience(), true
}

func (d *Decoder) patience() int64 {
	if d.drv.frame.idle > 0 {
		return d.drv.frame.idle
	}
	return d.drv.Gap.Microseconds()
}

// Expire does what the Deadline is for, if it has come.
func (d *Decoder) Expire(at int64, emit func(*Value)) {
	if deadline, ok := d.Deadline(); ok && at >= deadline {
		d.expire(emit)
	}
}

func (d *Decoder) expire(emit func(*Value)) {
	f := &d.drv.frame
	if f.idle > 0 && f.length == 0 {
		if len(f.start) > 0 && !d.in {
			d.between(len(d.buf), emit)
			d.clear()
			return
		}
		d.ended(len(d.buf), emit)
		return
	}
	if d.lastEnd > 0 { // only its check bytes were still in doubt
		if d.cutAtEnd(emit); len(d.buf) == 0 {
			return
		}
	}
	d.flushSlid(emit)
	d.junk(len(d.buf), CutOff, emit)
	d.clear()
	if f.idle == 0 {
		d.distrust()
	}
}

// End is the end of the input: an idle-gap frame is whole, any other half frame
// is garbled.
func (d *Decoder) End(emit func(*Value)) {
	if len(d.buf) > 0 || len(d.slid) > 0 {
		d.expire(emit)
	}
}

// Feed decodes one chunk that was read at the elapsed microsecond at. Every
// reading is handed to emit in order; its Value holds only until emit returns.
func (d *Decoder) Feed(chunk []byte, at int64, emit func(*Value)) {
	if d.drv.sieve != nil {
		chunk = d.drv.sieve.pass(d, chunk)
	}
	if len(chunk) == 0 {
		return
	}
	if d.opened {
		d.opened = false
		if at-d.openedAt >= Quiet.Microseconds() {
			d.spoilt = false
		}
	}
	d.Expire(at, emit)
	d.last = at
	d.feed(chunk, emit)
}

func (d *Decoder) feed(chunk []byte, emit func(*Value)) {
	f := &d.drv.frame
	if !f.single || len(f.start) > 0 || f.length > 0 || f.tail > 0 || f.rawCheck > 0 {
		for _, c := range chunk {
			d.push(c, emit)
		}
		return
	}
	d.lines(chunk, emit)
}

// lines splits a stream of frames that are ended by single bytes. Frames that
// lie whole in the chunk are matched where they lie.
func (d *Decoder) lines(chunk []byte, emit func(*Value)) {
	class := &d.drv.frame.class
	start, i := 0, 0
	for ; i < len(chunk); i++ {
		if !class[chunk[i]] {
			continue
		}
		frame := chunk[start:i]
		start = i + 1
		if len(d.buf) > 0 {
			d.take(frame, emit)
			frame = d.buf
		}
		frame = d.cutLong(frame, emit)
		if len(frame) > 0 {
			if d.spoilt {
				d.garbledUnlessBlank(frame, CutOff, emit)
			} else {
				d.frameOf(frame, emit)
			}
		}
		d.spoilt = false
		d.buf = d.buf[:0]
	}
	if start < len(chunk) {
		d.take(chunk[start:], emit)
	}
}

// take appends to the frame at hand, giving out what is longer than a frame
// can be.
func (d *Decoder) take(part []byte, emit func(*Value)) {
	most := d.drv.frame.max
	for len(d.buf)+len(part) > most {
		n := most - len(d.buf)
		d.buf = append(d.buf, part[:n]...)
		part = part[n:]
		d.junk(most, TooLong, emit)
		d.buf = d.buf[:0]
		d.spoilt = true
	}
	d.buf = append(d.buf, part...)
}

func (d *Decoder) cutLong(frame []byte, emit func(*Value)) []byte {
	most := d.drv.frame.max
	for len(frame) > most {
		d.garbledUnlessBlank(frame[:most], TooLong, emit)
		frame = frame[most:]
		d.spoilt = true
	}
	return frame
}

// frameOf matches a whole frame.
func (d *Decoder) frameOf(frame []byte, emit func(*Value)) {
	if d.drv.frame.trim {
		for len(frame) > 0 && frame[0] <= '\r' && isLineEnd(frame[0]) {
			frame = frame[1:]
		}
		for len(frame) > 0 && isLineEnd(frame[len(frame)-1]) {
			frame = frame[:len(frame)-1]
		}
		if len(frame) == 0 {
			return
		}
	}
	if !d.try(frame, emit) {
		d.lost(frame, emit)
	}
}

func isLineEnd(c byte) bool { return c == '\r' || c == '\n' }

// try matches a frame against every line pattern in order and gives out the
// readings of the first that fits the whole of it.
func (d *Decoder) try(frame []byte, emit func(*Value)) bool {
	drv := d.drv
	d.badCheck, d.keepWrong, d.left = false, false, looks(frame)
	for k := range drv.lines {
		l := &drv.lines[k]
		d.caps = d.caps[:0]
		d.wrong = false
		if l.bare {
			if n, e := l.ops[0].num.parsePlain(frame, 0); e >= 0 && e == len(frame) {
				v := &d.val
				*v = Value{Raw: frame, Value: n, HasVal: true, Step: quantity.Decimal{Coef: 1, Scale: n.Scale}}
				d.finish(l, v, 0, 1)
				emit(v)
				return true
			}
		}
		if !d.fits(l, frame) {
			d.badCheck = d.badCheck || d.wrong
			continue
		}
		if d.wrong || d.tailWrong {
			d.wrong = true
			if drv.check.wrong == wrongDrop {
				return true
			}
			d.keepWrong = true
		}
		d.flushSlid(emit)
		d.raw = frame
		if d.rawAll != nil {
			d.raw = d.rawAll
		} else if drv.frame.length > 0 && drv.check == nil && !drv.frame.packed {
			d.raw = trimEnd(frame)
		}
		if l.simple {
			d.giveSimple(l, emit)
		} else {
			d.give(l, frame, emit)
		}
		return true
	}
	return false
}

// onlyPadding tells what may follow the part of a frame that a pattern used.
func (d *Decoder) onlyPadding(b []byte) bool {
	if d.drv.frame.length > 0 || d.drv.frame.idle > 0 {
		return blankOnly(b)
	}
	return skipBlanks(b, 0) == len(b)
}

// lost gives out a frame that fits nothing.
func (d *Decoder) lost(frame []byte, emit func(*Value)) {
	if d.drv.drop {
		return
	}
	why := NoFit
	if d.badCheck {
		why = BadCheck
	}
	d.garbledUnlessBlank(frame, why, emit)
}

func (d *Decoder) garbledUnlessBlank(raw []byte, why Reason, emit func(*Value)) {
	if !blankOnly(raw) {
		d.garbled(raw, why, emit)
	}
}

func (d *Decoder) garbled(raw []byte, why Reason, emit func(*Value)) {
	d.flushSlid(emit)
	d.val = Value{Raw: raw, Fault: ledger.Garbled, Reason: why}
	if f := &d.drv.frame; !f.packed && (f.length > 0 || f.idle > 0) {
		d.val.Raw = trimEnd(raw)
	}
	emit(&d.val)
}

// giveSimple is give for a pattern of one value and at most a unit.
func (d *Decoder) giveSimple(l *line, emit func(*Value)) {
	v := &d.val
	*v = Value{Raw: d.raw}
	for i := range d.caps {
		c := &d.caps[i]
		if c.kind == opUnit {
			v.Unit = c.m.unit
			continue
		}
		v.Value, v.Step, v.HasVal = c.v, c.step, c.m == nil
		if c.m != nil {
			v.Fault = c.m.fault
		}
	}
	d.finish(l, v, 0, 1)
	emit(v)
}
