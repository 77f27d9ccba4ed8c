package port

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// parsed takes a Telnet stream apart in the given pieces.
func parsed(in []byte, cuts ...int) (data []byte, commands []string, t *telnet) {
	t = &telnet{}
	t.negotiate = func(v, o byte) { commands = append(commands, string([]byte{v, o})) }
	t.suboption = func(o byte, p []byte) { commands = append(commands, string(append([]byte{sb, o}, p...))) }
	last := 0
	for _, c := range cuts {
		t.feed(in[last:c])
		last = c
	}
	t.feed(in[last:])
	return t.out, commands, t
}

func TestTelnet(t *testing.T) {
	in := []byte{'a', iac, iac, 'b', iac, do, optComPort, '\r', 0, '\r', '\n', iac, 241, iac, sb, optComPort, 101, 0, iac, iac, iac, se, 'c',
		iac, sb, optComPort, 7, iac, will, optSGA, 'd', iac, sb, iac, se, iac, se, 'e'}
	data, commands, _ := parsed(in)
	if want := "a\xffb\r\r\ncde"; string(data) != want {
		t.Errorf("data %q, want %q", data, want)
	}
	want := []string{string([]byte{do, optComPort}), string([]byte{sb, optComPort, 101, 0, iac}), string([]byte{will, optSGA})}
	if strings.Join(commands, "|") != strings.Join(want, "|") {
		t.Errorf("commands %q, want %q", commands, want)
	}
}

// What is escaped is what comes out, through plain and NVT connections.
func TestTelnetRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plain := rapid.Bool().Draw(t, "plain")
		data := rapid.SliceOf(rapid.SampledFrom([]byte{0, '\r', '\n', iac, sb, se, 'x', 255})).Draw(t, "data")
		if !plain { // an NVT has no NUL behind a CR: it is the mark of a bare CR
			data = bytes.ReplaceAll(data, []byte("\r\x00"), []byte("\r"))
			for bytes.Contains(data, []byte("\r\x00")) {
				data = bytes.ReplaceAll(data, []byte("\r\x00"), []byte("\r"))
			}
		}
		p := &telnet{binary: plain, negotiate: func(v, o byte) { t.Fatalf("command %d %d", v, o) }, suboption: func(byte, []byte) { t.Fatal("subnegotiation") }}
		for _, c := range escape(nil, data, plain) {
			p.feed([]byte{c})
		}
		if !bytes.Equal(p.out, data) {
			t.Fatalf("%q came out as %q", data, p.out)
		}
	})
}

func TestFuzzTelnetSeeds(t *testing.T) {
	seeds, _ := filepath.Glob("testdata/fuzz/FuzzTelnet/*")
	if len(seeds) < 6 {
		t.Fatalf("%d seeds in testdata/fuzz/FuzzTelnet, want 6 or more", len(seeds))
	}
	for _, s := range seeds {
		if b, err := os.ReadFile(s); err != nil || !bytes.HasPrefix(b, []byte("go test fuzz v1\n")) {
			t.Errorf("%s is no seed: %v", s, err)
		}
	}
}

// A server that says nothing of its control lines until one changes: how they
// were before follows from what has changed. What it says right after the
// opening is how they are.
func TestFirstModemState(t *testing.T) {
	for state, want := range map[byte][]Lines{
		modemCTS | changedCTS:            {{}, {CTS: true}},
		changedCTS:                       {{CTS: true}, {}},
		modemDSR | modemDCD | changedDCD: {{DSR: true}, {DSR: true, DCD: true}},
		endedRI:                          {{RI: true}, {}},
		modemCTS:                         {{CTS: true}, {CTS: true}},
	} {
		p := &rfc2217Port{changes: make(chan Lines, 64), ready: time.Now().Add(-time.Hour)}
		p.modem(state)
		for i, w := range want {
			if l := <-p.changes; l != w {
				t.Errorf("%#x: line states %d are %+v, want %+v", state, i, l, w)
			}
		}
		p = &rfc2217Port{changes: make(chan Lines, 64), ready: time.Now()}
		p.modem(state)
		if l := <-p.changes; l != want[1] || len(p.changes) > 0 {
			t.Errorf("%#x at opening: %+v and %d more, want %+v", state, l, len(p.changes), want[1])
		}
	}
}

