package port

import (
	"context"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
	"pgregory.net/rapid"

	"thouwright/internal/tape"
)

func leaks(t *testing.T) { t.Cleanup(func() { goleak.VerifyNone(t) }) }

func mustParse(t testing.TB, address string) Address {
	t.Helper()
	a, err := ParseAddress(address)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func open(t testing.TB, address, settings string) (Port, error) {
	t.Helper()
	s, err := ParseSettings(settings)
	if err != nil {
		t.Fatal(err)
	}
	return Open(context.Background(), mustParse(t, address), s)
}

func mustOpen(t testing.TB, address, settings string) Port {
	t.Helper()
	p, err := open(t, address, settings)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	return p
}

func read(t testing.TB, p io.Reader, n int) string {
	t.Helper()
	b := make([]byte, n)
	if _, err := io.ReadFull(p, b); err != nil {
		t.Fatalf("read: %v", err)
	}
	return string(b)
}

func TestParseSettings(t *testing.T) {
	off, on := false, true
	for text, want := range map[string]Settings{
		"":                        DefaultSettings,
		"9600 8N1":                {9600, 8, NoParity, OneStop, nil, nil},
		"4800":                    {4800, 8, NoParity, OneStop, nil, nil},
		" 300  7e2 ":              {300, 7, EvenParity, TwoStops, nil, nil},
		"110 5M1.5":               {110, 5, MarkParity, OneAndHalfStops, nil, nil},
		"2400 8S1 DTR=off rts=on": {2400, 8, SpaceParity, OneStop, &off, &on},
	} {
		got, err := ParseSettings(text)
		if err != nil || got.String() != want.String() {
			t.Errorf("%q: %v %v, want %v", text, got, err, want)
		}
		if again, err := ParseSettings(got.String()); err != nil || again.String() != got.String() {
			t.Errorf("%q written and read again: %v %v", got, again, err)
		}
	}
	for text, want := range map[string]string{
		"fast":           `"fast" is no speed`,
		"10 8N1":         `"10" is no speed`,
		"9600 9N1":       `"9N1" is not data bits`,
		"9600 8X1":       `"8X1" is not data bits`,
		"9600 8N3":       `"8N3" is not data bits`,
		"9600 8N1 8N1":   `"8N1" is one word too many`,
		"9600 CTS=on":    `"CTS" is no control line of ours`,
		"9600 DTR=maybe": `"MAYBE" is neither on nor off`,
	} {
		if _, err := ParseSettings(text); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "9600 8N1") {
			t.Errorf("%q: %v, want %s and an example", text, err, want)
		}
	}
}

func TestParseAddress(t *testing.T) {
	for text, want := range map[string]Address{
		"/dev/serial/by-id/usb-x-if00": {Serial, "", "/dev/serial/by-id/usb-x-if00", ""},
		"COM3":                         {Serial, "", "COM3", ""},
		`\\.\COM12`:                    {Serial, "", `\\.\COM12`, ""},
		"tcp://bench.local:4001":       {TCP, "", "", "bench.local:4001"},
		"tcp://[::1]:4001":             {TCP, "", "", "[::1]:4001"},
		"rfc2217://10.0.0.7:2217/":     {RFC2217, "", "", "10.0.0.7:2217"},
		"tape:dial-1.tape":             {Tape, "", "dial-1.tape", ""},
		"keys:/dev/input/event3":       {Keys, "", "/dev/input/event3", ""},
		"./dial":                       {Serial, "", "dial", ""},
	} {
		want.Text = text
		if got, err := ParseAddress(text); err != nil || got != want {
			t.Errorf("%q: %+v %v, want %+v", text, got, err, want)
		}
	}
	for _, text := range []string{"", " /dev/ttyS0", "ttyUSB0", "tcp://host", "tcp://:1", "tcp://h:0", "tcp://h:66000", "udp://h:1", "tape:", "keys:", "/dev/\x00", "COM0"} {
		var bad *BadAddress
		if _, err := ParseAddress(text); !errors.As(err, &bad) || !strings.Contains(err.Error(), "/dev/…") {
			t.Errorf("%q: %v", text, err)
		}
	}
	rapid.Check(t, func(t *rapid.T) { ParseAddress(rapid.String().Draw(t, "any")) })
}

