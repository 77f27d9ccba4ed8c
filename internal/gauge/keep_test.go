package gauge

import (
	"bytes"
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

	"thouwright/internal/ledger"
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
			t.Fatalf("waited 20 s for %s; saw at last %q %q, bytes %.80q", what, tail(r.events), tail(r.texts), r.bytes)
		}
	}
}

func tail(all []string) []string { return all[max(len(all)-8, 0):] }

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

// decoding is a Sink that makes readings at once, as the loop does later.
type decoding struct {
	*recorder
	source *Source
	batch  Batch
	start  time.Time
	got    []string
}

func (d *decoding) now() ledger.Stamp {
	return ledger.Stamp{Elapsed: time.Since(d.start).Microseconds()}
}

func (d *decoding) collect() {
	for _, r := range d.batch.Readings {
		if r.HasVal {
			d.got = append(d.got, r.Value.String())
		}
	}
	d.batch.Reset()
}

func (d *decoding) Chunk(_ int, b []byte) {
	d.add(func() { d.source.Feed(b, d.now(), &d.batch); d.collect() })
}

func (d *decoding) Link(p int, l Link, m string) {
	d.recorder.Link(p, l, m)
	if l == Up || l == Lost {
		d.add(func() { d.source.Link(l == Up, d.now(), &d.batch); d.collect() })
	}
}

// A gauge that is pulled in the middle of a line and plugged in again a hundred
// times, each time under another number, is read each time; no half of a line
// is ever a reading, and nothing is left behind.
func TestReplugged(t *testing.T) {
	leaks(t)
	name := filepath.Join(t.TempDir(), "dial-1")
	r := &decoding{recorder: newRecorder(), source: NewSource(driver(t, "signed-decimal"), []Spec{{Name: "dial-1"}}), start: time.Now()}
	keep(t, Plan{Address: name}, r)
	r.sees(t, "waiting")
	var files, routines int
	for i := range 100 {
		m := plug(t, name)
		r.sees(t, "up")
		send(t, m, fmt.Sprintf("5 m=\r\n+%d.5\r\n-77", i)) // found in the middle of a line, and left in the middle of one
		r.until(t, "reading", func() bool { return len(r.got) == i+1 })
		if want := fmt.Sprintf("%d.5", i); r.got[i] != want {
			t.Fatalf("cycle %d: reading %s, want %s", i, r.got[i], want)
		}
		os.Remove(name)
		m.Close()
		r.sees(t, "waiting")
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

// patient is a clock on which the pauses between tries never end, so that only
// a plug can end them.
type patient struct{ port.WallClock }

func (patient) After(d time.Duration) <-chan time.Time {
	if d >= firstPause {
		return nil
	}
	return time.After(d)
}

// A plug is noticed at once, also in a folder that is not there yet, as
// /dev/serial/by-id is not before the first adapter.
func TestPlugIsNoticed(t *testing.T) {
	leaks(t)
	dir := t.TempDir()
	name := filepath.Join(dir, "serial", "by-id", "usb-dial")
	r := newRecorder()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		Keep(ctx, Plan{Address: name}, port.Open, r, patient{}, zerolog.Nop())
		close(done)
	}()
	defer func() { cancel(); <-done }()
	r.sees(t, "waiting")
	time.Sleep(50 * time.Millisecond) // until it waits
	os.MkdirAll(filepath.Dir(name), 0o755)
	time.Sleep(50 * time.Millisecond)
	m := plug(t, name)
	r.sees(t, "up")
	send(t, m, "1\r\n")
	r.gets(t, "1\r\n")
	m.Close()
	os.RemoveAll(filepath.Join(dir, "serial"))
	r.sees(t, "lost")
	time.Sleep(50 * time.Millisecond)
	os.MkdirAll(filepath.Dir(name), 0o755)
	m = plug(t, name)
	defer m.Close()
	r.sees(t, "up")
	r.mu.Lock()
	defer r.mu.Unlock()
	if first, last := r.texts[1], r.texts[len(r.texts)-1]; !strings.HasPrefix(first, "connected after") || !strings.HasPrefix(last, "connected again after") {
		t.Errorf("the first time %q, the second %q", first, last)
	}
}

// script is an Opener whose ports and errors a test wrote down.
type script struct {
	mu    sync.Mutex
	steps []any // an error, or a port.Port
	n     int
}

func (s *script) open(context.Context, port.Address, port.Settings) (port.Port, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	step := s.steps[min(s.n, len(s.steps)-1)]
	s.n++
	if err, ok := step.(error); ok {
		return nil, err
	}
	return step.(port.Port), nil
}

// fake is a port that does what read says until it is closed.
type fake struct {
	read   func([]byte) (int, error)
	write  func([]byte)
	closed chan struct{}
	once   sync.Once
}

func newFake(read func([]byte) (int, error)) *fake {
	return &fake{read: read, closed: make(chan struct{})}
}

func (f *fake) Read(b []byte) (int, error) {
	select {
	case <-f.closed:
		return 0, port.ErrClosed
	default:
	}
	if f.read == nil {
		<-f.closed
		return 0, port.ErrClosed
	}
	return f.read(b)
}

func (f *fake) Write(b []byte) (int, error) {
	if f.write != nil {
		f.write(b)
	}
	return len(b), nil
}

func (f *fake) Close() error { f.once.Do(func() { close(f.closed) }); return nil }

// fast is a clock on which every pause is short; it keeps how long they were to
// be.
type fast struct {
	mu     sync.Mutex
	pauses []time.Duration
}

func (c *fast) Now() time.Time { return time.Now() }
func (c *fast) After(d time.Duration) <-chan time.Time {
	c.mu.Lock()
	c.pauses = append(c.pauses, d)
	c.mu.Unlock()
	return time.After(time.Millisecond)
}

// Every reason why a port cannot be opened is its own state, told and logged
// once however long it lasts; the pauses between tries double to a cap.
func TestStatesAreToldOnce(t *testing.T) {
	leaks(t)
	absent := &port.Absent{Address: "tcp://h:1", Why: "not there", Do: "plug it in"}
	held := &port.Held{Address: "tcp://h:1", By: []port.Process{{PID: 7, Name: "other"}}}
	denied := &port.Denied{Address: "tcp://h:1", User: "max", Group: "dialout", Command: "type 'sudo usermod -aG dialout max'"}
	bad := &port.BadAddress{Text: "tcp://h:1", Why: "it does not take 7E2"}
	s := &script{}
	for _, e := range []error{absent, held, denied, bad} {
		for range 10 {
			s.steps = append(s.steps, e)
		}
	}
	s.steps = append(s.steps, newFake(nil))
	var log bytes.Buffer
	r, clock := newRecorder(), &fast{}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { Keep(ctx, Plan{Address: "tcp://h:1"}, s.open, r, clock, zerolog.New(&log)); close(done) }()
	r.sees(t, "up")
	cancel()
	<-done
	if got, want := strings.Join(r.events, " "), "waiting held denied bad up"; got != want {
		t.Errorf("told %q, want %q", got, want)
	}
	for i, want := range []string{
		"tcp://h:1: not there: plug it in",
		"tcp://h:1: held by other (process 7): close that program; the port is picked up by itself",
		"tcp://h:1: user max may not open it; the group dialout may: type 'sudo usermod -aG dialout max'",
		`"tcp://h:1" is no port: it does not take 7E2`,
		"connected after ",
	} {
		if !strings.HasPrefix(r.texts[i], want) {
			t.Errorf("message %q, want %q", r.texts[i], want)
		}
	}
	if !strings.HasSuffix(r.texts[4], " and 40 tries") {
		t.Errorf("message %q does not count the tries", r.texts[4])
	}
	if n := strings.Count(log.String(), "\n"); n != 5 {
		t.Errorf("%d lines logged:\n%s", n, log.String())
	}
	for i, d := range clock.pauses {
		if want := min(firstPause<<min(i, 20), longest); d != want {
			t.Errorf("pause %d is %v, want %v", i, d, want)
		}
	}
}

// A port that reads nothing for ever or gives impossible counts is lost, not a
// spinning or crashing program.
func TestSickPorts(t *testing.T) {
	leaks(t)
	for name, read := range map[string]func([]byte) (int, error){
		"nothing for ever": func([]byte) (int, error) { return 0, nil },
		"negative":         func([]byte) (int, error) { return -1, nil },
		"too many":         func(b []byte) (int, error) { return len(b) + 1, nil },
	} {
		s := &script{steps: []any{newFake(read), newFake(nil)}}
		r := newRecorder()
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { Keep(ctx, Plan{Address: "tcp://h:1"}, s.open, r, &fast{}, zerolog.Nop()); close(done) }()
		r.until(t, name, func() bool { return strings.Join(r.events, " ") == "up lost up" })
		cancel()
		<-done
	}
}

// A tape ends once, and a damaged one is named with its line.
func TestTapeEnds(t *testing.T) {
	leaks(t)
	file := filepath.Join(t.TempDir(), "dial.tape")
	os.WriteFile(file, []byte("0\t312e350d\n0.01\t322e350d\n"), 0o644)
	r := newRecorder()
	keep(t, Plan{Address: "tape:" + file}, r)
	r.gets(t, "1.5\r2.5\r")
	r.sees(t, "ended")
	os.WriteFile(file, []byte("0\t312e350d\nnonsense\n"), 0o644)
	r = newRecorder()
	keep(t, Plan{Address: "tape:" + file}, r)
	r.sees(t, "bad")
	if !strings.Contains(r.texts[1], "dial.tape:2: found") {
		t.Errorf("message %q", r.texts[1])
	}
	r = newRecorder()
	keep(t, Plan{Address: "dial-1"}, r)
	r.sees(t, "bad")
}

// lined is a port whose control lines are asked for.
type lined struct {
	*fake
	mu    sync.Mutex
	lines port.Lines
}

func (l *lined) Lines() (port.Lines, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.lines, nil
}

func (l *lined) set(n port.Lines) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.lines = n
}

