package drivers

import "bytes"

// framing says where a message ends: [frame] of a driver file.
type framing struct {
	start      []byte
	ends       [][]byte
	single     bool // every end is one byte and nothing follows it: the fast way
	class      [256]bool
	length     int // whole frame with its start bytes; 0 free
	countAt    int // which byte of the frame, from 1, says how long it is; 0 none
	countWidth int
	countBase  int // of digits; 256: a raw byte
	countPlus  int
	idle       int64
	max        int
	tail       int  // check bytes behind the end
	packed     bool // numbers are bytes: a CR at the end is one of them
	trim       bool // CR and LF around a frame are no part of it
	rawCheck   int  // raw check bytes before the end: an end byte may be among them
}

// push takes one byte of a frame that is not simply ended by single bytes. It
// sees one byte at a time, so how the stream is cut cannot matter.
func (d *Decoder) push(c byte, emit func(*Value)) {
	f := &d.drv.frame
	d.buf = append(d.buf, c)
	if len(f.start) > 0 && !d.in {
		d.hunt(emit)
		return
	}
	switch {
	case d.tailLeft > 0:
		if d.tailLeft--; d.tailLeft == 0 {
			d.ended(len(d.buf), emit)
			return
		}
	case f.length > 0:
		if len(d.buf) == f.length {
			d.fixed(emit)
		}
		return
	case f.countAt > 0:
		if d.counted(emit) {
			return
		}
	case len(f.ends) > 0:
		if d.restarted(c, emit) {
			return
		}
		if n := f.endLen(d.buf[len(f.start):]); n > 0 { // it never overlaps the start
			if f.tail > 0 {
				d.tailLeft = f.tail
				d.endLen = n
				return
			}
			if f.rawCheck == 0 || d.spoilt {
				d.ended(len(d.buf)-n, emit)
				return
			}
			if d.try(d.buf[:len(d.buf)-n], emit) {
				d.clear()
				return
			}
			first := d.lastEnd == 0
			d.lastEnd, d.endLen = len(d.buf), n
			if first {
				d.extra = f.rawCheck + len(d.longestEnd()) - 1
				return
			}
		}
		if d.lastEnd > 0 {
			if d.extra--; d.extra <= 0 {
				d.cutAtEnd(emit)
			}
			return
		}
	}
	if len(d.buf) > f.max {
		d.overflow(emit)
	}
}

func (d *Decoder) longestEnd() (e []byte) {
	for _, x := range d.drv.frame.ends {
		if len(x) > len(e) {
			e = x
		}
	}
	return e
}

// endLen is the length of the end bytes b closes with, the longest that fit.
func (f *framing) endLen(b []byte) (n int) {
	if len(b) == 0 {
		return 0
	}
	if f.single {
		if f.class[b[len(b)-1]] {
			return 1
		}
		return 0
	}
	for _, e := range f.ends {
		if len(e) > n && bytes.HasSuffix(b, e) {
			n = len(e)
		}
	}
	return n
}

// counted handles a frame that says itself how long it is. done: the byte at
// hand is dealt with.
func (d *Decoder) counted(emit func(*Value)) (done bool) {
	f := &d.drv.frame
	have := f.countAt - 1 + f.countWidth
	if len(d.buf) == have {
		if d.total = f.count(d.buf[f.countAt-1:]); d.total < have || d.total > f.max {
			d.rehunt(NoFit, emit)
			return true
		}
	}
	if len(d.buf) >= have && len(d.buf) == d.total {
		d.fixed(emit)
		return true
	}
	return false
}

// count is the length of a whole frame whose count is b, -1 where it is none.
func (f *framing) count(b []byte) int {
	n := 0
	for _, c := range b {
		k := int(c)
		if f.countBase < 256 {
			h, ok := hexDigit(c)
			if k = int(h); !ok || k >= f.countBase {
				return -1
			}
		}
		n = n*f.countBase + k
	}
	return n + f.countPlus
}

// hunt looks for the start bytes. What stands before them is no frame.
func (d *Decoder) hunt(emit func(*Value)) {
	s := d.drv.frame.start
	if bytes.HasSuffix(d.buf, s) {
		d.between(len(d.buf)-len(s), emit)
		d.buf = append(d.buf[:0], s...)
		d.in, d.spoilt = true, false
		if len(s) == d.drv.frame.length {
			d.fixed(emit)
		}
		return
	}
	if len(d.buf) > d.drv.frame.max {
		keep := len(s) - 1
		n := len(d.buf) - keep
		d.between(n, emit)
		d.buf = append(d.buf[:0], d.buf[n:]...)
	}
}

// between gives out the first n bytes of d.buf, which stand between two
// messages, unless the file says that they are to be ignored.
func (d *Decoder) between(n int, emit func(*Value)) {
	b := bytes.TrimSpace(d.buf[:n])
	if d.drv.drop || len(b) == 0 {
		return
	}
	for i := range d.drv.lines {
		d.caps, d.place, d.from, d.to = d.caps[:0], 0, -1, -1
		d.left = looks(b)
		if l := &d.drv.lines[i]; l.ignore && d.match(l.ops, b, 0) == len(b) {
			return
		}
	}
	d.junk(n, NoFit, emit)
}

