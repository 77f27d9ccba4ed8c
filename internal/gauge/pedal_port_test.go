package gauge

import (
	"context"
	"encoding/binary"
	"fmt"
	"os"
	"slices"
	"testing"

	"github.com/rs/zerolog"

	"thouwright/internal/port"
	"thouwright/internal/port/porttest"
)

// treads are presses with chatter, in logical milliseconds, and what they mean.
var treads = []edge{
	{0, false},
	{1000, true}, {1003, false}, {1005, true}, {1200, false}, {1202, true}, {1204, false}, // short
	{3000, true}, {4000, false}, {4003, true}, {4006, false}, // long
	{6000, true}, {6002, false}, {6004, true}, {9000, false}, // very long
	{11000, true}, {11010, false}, // chatter alone
}

// presses plays the treads: set changes the line, and once the keeper has told
// of the change the pedal gets it at its logical time.
func presses(t *testing.T, r *recorder, line string, set func(bool)) (got []Press) {
	t.Helper()
	var p Pedal
	add := func(x Press) {
		if x != NoPress {
			got = append(got, x)
		}
	}
	run := func(ms int64) {
		for p.Deadline() <= ms*1000 {
			add(p.Tick(p.Deadline()))
		}
	}
	for i, e := range treads {
		set(e.on)
		r.until(t, fmt.Sprintf("change %d of %s", i, line), func() bool {
			n := 0
			for _, ev := range r.events {
				if ev == line+" true" || ev == line+" false" {
					n++
				}
			}
			return n == i+1
		})
		run(e.ms)
		add(p.Edge(e.on, e.ms*1000))
	}
	run(20_000)
	return got
}

func wantPresses(t *testing.T, got []Press) {
	t.Helper()
	if fmt.Sprint(got) != fmt.Sprint([]Press{Short, Long, VeryLong}) {
		t.Errorf("presses %v, want short, long and very long", got)
	}
}

// A foot switch on a control line of a port on the network: the server tells of
// every change, chatter and all, and the pedal makes the three presses of it.
func TestPedalOnTheNetwork(t *testing.T) {
	leaks(t)
	s := porttest.NewComServer(t)
	r := newRecorder()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	settings, err := port.ParseSettings("9600 8N1")
	if err != nil {
		t.Fatal(err)
	}
	go func() {
		Keep(ctx, Plan{Address: "rfc2217://" + s.Addr(), Settings: settings, Watch: []string{"CTS"}}, port.Open, r, port.WallClock{}, zerolog.Nop())
		close(done)
	}()
	defer func() { cancel(); <-done }()
	r.until(t, "up", func() bool { return slices.Contains(r.events, "up") })
	wantPresses(t, presses(t, r, "CTS", s.CTS))
}

// The same on a line that must be asked for, and by a pedal that acts as a
// keyboard, from its recorded events.
func TestPedalOnALineAndAsAKeyboard(t *testing.T) {
	leaks(t)
	asked := &lined{fake: newFake(nil)}
	in, out, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	for line, c := range map[string]struct {
		port port.Port
		set  func(bool)
	}{
		"CTS": {asked, func(on bool) { asked.set(port.Lines{CTS: on}) }},
		"KEY": {port.NewKeys("keys:pedal", in), func(on bool) { out.Write(keyEvent(48, on)) }},
	} {
		r := newRecorder()
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		s := &script{steps: []any{c.port}}
		go func() {
			Keep(ctx, Plan{Address: "tcp://h:1", Watch: []string{line}}, s.open, r, port.WallClock{}, zerolog.Nop())
			close(done)
		}()
		r.until(t, "up", func() bool { return slices.Contains(r.events, "up") })
		wantPresses(t, presses(t, r, line, c.set))
		cancel()
		<-done
	}
}

// keyEvent is Linux's input_event of a key with its report, on a 64-bit
// machine: two 64-bit times, type, code and value.
func keyEvent(code uint16, down bool) []byte {
	one := func(kind, code uint16, value uint32) []byte {
		b := make([]byte, 24)
		binary.NativeEndian.PutUint16(b[16:], kind)
		binary.NativeEndian.PutUint16(b[18:], code)
		binary.NativeEndian.PutUint32(b[20:], value)
		return b
	}
	value := uint32(0)
	if down {
		value = 1
	}
	return append(one(1, code, value), one(0, 0, 0)...)
}
