package gauge

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/rs/zerolog"
	"go.uber.org/goleak"

	"thouwright/internal/port"
)

// recorder is a Sink that keeps everything and wakes whoever waits.
type recorder struct {
	mu     sync.Mutex
	events []string // "up", "waiting", … and "=bytes" and "CTS+"
	texts  []string // of the links
	bytes  []byte
	wake   chan struct{}
}

func newRecorder() *recorder { return &recorder{wake: make(chan struct{}, 1)} }

func (r *recorder) add(f func()) {
	r.mu.Lock()
	f()
	r.mu.Unlock()
	select {
	case r.wake <- struct{}{}:
	default:
	}
}

func (r *recorder) Chunk(_ int, b []byte) { r.add(func() { r.bytes = append(r.bytes, b...) }) }
func (r *recorder) Link(_ int, l Link, m string) {
	r.add(func() { r.events = append(r.events, l.String()); r.texts = append(r.texts, m) })
}
func (r *recorder) Control(_ int, line string, on bool) {
	r.add(func() { r.events = append(r.events, fmt.Sprintf("%s %v", line, on)) })
}

// until waits for what has to come; a test that waits for ever fails with what
// was seen instead.
func (r *recorder) until(t testing.TB, what string, ok func() bool) {
	t.Helper()
	limit := time.After(20 * time.Second)
	for {
		r.mu.Lock()
		done := ok()
		r.mu.Unlock()
		if done {
			return
		}
		select {
		case <-r.wake:
		case <-limit:
			r.mu.Lock()
			defer r.mu.Unlock()
			t.Fatalf("waited 20 s for %s; saw %q %q, bytes %.80q", what, r.events, r.texts, r.bytes)
		}
	}
}

func (r *recorder) sees(t testing.TB, event string) {
	t.Helper()
	r.until(t, event, func() bool { n := len(r.events); return n > 0 && r.events[n-1] == event })
}

func (r *recorder) gets(t testing.TB, bytes string) {
	t.Helper()
	r.until(t, fmt.Sprintf("bytes %q", bytes), func() bool {
		if !strings.HasPrefix(string(r.bytes), bytes) {
			return false
		}
		r.bytes = r.bytes[len(bytes):]
		return true
	})
}

// keep runs a keeper until the test ends, and then until it has returned.
func keep(t testing.TB, p Plan, sink Sink) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		Keep(ctx, p, port.Open, sink, port.WallClock{}, zerolog.Nop())
		close(done)
	}()
	t.Cleanup(func() { cancel(); <-done })
}

// plug makes a pseudo-terminal whose slave is found at name, as udev links an
// adapter, and gives its master. Only the keeper holds the slave.
func plug(t testing.TB, name string) *os.File {
	t.Helper()
	m, s, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	slave := s.Name()
	s.Close()
	os.Remove(name)
	if err := os.Symlink(slave, name); err != nil {
		t.Fatal(err)
	}
	return m
}

func send(t testing.TB, m *os.File, text string) {
	t.Helper()
	if _, err := m.WriteString(text); err != nil {
		t.Fatal(err)
	}
}

func leaks(t *testing.T) { t.Cleanup(func() { goleak.VerifyNone(t) }) }

func openFiles(t testing.TB) int {
	t.Helper()
	all, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Fatal(err)
	}
	return len(all)
}

// A gauge that is pulled and plugged in again a hundred times, each time under
// another number, is read each time, and nothing is left behind.
func TestReplugged(t *testing.T) {
	leaks(t)
	name := filepath.Join(t.TempDir(), "dial-1")
	r := newRecorder()
	keep(t, Plan{Address: name}, r)
	r.sees(t, "waiting")
	var files, routines int
	for i := range 100 {
		m := plug(t, name)
		r.sees(t, "up")
		line := fmt.Sprintf("+%d.5\r\n", i)
		send(t, m, line)
		r.gets(t, line)
		os.Remove(name)
		m.Close()
		r.until(t, "loss", func() bool { return r.events[len(r.events)-1] == "waiting" })
		if i == 10 {
			files, routines = openFiles(t), runtime.NumGoroutine()
		}
	}
	if n := openFiles(t); n > files+2 {
		t.Errorf("%d files open after 100 cycles, %d after 10", n, files)
	}
	if n := runtime.NumGoroutine(); n > routines+2 {
		t.Errorf("%d goroutines after 100 cycles, %d after 10", n, routines)
	}
	if got := strings.Join(r.events[:4], " "); got != "waiting up lost waiting" {
		t.Errorf("events %q", got)
	}
}
