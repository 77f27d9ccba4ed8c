package demo

import (
	"context"
	"math"
	"sync"
	"time"

	"thouwright/internal/simulate"
)

// hand moves what one gauge's foot rests on. It plans a movement ahead of time
// on a path; the gauge reads the path as time passes.
type hand struct {
	now  func() float64 // seconds on the demo's clock
	wait func(ctx context.Context, seconds float64)

	mu   sync.Mutex
	path simulate.Path
	walk *simulate.Walker
}

func newHand(now func() float64, wait func(context.Context, float64), at float64) *hand {
	h := &hand{now: now, wait: wait}
	h.path.Glide(at, 0.001)
	h.walk = h.path.Walk()
	return h
}

// at is where the gauge's foot is now.
func (h *hand) at() float64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.walk.At(math.Min(h.now(), h.path.End()))
}

// move glides to a place within seconds and comes back when it is there.
func (h *hand) move(ctx context.Context, to, seconds float64) {
	h.plan(func() { h.path.Glide(to, seconds) })
	h.wait(ctx, seconds)
}

// hold stays where it is, with the bounce and creep of a hand.
func (h *hand) hold(ctx context.Context, seconds, bounce, creep float64) {
	h.plan(func() { h.path.Hold(seconds, bounce, creep) })
	h.wait(ctx, seconds)
}

// plan adds to the path from now on: until now nothing moved.
func (h *hand) plan(add func()) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if late := h.now() - h.path.End(); late > 0 {
		h.path.Hold(late, 0, 0)
	}
	add()
}

func sleep(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}