func TestTCP(t *testing.T) {
	leaks(t)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := "tcp://" + l.Addr().String()
	go func() {
		c, _ := l.Accept()
		io.Copy(c, io.LimitReader(c, 5))
		c.Close()
	}()
	p := mustOpen(t, address, "")
	p.Write([]byte("hello"))
	if got := read(t, p, 5); got != "hello" {
		t.Errorf("read %q", got)
	}
	var gone *Gone
	if _, err := p.Read(make([]byte, 5)); !errors.As(err, &gone) || !strings.Contains(err.Error(), "closed the connection") {
		t.Errorf("at its end: %v", err)
	}
	p.Close()
	q := mustOpen(t, address, "")
	go q.Close()
	if _, err := q.Read(make([]byte, 5)); !errors.Is(err, ErrClosed) {
		t.Errorf("our close: %v", err)
	}
	l.Close()
	var absent *Absent
	if _, err := open(t, address, ""); !errors.As(err, &absent) || !strings.Contains(err.Error(), "nobody listens") {
		t.Errorf("nobody there: %v", err)
	}
	if _, err := open(t, "tcp://no-such-bench.invalid:1", ""); !errors.As(err, &absent) {
		t.Errorf("no such host: %v", err)
	}
}

// handClock is moved by the test.
type handClock struct {
	now   time.Time
	waits chan time.Duration
	fire  chan time.Time
}

func (c *handClock) Now() time.Time { return c.now }
func (c *handClock) After(d time.Duration) <-chan time.Time {
	c.waits <- d
	return c.fire
}

// A tape is replayed with its own timing, on whatever clock it is given.
func TestTapePort(t *testing.T) {
	leaks(t)
	file := filepath.Join(t.TempDir(), "dial-1.tape")
	f, _ := os.Create(file)
	w, _ := tape.NewWriter(f, time.Unix(0, 0))
	w.Chunk(0, []byte("a"))
	w.Chunk(1_500_000, []byte("bcd"))
	w.Chunk(1_500_000, []byte("e"))
	f.Close()
	clock := &handClock{now: time.Unix(100, 0), waits: make(chan time.Duration, 9), fire: make(chan time.Time)}
	p, err := OpenOn(clock)(t.Context(), mustParse(t, "tape:"+file), Settings{})
	if err != nil {
		t.Fatal(err)
	}
	if got := read(t, p, 1); got != "a" {
		t.Errorf("read %q", got)
	}
	go func() {
		if d := <-clock.waits; d != 1500*time.Millisecond {
			t.Errorf("waits %v, want 1.5 s", d)
		}
		clock.now = clock.now.Add(2 * time.Second)
		clock.fire <- clock.now
	}()
	if got := read(t, p, 4); got != "bcde" {
		t.Errorf("read %q", got)
	}
	if _, err := p.Read(make([]byte, 1)); !errors.Is(err, ErrTapeEnd) {
		t.Errorf("at its end: %v", err)
	}
	p.Close()
	if _, err := p.Read(make([]byte, 1)); !errors.Is(err, ErrClosed) {
		t.Errorf("closed: %v", err)
	}
	os.WriteFile(file, []byte("0\t3x\n"), 0o644)
	p = mustOpen(t, "tape:"+file, "")
	var damaged *tape.SyntaxError
	if _, err := p.Read(make([]byte, 1)); !errors.As(err, &damaged) {
		t.Errorf("damaged: %v", err)
	}
	var absent *Absent
	if _, err := open(t, "tape:"+file+".none", ""); !errors.As(err, &absent) {
		t.Errorf("no file: %v", err)
	}
}
