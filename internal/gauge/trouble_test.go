package gauge

import (
	"context"
	"fmt"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"thouwright/internal/ledger"
	"thouwright/internal/port"
)

// A port fails a hundred times, by turns in each way a port can: it reads zero
// bytes for ever, gives impossible counts, ends, or breaks in the middle of a
// line. Each time it says so, is opened again and read, and nothing is left
// behind; no half of a line is a reading.
func TestAHundredFailures(t *testing.T) {
	leaks(t)
	const cycles = 100
	ends := []func([]byte) (int, error){
		func([]byte) (int, error) { return 0, nil },
		func([]byte) (int, error) { return -1, nil },
		func(b []byte) (int, error) { return len(b) + 1, nil },
		func([]byte) (int, error) { return 0, &port.Gone{Address: "tcp://h:1", Why: "pulled out"} },
	}
	s := &script{}
	for i := range cycles {
		sent := false
		s.steps = append(s.steps, newFake(func(b []byte) (int, error) {
			if !sent {
				sent = true
				return copy(b, fmt.Sprintf("7 m\r\n+%d.5\r\n-77", i)), nil
			}
			return ends[i%len(ends)](b)
		}))
	}
	s.steps = append(s.steps, newFake(nil))
	r := &decoding{recorder: newRecorder(), source: NewSource(driver(t, "signed-decimal"), []Spec{{Name: "dial-1"}}), start: time.Now()}
	before := runtime.NumGoroutine()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { Keep(ctx, Plan{Address: "tcp://h:1"}, s.open, r, &fast{}, zerolog.Nop()); close(done) }()
	r.until(t, "the last port", func() bool { return len(r.events) == 2*cycles+1 && r.events[2*cycles] == "up" })
	if n := runtime.NumGoroutine(); n > before+4 {
		t.Errorf("%d goroutines after %d failures, %d before", n, cycles, before)
	}
	cancel()
	<-done
	for i := range cycles {
		if want := fmt.Sprintf("%d.5", i); r.got[i] != want {
			t.Fatalf("cycle %d: reading %s, want %s", i, r.got[i], want)
		}
		if want := []string{"reads nothing for ever", "gave a count of -1 bytes", fmt.Sprintf("gave a count of %d bytes", readBuffer+1), "pulled out"}[i%len(ends)]; !strings.HasSuffix(r.texts[2*i+1], want) {
			t.Fatalf("cycle %d: told %q, want %q", i, r.texts[2*i+1], want)
		}
	}
	if len(r.got) != cycles {
		t.Errorf("%d readings of %d cycles", len(r.got), cycles)
	}
}

// A gauge falls silent, stops in the middle of a line and sends what nobody can
// read, a hundred times each: every time it is told in the words of its own
// state, the half is no value, and it is told when it speaks again.
func TestAHundredSilences(t *testing.T) {
	s := NewSource(driver(t, "signed-decimal"), []Spec{{Name: "dial-1"}})
	var b Batch
	s.Link(true, at(0), &b)
	ms := int64(1000)
	speak := func() {
		s.Feed([]byte("\r1.5\r"), at(ms), &b)
		ms += 100
	}
	speak()
	b.Reset()
	kinds := map[NoteKind]int{}
	for i := range 300 {
		switch i % 3 {
		case 1:
			s.Feed([]byte("+2."), at(ms), &b)
		case 2:
			for range 40 {
				s.Feed([]byte("\xf3\x9a\r"), at(ms), &b)
				ms += 100
			}
		}
		for due := s.Deadline(); due <= (ms+10_000)*1000; due = s.Deadline() {
			s.Tick(at(due/1000), &b)
		}
		ms += 10_000
		speak()
		for _, r := range b.Readings {
			if r.HasVal && string(r.Raw) != "1.5" || !r.HasVal && r.Fault != ledger.Garbled {
				t.Fatalf("cycle %d: reading %s of %q", i, r.Value, r.Raw)
			}
		}
		want := []NoteKind{Silent, Stopped, Unreadable}[i%3]
		var told []string
		for _, n := range b.Notes {
			if kinds[n.Kind]++; n.Kind != Burst {
				told = append(told, n.Kind.String())
			}
			if n.Text == "" || strings.Contains(n.Text, "\n") {
				t.Fatalf("cycle %d: told as %q", i, n.Text)
			}
		}
		if got := strings.Join(told, " "); got != want.String()+" speaking" {
			t.Fatalf("cycle %d: told %s, want %s and speaking", i, got, want)
		}
		b.Reset()
	}
	if kinds[Silent] != 100 || kinds[Stopped] != 100 || kinds[Unreadable] != 100 || kinds[Speaking] != 300 {
		t.Errorf("told %v", kinds)
	}
	if cap(b.Readings) > 1000 || cap(b.Notes) > 100 || len(s.unknown) > 0 {
		t.Errorf("grown to %d readings, %d notes", cap(b.Readings), cap(b.Notes))
	}
}
