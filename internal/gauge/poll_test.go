package gauge

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"thouwright/internal/port"
)

const polled = `about = "asked channel by channel"
pattern = "{value}"
[frame]
end = "<CR>"
[poll]
start = "ON<CR>"
send = "R{channel}<CR>"
channels = ["01", "02", "03"]
every = "20ms"
wait = "300ms"
retries = 1
answers = 2
[[example]]
bytes = "1.5<CR>"
gives = ["1.5"]
`

// asker is a recorder that also hears which channel is asked.
type asker struct{ *recorder }

func (a asker) Asked(_ int, channel string) {
	a.add(func() { a.events = append(a.events, "ask "+channel) })
}

// A polled gauge over a terminal: the start is sent once, then the channels that
// gauges use in turn, each only after the answer to the one before was whole;
// and a request that is not answered is repeated.
func TestPoll(t *testing.T) {
	leaks(t)
	name := filepath.Join(t.TempDir(), "box")
	m := plug(t, name)
	var mu sync.Mutex
	var heard []string
	busy, overlapped := false, false
	r := asker{newRecorder()}
	d := parsed(t, polled)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		Keep(ctx, Plan{Address: name, Driver: d, Channels: []string{"01", "03"}}, port.Open, r, port.WallClock{}, zerolog.Nop())
		close(done)
	}()
	r.until(t, "up", func() bool { return len(r.events) > 0 }) // a master without a slave cannot be read
	go func() {                                                // the gauge
		in := bufio.NewReader(m)
		for n := 0; ; n++ {
			line, err := in.ReadString('\r')
			if err != nil {
				return
			}
			mu.Lock()
			heard = append(heard, strings.TrimSuffix(line, "\r"))
			overlapped = overlapped || busy
			busy = true
			mu.Unlock()
			if n == 0 || n == 3 { // the start has no answer, and one request is not heard
				mu.Lock()
				busy = false
				mu.Unlock()
				continue
			}
			io.WriteString(m, "1.5\r2")
			time.Sleep(5 * time.Millisecond) // a slow answer, cut in two
			mu.Lock()
			busy = false
			mu.Unlock()
			io.WriteString(m, ".5\r")
		}
	}()
	r.gets(t, strings.Repeat("1.5\r2.5\r", 6))
	cancel()
	<-done
	m.Close()
	mu.Lock()
	defer mu.Unlock()
	if got, want := strings.Join(heard[:8], " "), "ON R01 R03 R01 R01 R03 R01 R03"; got != want {
		t.Errorf("the gauge heard %q, want %q", got, want)
	}
	if overlapped {
		t.Error("a request went out before the answer to the one before was whole")
	}
	if got, want := strings.Join(r.events[:6], ","), "up,ask 01,ask 03,ask 01,ask 01,ask 03"; got != want {
		t.Errorf("asked %q, want %q", got, want)
	}
}

// The rounds keep to the grid of the first, and a poll that nobody answers goes
// on asking and ends with the port.
func TestUnanswered(t *testing.T) {
	leaks(t)
	d := parsed(t, strings.NewReplacer(`start = "ON<CR>"`, "", "300ms", "5ms").Replace(polled))
	n := 0
	f := newFake(nil)
	sent := make(chan struct{}, 100)
	f.write = func(b []byte) {
		if want := fmt.Sprintf("R0%d\r", n/2%3+1); string(b) != want {
			t.Errorf("request %d is %q, want %q", n, b, want)
		}
		n++
		select {
		case sent <- struct{}{}:
		default:
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		Keep(ctx, Plan{Address: "tcp://h:1", Driver: d}, (&script{steps: []any{f}}).open, newRecorder(), port.WallClock{}, zerolog.Nop())
		close(done)
	}()
	for range 14 {
		<-sent
	}
	cancel()
	<-done
}

// The settings of the bench file win over the driver's, line by line.
func TestSettingsOf(t *testing.T) {
	d := parsed(t, "line = \"4800 7E2\"\nrts = false\n"+polled)
	for line, want := range map[string]string{
		"":                 "4800 7E2 RTS=off",
		"9600 8N1":         "9600 8N1 RTS=off",
		"9600 8N1 RTS=on":  "9600 8N1 RTS=on",
		"9600 8N1 DTR=off": "9600 8N1 DTR=off RTS=off",
	} {
		if s, err := SettingsOf(d, line); err != nil || s.String() != want {
			t.Errorf("%q: %v %v, want %s", line, s, err, want)
		}
	}
	if _, err := SettingsOf(d, "fast"); err == nil {
		t.Error("no error for a bad line")
	}
}