// restarted notices a start byte inside a frame: the frame before was cut off.
// Only control characters are sure not to be data.
func (d *Decoder) restarted(c byte, emit func(*Value)) bool {
	f := &d.drv.frame
	s := f.start
	if len(s) == 0 || s[0] >= 0x20 || f.rawCheck > 0 || len(d.buf) < 2*len(s) || !bytes.HasSuffix(d.buf, s) {
		return false
	}
	d.junk(len(d.buf)-len(s), CutOff, emit)
	d.buf = append(d.buf[:0], s...)
	return true
}

// fixed handles a frame of fixed length: where it does not fit, the stream is
// searched for the next place that does, byte by byte.
func (d *Decoder) fixed(emit func(*Value)) {
	f := &d.drv.frame
	if !d.spoilt && d.try(d.buf, emit) {
		d.clear()
		return
	}
	if len(f.start) > 0 {
		d.rehunt(CutOff, emit)
		return
	}
	// slide: the first byte goes to the garbled ones that wait for company
	d.slid = append(d.slid, d.buf[0])
	d.buf = append(d.buf[:0], d.buf[1:]...)
	d.spoilt = false
	if len(d.slid) >= f.length {
		d.flushSlid(emit)
	}
}

// flushSlid gives out the bytes that no fixed-length frame could hold.
func (d *Decoder) flushSlid(emit func(*Value)) {
	if len(d.slid) > 0 {
		slid := d.slid
		d.slid = d.slid[:0]
		d.garbledUnlessBlank(slid, NoFit, emit)
		d.slid = d.slid[:0]
	}
}

// rehunt gives up the frame in d.buf but for a start within it.
func (d *Decoder) rehunt(why Reason, emit func(*Value)) {
	s := d.drv.frame.start
	at := bytes.Index(d.buf[1:], s)
	if at < 0 {
		d.junk(len(d.buf), why, emit)
		d.clear()
		return
	}
	at++
	d.junk(at, why, emit)
	rest := append(d.again[:0], d.buf[at:]...)
	d.clear()
	d.replay(rest, emit)
}

// replay pushes bytes again that turned out to belong to a later frame. They
// are always fewer than the frame they came from, so this ends.
func (d *Decoder) replay(rest []byte, emit func(*Value)) {
	d.again = nil // a replay within uses a buffer of its own
	for _, c := range rest {
		d.push(c, emit)
	}
	d.again = rest[:0]
}

// ended handles a whole frame: d.buf up to n without its end bytes.
func (d *Decoder) ended(n int, emit func(*Value)) {
	f := &d.drv.frame
	frame := d.buf[:n]
	switch {
	case d.spoilt:
		d.garbledUnlessBlank(frame, CutOff, emit)
	case f.tail > 0:
		d.tailed(emit)
		return
	case len(f.start) == 0:
		d.frameOf(frame, emit)
	case !d.try(frame, emit):
		// a frame within, whose own start was taken for data
		if at := bytes.LastIndex(frame[1:], f.start); at >= 0 {
			if at++; d.try(frame[at:], emit) {
				d.clear()
				return
			}
		}
		d.lost(frame, emit)
	}
	d.clear()
}

// tailed handles a frame whose check bytes stand behind its end bytes.
func (d *Decoder) tailed(emit func(*Value)) {
	f, c := &d.drv.frame, d.drv.check
	at := len(d.buf) - f.tail
	inner := at - d.endLen
	over := inner
	if c.withEnd {
		over = at
	}
	end, right := c.compare(d.buf, at, c.kind.sum(c.covered(d.buf, len(f.start), over)))
	if end < 0 || !right && c.wrong == wrongGarbled {
		if len(f.start) > 0 {
			d.rehunt(BadCheck, emit)
			return
		}
		d.garbled(d.buf, BadCheck, emit)
		d.clear()
		return
	}
	d.tailWrong = !right
	d.rawAll = d.buf
	if !d.try(d.buf[:inner], emit) {
		d.lost(d.buf, emit)
	}
	d.clear()
}

// cutAtEnd gives up on a frame with wrong check bytes: its end was the last end
// byte seen, and what came after it belongs to the next.
func (d *Decoder) cutAtEnd(emit func(*Value)) {
	d.lost(d.buf[:d.lastEnd-d.endLen], emit)
	rest := append(d.again[:0], d.buf[d.lastEnd:]...)
	d.clear()
	d.replay(rest, emit)
}

func (d *Decoder) overflow(emit func(*Value)) {
	d.junk(d.drv.frame.max, TooLong, emit)
	last := d.buf[len(d.buf)-1]
	d.clear()
	if len(d.drv.frame.start) == 0 {
		d.spoilt = true
	}
	d.push(last, emit)
}

// junk gives out the first n bytes of d.buf as garbled, unless they are blank.
func (d *Decoder) junk(n int, why Reason, emit func(*Value)) {
	d.garbledUnlessBlank(d.buf[:n], why, emit)
}

func (d *Decoder) clear() {
	d.buf = d.buf[:0]
	d.in, d.spoilt = false, false
	d.tailLeft, d.lastEnd, d.extra = 0, 0, 0
	d.tailWrong, d.rawAll = false, nil
}
