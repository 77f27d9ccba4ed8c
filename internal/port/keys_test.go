//go:build linux

package port

import (
	"encoding/binary"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
	"testing/iotest"

	"pgregory.net/rapid"
)

// event is one struct input_event as a 64-bit or 32-bit kernel writes it.
func event(size int, kind, code uint16, value int32) []byte {
	b := make([]byte, size)
	if size == 24 {
		binary.NativeEndian.PutUint64(b, 1795593600)
		binary.NativeEndian.PutUint64(b[8:], 123456)
	} else {
		binary.NativeEndian.PutUint32(b, 1795593600)
		binary.NativeEndian.PutUint32(b[4:], 123456)
	}
	binary.NativeEndian.PutUint16(b[size-8:], kind)
	binary.NativeEndian.PutUint16(b[size-6:], code)
	binary.NativeEndian.PutUint32(b[size-4:], uint32(value))
	return b
}

// keystroke is what a keyboard sends for one key: scan code, press, report,
// release, report.
func keystroke(size int, code uint16) (b []byte) {
	b = append(b, event(size, 4, 4, int32(0x70000+int(code)))...)
	b = append(b, event(size, evKey, code, 1)...)
	b = append(b, event(size, evSyn, synReport, 0)...)
	b = append(b, event(size, evKey, code, 0)...)
	return append(b, event(size, evSyn, synReport, 0)...)
}

func typing(size int, codes ...uint16) (b []byte) {
	for _, c := range codes {
		b = append(b, keystroke(size, c)...)
	}
	return b
}

func typedBy(size int, events []byte) (string, []bool) {
	var presses []bool
	t := typist{size: size, down: map[uint16]bool{}, press: func(d bool) { presses = append(presses, d) }}
	return string(t.feed(nil, events)), presses
}

// Key codes: linux/input-event-codes.h.
func TestTyping(t *testing.T) {
	for _, size := range []int{24, 16} {
		shifted := append(event(size, evKey, keyLeftShift, 1), keystroke(size, 13)...) // shift and =
		shifted = append(shifted, event(size, evKey, keyLeftShift, 0)...)
		held := event(size, evKey, 2, 1)
		for range 20 {
			held = append(held, event(size, evKey, 2, 2)...) // the keyboard repeats
		}
		held = append(held, event(size, evKey, 2, 0)...)
		dropped := append(keystroke(size, 3), event(size, evSyn, synDropped, 0)...)
		dropped = append(dropped, event(size, evKey, 4, 1)...) // may be out of order, so it is not taken
		dropped = append(dropped, event(size, evSyn, synReport, 0)...)
		dropped = append(dropped, typing(size, 5, keyEnter)...)
		for name, c := range map[string]struct {
			events []byte
			want   string
		}{
			"digit row":  {typing(size, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11), "1234567890"},
			"number pad": {typing(size, 79, 80, 81, 75, 76, 77, 71, 72, 73, 82, 83, 74, 78, 96), "1234567890.-+\r"},
			"a reading":  {typing(size, 12, 11, 52, 11, 11, 5, 6, keyEnter), "-0.0045\r"},
			"a comma":    {typing(size, 11, 51, 6, 15, 57), "0,5\t "},
			"unit":       {typing(size, 2, 50, 50), "1mm"},
			"shift":      {shifted, "+"},
			"held":       {held, "1"},
			"overflow":   {dropped, "2\x184\r"},
			"no key":     {append(event(size, evKey, 0x110, 1), event(size, 2, 0, 5)...), ""}, // a mouse
		} {
			if got, _ := typedBy(size, c.events); got != c.want {
				t.Errorf("%d bit, %s: %q, want %q", size*8/3, name, got, c.want)
			}
		}
	}
	chord := append(event(24, evKey, 30, 1), event(24, evKey, 48, 1)...)
	chord = append(chord, event(24, evKey, 30, 0)...)
	chord = append(chord, event(24, evKey, 48, 0)...)
	if _, presses := typedBy(24, append(chord, keystroke(24, 30)...)); len(presses) != 4 || !presses[0] || presses[1] || !presses[2] || presses[3] {
		t.Errorf("presses %v, want down, up, down, up", presses)
	}
}

// Any bytes, cut anywhere, type the same and never more than one byte an event.
func TestTypingCut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var in []byte
		for range rapid.IntRange(0, 40).Draw(t, "events") {
			in = append(in, event(24, rapid.SampledFrom([]uint16{0, 1, 1, 1, 4}).Draw(t, "kind"), rapid.SampledFrom([]uint16{0, 2, 3, 28, 42, 54, 96, 500}).Draw(t, "code"), rapid.Int32Range(0, 3).Draw(t, "value"))...)
		}
		whole, _ := typedBy(24, in)
		ty := typist{size: 24, down: map[uint16]bool{}, press: func(bool) {}}
		var out []byte
		for len(in) > 0 {
			n := rapid.IntRange(1, len(in)).Draw(t, "cut")
			out = ty.feed(out, in[:n])
			in = in[n:]
		}
		if string(out) != whole || len(ty.down) > 8 {
			t.Fatalf("%q in pieces, %q whole, %d keys down", out, whole, len(ty.down))
		}
	})
}

// The port over a pipe that stands for the device: what is typed is read, a
// pedal's presses are told, and the end of the device is its loss.
func TestKeysPort(t *testing.T) {
	leaks(t)
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	p := NewKeys("keys:test", r)
	go w.Write(typing(eventSize, 12, 2, 52, 6, keyEnter))
	if got := read(t, iotest.OneByteReader(p), 5); got != "-1.5\r" {
		t.Errorf("read %q", got)
	}
	if l := <-p.(Notifier).Changes(); l.Key {
		t.Error("down at opening")
	}
	for i := range 10 {
		if l := <-p.(Notifier).Changes(); l.Key != (i%2 == 0) {
			t.Errorf("change %d: %+v", i, l)
		}
	}
	w.Close()
	var gone *Gone
	if _, err := p.Read(make([]byte, 9)); !errors.As(err, &gone) {
		t.Errorf("at its end: %v", err)
	}
	p.Close()

	r, w, _ = os.Pipe()
	defer w.Close()
	p = NewKeys("keys:test", r)
	end := make(chan error)
	go func() { _, err := io.ReadAll(p); end <- err }()
	p.Close()
	if err := <-end; !errors.Is(err, ErrClosed) {
		t.Errorf("our close: %v", err)
	}
}

func TestKeysRefusals(t *testing.T) {
	dir := t.TempDir()
	var absent *Absent
	if _, err := open(t, "keys:"+filepath.Join(dir, "event9"), ""); !errors.As(err, &absent) {
		t.Errorf("nothing there: %v", err)
	}
	_, slave := terminal(t)
	var bad *BadAddress
	if _, err := open(t, "keys:"+slave, ""); !errors.As(err, &bad) {
		t.Errorf("no input device: %v", err)
	}
}
