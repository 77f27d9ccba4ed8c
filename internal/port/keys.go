package port

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"sync"
	"sync/atomic"
	"unsafe"
)

// eventSize is the size of the kernel's struct input_event: two unsigned longs
// of time, a 16-bit type, a 16-bit code and a 32-bit value, all in the
// computer's own byte order (Linux, Documentation/input/input.rst).
const eventSize = 2*int(unsafe.Sizeof(uintptr(0))) + 8

// typist turns input events into the bytes their keys type. It is pure.
type typist struct {
	size  int // of an event
	part  []byte
	down  map[uint16]bool
	lost  bool // until the next report, events are missing
	press func(down bool)
}

// feed appends what the events in b type. They may be cut anywhere.
func (t *typist) feed(out, b []byte) []byte {
	for len(t.part)+len(b) >= t.size {
		n := t.size - len(t.part)
		t.part = append(t.part, b[:n]...)
		b = b[n:]
		e := t.part[t.size-8:]
		out = t.event(out, binary.NativeEndian.Uint16(e), binary.NativeEndian.Uint16(e[2:]), int32(binary.NativeEndian.Uint32(e[4:])))
		t.part = t.part[:0]
	}
	t.part = append(t.part, b...)
	return out
}

func (t *typist) event(out []byte, kind, code uint16, value int32) []byte {
	switch {
	case kind == evSyn && code == synDropped:
		// The kernel's queue ran over: which keys are down is no longer known.
		t.lost = true
		t.release()
		return append(out, cancel)
	case t.lost:
		t.lost = !(kind == evSyn && code == synReport)
		return out
	case kind != evKey:
		return out
	case value == 0:
		if t.down[code] {
			if delete(t.down, code); len(t.down) == 0 {
				t.press(false)
			}
		}
		return out
	case value != 1 || t.down[code]: // 2 is the keyboard's own repeat
		return out
	}
	shift := t.down[keyLeftShift] || t.down[keyRightShift]
	if t.down[code] = true; len(t.down) == 1 {
		t.press(true)
	}
	if int(code) >= len(typed) {
		return out
	}
	c := typed[code][0]
	if shift {
		c = typed[code][1]
	}
	if c != 0 {
		out = append(out, c)
	}
	return out
}

// release lets go of all keys.
func (t *typist) release() {
	if len(t.down) > 0 {
		clear(t.down)
		t.press(false)
	}
}

// keysPort is a gauge or pedal that acts as a keyboard. Read gives what its
// keys type; Changes tells when any of them goes down or up, as a pedal needs.
type keysPort struct {
	name    string
	device  io.ReadCloser
	typist  typist
	in      [64 * 24]byte
	out     []byte // typed and not yet read
	free    []byte // out's memory
	changes chan Lines
	closed  atomic.Bool
	once    sync.Once
}

// NewKeys is a port that types what the input events of device say. The device
// is read alone by whoever opened it (EVIOCGRAB); keys: does both.
func NewKeys(name string, device io.ReadCloser) Port {
	p := &keysPort{name: name, device: device, changes: make(chan Lines, 64)}
	p.typist = typist{size: eventSize, down: map[uint16]bool{}, press: p.pressed}
	p.changes <- Lines{} // as it is: without this the first press would be the state at opening
	return p
}

// pressed passes a press or release on. The reader of a pedal that is 64 events
// behind is not reading.
func (p *keysPort) pressed(down bool) {
	select {
	case p.changes <- Lines{Key: down}:
	default:
	}
}

// Changes tells of presses and releases in Lines.Key.
func (p *keysPort) Changes() <-chan Lines { return p.changes }

func (p *keysPort) Read(b []byte) (int, error) {
	for empty := 0; len(p.out) == 0; {
		if len(b) == 0 {
			return 0, nil
		}
		n, err := p.device.Read(p.in[:])
		switch {
		case p.closed.Load():
			return 0, ErrClosed
		case n > 0:
			p.out = p.typist.feed(p.free[:0], p.in[:n])
			p.free = p.out
		case errors.Is(err, io.EOF), err == nil && empty >= zeroReads, err != nil && isGone(err):
			return 0, &Gone{p.name, "unplugged"}
		case err != nil:
			return 0, &Gone{p.name, fmt.Sprintf("cannot be read (%v)", err)}
		default:
			empty++
		}
	}
	n := copy(b, p.out)
	p.out = p.out[n:]
	return n, nil
}

// Write drops what is sent: a keyboard takes no requests.
func (p *keysPort) Write(b []byte) (int, error) { return len(b), nil }

func (p *keysPort) Close() (err error) {
	p.once.Do(func() {
		p.closed.Store(true)
		err = p.device.Close()
	})
	return err
}
