package demo

import (
	"context"
	"sync"

	"thouwright/internal/bench"
	"thouwright/internal/ledger"
)

// ears are how the simulated person follows the daemon, as a real one does:
// what is active, and the sound of a take. Nothing else passes between them.
type ears struct {
	mu    sync.Mutex
	live  ledger.Live
	takes int
	last  ledger.LiveTake
	wake  chan struct{}
}

func listen(ctx context.Context, d *bench.Daemon, heard func(t ledger.LiveTake)) *ears {
	e := &ears{wake: make(chan struct{}, 1)}
	go func() {
		for ctx.Err() == nil {
			e.follow(ctx, d, heard)
		}
	}()
	return e
}

// follow listens until the daemon lets go of a listener that was too slow.
func (e *ears) follow(ctx context.Context, d *bench.Daemon, heard func(t ledger.LiveTake)) {
	state, updates, cancel := d.Subscribe()
	defer cancel()
	e.set(func() { e.live = state })
	for {
		select {
		case <-ctx.Done():
			return
		case u, ok := <-updates:
			if !ok {
				return
			}
			switch v := u.Data.(type) {
			case ledger.Live:
				e.set(func() { e.live = v })
			case ledger.LiveTake:
				e.set(func() { e.takes++; e.last = v })
				heard(v)
			}
		}
	}
}

func (e *ears) set(f func()) {
	e.mu.Lock()
	f()
	e.mu.Unlock()
	select {
	case e.wake <- struct{}{}:
	default:
	}
}

// heard is how many takes were heard so far.
func (e *ears) heard() int {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.takes
}

// active is what the daemon says is to be measured now; nil before it says so.
func (e *ears) active() (a ledger.LiveActive, ok bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.live.Active == nil {
		return a, false
	}
	return *e.live.Active, true
}