// Any bytes of a server, cut anywhere, give the same data and commands, within
// bounds; and a client that talks to such a server neither hangs nor grows.
func FuzzTelnet(f *testing.F) {
	f.Fuzz(func(t *testing.T, in []byte, cut uint16) {
		a := 0
		if len(in) > 0 {
			a = int(cut) % len(in)
		}
		data, commands, tn := parsed(in)
		data2, commands2, _ := parsed(in, a)
		if !bytes.Equal(data, data2) || strings.Join(commands, "|") != strings.Join(commands2, "|") {
			t.Fatalf("cut at %d: %q %q, whole: %q %q", a, data2, commands2, data, commands)
		}
		if len(data) > len(in) || cap(tn.sub) > 2*subMost {
			t.Fatalf("%d bytes of data and %d kept, of %d", len(data), cap(tn.sub), len(in))
		}
		p := &rfc2217Port{answers: map[byte][]byte{}, changed: make(chan struct{}), changes: make(chan Lines, 64)}
		p.telnet.negotiate, p.telnet.suboption = p.negotiate, p.suboption
		p.telnet.feed(in)
		if len(p.replies) > 8*len(in) || len(p.answers) > 256 {
			t.Fatalf("%d bytes of replies, %d answers", len(p.replies), len(p.answers))
		}
	})
}

// server is the other side of RFC 2217 as the RFC has it, in memory: what a
// test wants to see and to send that a real server on a pseudo-terminal cannot.
type server struct {
	t        *testing.T
	listener net.Listener
	mu       sync.Mutex
	conn     net.Conn
	data     []byte
	commands [][]byte // of the com port option
	answer   func(command byte, value []byte) []byte
	refuse   bool
	silent   bool
	wake     chan struct{}
}

func newServer(t *testing.T) *server {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := &server{t: t, listener: l, wake: make(chan struct{}, 1), answer: func(_ byte, v []byte) []byte { return v }}
	done := make(chan struct{})
	go func() { defer close(done); s.run() }()
	t.Cleanup(func() { l.Close(); s.hangUp(); <-done })
	return s
}

func (s *server) address() string { return "rfc2217://" + s.listener.Addr().String() }

func (s *server) run() {
	for {
		c, err := s.listener.Accept()
		if err != nil {
			return
		}
		s.mu.Lock()
		s.conn = c
		s.mu.Unlock()
		s.serve(c)
	}
}

func (s *server) serve(c net.Conn) {
	defer c.Close()
	tn := &telnet{binary: true}
	tn.negotiate = func(v, o byte) {
		switch {
		case s.silent:
		case v == will && o == optComPort && s.refuse:
			c.Write([]byte{iac, dont, o})
		case v == will:
			c.Write([]byte{iac, do, o})
		case v == do:
			c.Write([]byte{iac, will, o})
		}
	}
	tn.suboption = func(o byte, p []byte) {
		s.mu.Lock()
		s.commands = append(s.commands, append([]byte{}, p...))
		s.mu.Unlock()
		s.poke()
		if v := s.answer(p[0], p[1:]); v != nil {
			c.Write(subnegotiation(nil, optComPort, append([]byte{p[0] + comAnswer}, v...)...))
		}
	}
	b := make([]byte, 1024)
	for {
		n, err := c.Read(b)
		tn.out = tn.out[:0]
		tn.feed(b[:n])
		s.mu.Lock()
		s.data = append(s.data, tn.out...)
		s.mu.Unlock()
		s.poke()
		if err != nil {
			return
		}
	}
}

