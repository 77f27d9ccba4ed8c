package sound

import (
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/rs/zerolog"

	"thouwright/config"
)

// recorder is an output that writes down what it was given, and holds each
// sound until it is let go.
type recorder struct {
	mu     sync.Mutex
	played []string
	hold   chan struct{}
	began  chan string
}

func newRecorder() *recorder {
	return &recorder{hold: make(chan struct{}), began: make(chan string, 100)}
}

func (r *recorder) play(s *playing) {
	r.mu.Lock()
	r.played = append(r.played, s.what)
	r.mu.Unlock()
	r.began <- s.what
	select {
	case <-r.hold:
	case <-s.cut:
	}
}
func (r *recorder) name() string { return "pulse" }
func (r *recorder) close()       {}

func withRecorder(t *testing.T) (*Player, *recorder) {
	p := New(config.Sound{Output: "none", Volume: 0.5, Speech: true}, zerolog.Nop())
	r := newRecorder()
	p.out = r
	t.Cleanup(p.Close)
	return p, r
}

// next waits for the sound that begins, which must be want. Time is the bubble's:
// what waits for a while begins at once.
func (r *recorder) next(t *testing.T, want string) {
	t.Helper()
	select {
	case got := <-r.began:
		if got != want {
			t.Fatalf("%s began, want %s", got, want)
		}
	case <-time.After(5 * time.Second):
		t.Fatalf("%s never began", want)
	}
}

func (r *recorder) none(t *testing.T) {
	t.Helper()
	select {
	case got := <-r.began:
		t.Fatalf("%s began", got)
	case <-time.After(60 * time.Millisecond):
	}
}

// The rule of what gives way to what. Ages count here, so that each runs in a
// bubble with a time of its own, which no other work of the computer delays.
func TestWhatGivesWay(t *testing.T) {
	run := func(name string, f func(t *testing.T)) {
		t.Run(name, func(t *testing.T) { synctest.Test(t, f) })
	}
	run("a stroke replaces the rest that completed it", func(t *testing.T) {
		p, r := withRecorder(t)
		p.Play(Rest)
		p.Play(Stroke)
		r.next(t, "stroke")
		r.none(t)
	})
	run("a verdict does not wait for a tick", func(t *testing.T) {
		p, r := withRecorder(t)
		p.Play(Stroke)
		r.next(t, "stroke")
		p.Play(Pass)
		r.next(t, "pass")
	})
	run("the newest of those that wait is played", func(t *testing.T) {
		p, r := withRecorder(t)
		p.Play(Fail)
		r.next(t, "fail")
		p.Play(Position)
		p.Play(Step)
		p.Play(Rest)
		r.none(t)
		close(r.hold)
		r.next(t, "step")
		r.none(t)
	})
	run("a trifle replaces nothing that matters", func(t *testing.T) {
		p, r := withRecorder(t)
		p.Play(Pass)
		r.next(t, "pass")
		p.Play(GaugeLost)
		for _, c := range []Cue{Rest, Stroke, LeftOut, Position, GaugeBack} {
			p.Play(c)
		}
		close(r.hold)
		r.next(t, "gauge-lost")
		r.none(t)
	})
	run("an alarm cuts a result", func(t *testing.T) {
		p, r := withRecorder(t)
		p.Play(Pass)
		r.next(t, "pass")
		p.Play(Disk)
		r.next(t, "disk")
	})
	run("what waited too long is dropped", func(t *testing.T) {
		p, r := withRecorder(t)
		p.Play(Fail)
		r.next(t, "fail")
		p.Play(Position)
		time.Sleep(stale + 50*time.Millisecond)
		close(r.hold)
		r.none(t)
	})
	run("muted, switched off and closed", func(t *testing.T) {
		p, r := withRecorder(t)
		p.Set(0.5, true, nil)
		p.Play(Fail)
		p.Say("x")
		r.none(t)
		p.Set(0.5, false, map[string]bool{"rest": false, "fail": true})
		p.Play(Rest)
		r.none(t)
		p.Play(Fail)
		r.next(t, "fail")
		p.Close()
		p.Play(Fail)
		p.Say("x")
		r.none(t)
	})
}