// telling is a port that tells of changes.
type telling struct {
	*fake
	changes chan port.Lines
}

func (l *telling) Changes() <-chan port.Lines { return l.changes }

func TestControlLines(t *testing.T) {
	leaks(t)
	polled := &lined{fake: newFake(nil)}
	told := &telling{newFake(nil), make(chan port.Lines, 4)}
	for _, c := range []struct {
		port port.Port
		set  func(port.Lines)
	}{{polled, polled.set}, {told, func(l port.Lines) { told.changes <- l }}} {
		r := newRecorder()
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		s := &script{steps: []any{c.port}}
		go func() {
			Keep(ctx, Plan{Address: "tcp://h:1", Watch: []string{"CTS", "KEY"}}, s.open, r, port.WallClock{}, zerolog.Nop())
			close(done)
		}()
		for _, step := range []struct {
			lines port.Lines
			want  string
		}{
			{port.Lines{}, "up,CTS false,KEY false"},
			{port.Lines{CTS: true, DSR: true}, ",CTS true"},
			{port.Lines{CTS: false, DSR: true}, ",CTS false"},
			{port.Lines{Key: true}, ",KEY true"},
		} {
			c.set(step.lines)
			r.until(t, step.want, func() bool { return strings.HasSuffix(strings.Join(r.events, ","), step.want) })
		}
		cancel()
		<-done
	}
}