func (s *server) poke() {
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

func (s *server) write(b ...byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.conn.Write(b)
}

func (s *server) notify(command, value byte) {
	s.write(subnegotiation(nil, optComPort, command+comAnswer, value)...)
}

func (s *server) hangUp() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.conn != nil {
		s.conn.Close()
	}
}

func (s *server) until(what string, ok func() bool) {
	s.t.Helper()
	limit := time.After(10 * time.Second)
	for {
		s.mu.Lock()
		done := ok()
		s.mu.Unlock()
		if done {
			return
		}
		select {
		case <-s.wake:
		case <-limit:
			s.t.Fatalf("waited 10 s for %s; commands %v, data %q", what, s.commands, s.data)
		}
	}
}

func (s *server) got(command ...byte) bool {
	for _, c := range s.commands {
		if bytes.Equal(c, command) {
			return true
		}
	}
	return false
}

func TestRFC2217Settings(t *testing.T) {
	leaks(t)
	s := newServer(t)
	p := mustOpen(t, s.address(), "4800 7E2 DTR=off RTS=on")
	s.until("all settings", func() bool {
		return s.got(comBaud, 0, 0, 0x12, 0xc0) && s.got(comDataSize, 7) && s.got(comParity, 3) && s.got(comStopSize, 2) &&
			s.got(comControl, controlNoFlow) && s.got(comControl, controlNoFlowIn) && s.got(comControl, controlDTROff) && s.got(comControl, controlRTSOn) &&
			s.got(comLineMask, maskOfLineErrors) && s.got(comModemMask, 0xf0) && s.got(comPurge, purgeBoth)
	})
	if err := p.(Resetter).Reset(Settings{Baud: 19200, DataBits: 8, Parity: OddParity}); err != nil {
		t.Fatal(err)
	}
	s.until("new settings", func() bool {
		return s.got(comBaud, 0, 0, 0x4b, 0) && s.got(comParity, 2) && s.got(comStopSize, 1)
	})
	p.Close()
}

// Data from before the settings stood is dropped, and not a byte after.
func TestRFC2217StaleData(t *testing.T) {
	s := newServer(t)
	s.answer = func(c byte, v []byte) []byte {
		if c == comPurge {
			s.write('o', 'l', 'd', iac, sb, optComPort, comPurge+comAnswer, purgeBoth, iac, se, 'n', 'e', 'w')
			return nil
		}
		return v
	}
	p := mustOpen(t, s.address(), "")
	if got := read(t, p, 3); got != "new" {
		t.Errorf("read %q", got)
	}
}

