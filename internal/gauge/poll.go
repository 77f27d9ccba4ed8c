package gauge

import (
	"context"
	"sync"
	"time"

	"thouwright/drivers"
	"thouwright/internal/ledger"
	"thouwright/internal/port"
)

// Asker is a Sink that wants to know which channel a poll asks, just before the
// request goes out: answers that carry no channel belong to it.
type Asker interface {
	Asked(port int, channel string)
}

// asking polls one open port. It decodes what is read a second time, only to
// know when an answer is complete and the next request may go out.
type asking struct {
	poll    *drivers.Poll
	asks    []drivers.Ask
	pt      port.Port
	clock   port.Clock
	asked   func(channel string)
	started time.Time
	fed     chan struct{} // bytes came

	mu    sync.Mutex
	dec   *drivers.Decoder
	emit  func(*drivers.Value)
	count int // readings since the last request
}

func newAsking(d *drivers.Driver, channels []string, pt port.Port, clock port.Clock, asked func(string)) *asking {
	a := &asking{poll: d.Poll, pt: pt, clock: clock, asked: asked, dec: d.NewDecoder(),
		fed: make(chan struct{}, 1), started: clock.Now()}
	for _, ask := range d.Poll.Asks {
		if ask.Channel == "" || len(channels) == 0 || contains(channels, ask.Channel) {
			a.asks = append(a.asks, ask)
		}
	}
	a.emit = func(v *drivers.Value) {
		if v.Fault != ledger.Garbled {
			a.count++
		}
	}
	return a
}

func contains(all []string, s string) bool {
	for _, t := range all {
		if t == s {
			return true
		}
	}
	return false
}

// read takes what came, from the goroutine that reads the port.
func (a *asking) read(chunk []byte) {
	a.mu.Lock()
	a.dec.Feed(chunk, a.now(), a.emit)
	a.mu.Unlock()
	select {
	case a.fed <- struct{}{}:
	default:
	}
}

func (a *asking) now() int64 { return a.clock.Now().Sub(a.started).Microseconds() }

// run sends the requests until ctx is done or the port takes no more; then the
// reader learns the same and says so.
func (a *asking) run(ctx context.Context) {
	if len(a.poll.Start) > 0 {
		if _, err := a.pt.Write(a.poll.Start); err != nil {
			return
		}
	}
	next := a.clock.Now()
	for len(a.asks) > 0 {
		for _, ask := range a.asks {
			if !a.ask(ctx, ask) {
				return
			}
		}
		// The next round is due on the grid of the first, so that a slow answer
		// does not stretch the interval; rounds that were missed are not caught up.
		now := a.clock.Now()
		if next = next.Add(a.poll.Every); next.Before(now) {
			next = now
		}
		select {
		case <-ctx.Done():
			return
		case <-a.clock.After(max(next.Sub(now), time.Millisecond)):
		}
	}
}

// ask sends one request until it is answered or was repeated often enough. It
// is false when there is nobody to ask any more.
func (a *asking) ask(ctx context.Context, ask drivers.Ask) bool {
	for try := 0; try <= a.poll.Retries; try++ {
		a.mu.Lock()
		a.count = 0
		a.mu.Unlock()
		a.asked(ask.Channel)
		if _, err := a.pt.Write(ask.Send); err != nil {
			return false
		}
		if a.answered(ctx) {
			return true
		}
		if ctx.Err() != nil {
			return false
		}
	}
	return true
}

// answered waits for the readings of one answer.
func (a *asking) answered(ctx context.Context) bool {
	late := a.clock.After(a.poll.Wait)
	for {
		a.mu.Lock()
		a.dec.Expire(a.now(), a.emit) // a frame may end by a pause
		done := a.count >= a.poll.Answers
		due, pending := a.dec.Deadline()
		a.mu.Unlock()
		if done {
			return true
		}
		var pause <-chan time.Time
		if pending {
			pause = a.clock.After(time.Duration(max(due-a.now(), 0)) * time.Microsecond)
		}
		select {
		case <-a.fed:
		case <-pause:
		case <-late:
			return false
		case <-ctx.Done():
			return false
		}
	}
}
