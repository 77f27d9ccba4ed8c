package gauge

import (
	"context"
	"encoding/binary"
	"fmt"
	"net"
	"os"
	"slices"
	"sync"
	"testing"

	"github.com/rs/zerolog"

	"thouwright/internal/port"
)

// comServer is a server of RFC 2217, as far as a port needs one to be opened:
// it takes every setting and tells of its control lines.
type comServer struct {
	listener net.Listener
	mu       sync.Mutex
	conn     net.Conn
}

func newComServer(t *testing.T) *comServer {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := &comServer{listener: l}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			s.mu.Lock()
			s.conn = c
			s.mu.Unlock()
			s.serve(c)
		}
	}()
	t.Cleanup(func() {
		l.Close()
		s.mu.Lock()
		if s.conn != nil {
			s.conn.Close()
		}
		s.mu.Unlock()
		<-done
	})
	return s
}

// Bytes of RFC 854 and RFC 2217.
const (
	telnetIAC, telnetWill, telnetDo, telnetSB, telnetSE = 255, 251, 253, 250, 240
	comPortOption, comAnswers, comModemState            = 44, 100, 7
)

func (s *comServer) serve(c net.Conn) {
	defer c.Close()
	b := make([]byte, 1024)
	var in []byte
	for {
		n, err := c.Read(b)
		in = append(in, b[:n]...)
		for len(in) >= 3 && in[0] == telnetIAC {
			switch in[1] {
			case telnetWill, telnetDo:
				answer := byte(telnetDo)
				if in[1] == telnetDo {
					answer = telnetWill
				}
				s.write(telnetIAC, answer, in[2])
				in = in[3:]
				continue
			case telnetSB:
				end := -1
				for i := 2; i+1 < len(in) && end < 0; i++ {
					if in[i] == telnetIAC && in[i+1] == telnetSE {
						end = i
					}
				}
				if end < 0 {
					break
				}
				answer := append([]byte{}, in[:end+2]...)
				answer[3] += comAnswers
				s.write(answer...)
				in = in[end+2:]
				continue
			default:
				in = in[3:]
				continue
			}
			break
		}
		if err != nil {
			return
		}
	}
}

func (s *comServer) write(b ...byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.conn.Write(b)
}

func (s *comServer) cts(on bool) {
	state := byte(0)
	if on {
		state = 1 << 4
	}
	s.write(telnetIAC, telnetSB, comPortOption, comModemState+comAnswers, state, telnetIAC, telnetSE)
}

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
	s := newComServer(t)
	r := newRecorder()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	settings, err := port.ParseSettings("9600 8N1")
	if err != nil {
		t.Fatal(err)
	}
	go func() {
		Keep(ctx, Plan{Address: "rfc2217://" + s.listener.Addr().String(), Settings: settings, Watch: []string{"CTS"}}, port.Open, r, port.WallClock{}, zerolog.Nop())
		close(done)
	}()
	defer func() { cancel(); <-done }()
	r.until(t, "up", func() bool { return slices.Contains(r.events, "up") })
	wantPresses(t, presses(t, r, "CTS", s.cts))
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