func TestRFC2217Traffic(t *testing.T) {
	leaks(t)
	s := newServer(t)
	p := mustOpen(t, s.address(), "")
	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	s.write(escape(nil, all, true)...)
	if got := read(t, p, 256); got != string(all) {
		t.Errorf("read %q", got)
	}
	p.Write(all)
	s.until("all bytes", func() bool { return string(s.data) == string(all) })

	changes := p.(Notifier).Changes()
	s.notify(comModemState, modemCTS|modemDSR|1)
	if l := <-changes; l != (Lines{CTS: true, DSR: true}) {
		t.Errorf("lines %+v", l)
	}
	s.notify(comModemState, modemRI|modemDCD)
	if l := <-changes; l != (Lines{RI: true, DCD: true}) {
		t.Errorf("lines %+v", l)
	}
	if l, err := p.(Controls).Lines(); l != (Lines{RI: true, DCD: true}) || err != nil {
		t.Errorf("lines %+v %v", l, err)
	}
	s.notify(comLineState, lineFraming|lineParity)
	s.notify(comLineState, lineOverrun|lineBreak|lineFraming)
	s.write('!')
	read(t, p, 1)
	if e := p.(interface{ LineErrors() LineErrors }).LineErrors(); e != (LineErrors{Overrun: 1, Parity: 1, Framing: 2, Break: 1}) {
		t.Errorf("line errors %+v", e)
	}

	if err := p.(Breaker).Break(time.Millisecond); err != nil {
		t.Fatal(err)
	}
	s.until("break", func() bool { return s.got(comControl, controlBreakOn) && s.got(comControl, controlBreakOff) })
	s.commands = nil
	if err := p.(Breaker).Purge(); err != nil || !s.got(comPurge, purgeBoth) {
		t.Errorf("purge %v %v", err, s.commands)
	}

	s.notify(comSuspend, 0)
	s.write('!')
	read(t, p, 1)
	wrote := make(chan error)
	go func() { _, err := p.Write([]byte("later")); wrote <- err }()
	select {
	case err := <-wrote:
		t.Errorf("wrote while suspended: %v", err)
	case <-time.After(50 * time.Millisecond):
	}
	s.notify(comResume, 0)
	if err := <-wrote; err != nil {
		t.Error(err)
	}

	s.write(iac, sb, optComPort, comSignature, iac, se)
	s.until("signature", func() bool { return s.got(append([]byte{comSignature}, "thouwright"...)...) })

	s.hangUp()
	var gone *Gone
	if _, err := p.Read(make([]byte, 1)); !errors.As(err, &gone) {
		t.Errorf("after a hang-up: %v", err)
	}
	p.Close()
	q := mustOpen(t, s.address(), "") // the server takes the next
	end := make(chan error)
	go func() { _, err := q.Read(make([]byte, 1)); end <- err }()
	time.Sleep(20 * time.Millisecond)
	q.Close()
	if err := <-end; !errors.Is(err, ErrClosed) {
		t.Errorf("after our close: %v", err)
	}
}

// A reader that falls behind fills the connection and loses nothing.
func TestRFC2217Backpressure(t *testing.T) {
	leaks(t)
	s := newServer(t)
	p := mustOpen(t, s.address(), "")
	const n = 1 << 20
	go func() {
		s.mu.Lock()
		c := s.conn
		s.mu.Unlock()
		for i := range n / 256 {
			c.Write(bytes.Repeat([]byte{byte(i % 200)}, 256))
		}
	}()
	time.Sleep(100 * time.Millisecond)
	if l := func() int { q := p.(*rfc2217Port); q.mu.Lock(); defer q.mu.Unlock(); return len(q.inbox) }(); l > inboxMost+4096 {
		t.Errorf("%d bytes wait", l)
	}
	b := make([]byte, n)
	if _, err := io.ReadFull(p, b); err != nil {
		t.Fatal(err)
	}
	for i, c := range b {
		if c != byte(i/256%200) {
			t.Fatalf("byte %d is %d", i, c)
		}
	}
	p.Close()
}

func TestRFC2217Refusals(t *testing.T) {
	leaks(t)
	for name, c := range map[string]struct {
		set  func(*server)
		want string
	}{
		"refused": {func(s *server) { s.refuse = true }, "refuses to have its serial line set"},
		"speed": {func(s *server) {
			s.answer = func(c byte, v []byte) []byte {
				if c == comBaud {
					return binary.BigEndian.AppendUint32(nil, 9600)
				}
				return v
			}
		}, "speed: it says 9600 for 115200"},
	} {
		s := newServer(t)
		c.set(s)
		_, err := open(t, s.address(), "115200 8N1")
		var bad *BadAddress
		if !errors.As(err, &bad) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
	s := newServer(t)
	s.silent = true
	ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	if _, err := Open(ctx, mustParse(t, s.address()), Settings{}); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("a server that says nothing, and nobody waits for it: %v", err)
	}
	l, _ := net.Listen("tcp", "127.0.0.1:0")
	l.Close()
	var absent *Absent
	if _, err := open(t, "rfc2217://"+l.Addr().String(), ""); !errors.As(err, &absent) {
		t.Errorf("nobody there: %v", err)
	}
}
