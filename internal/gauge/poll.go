package gauge

import (
	"context"
	"time"

	"thouwright/internal/port"
)

// Poll asks a gauge that does not send by itself.
type Poll struct {
	Send    [][]byte      // one request after the other; a multiplexer may need one a channel
	Every   time.Duration // from one round to the next
	Wait    time.Duration // for the first byte of an answer
	Retries int           // of a request that got none
}

// answerEnds is the pause on the line that ends an answer, before the next
// request of the same round may go out.
const answerEnds = 20 * time.Millisecond

// run sends the requests until ctx is done or the port takes no more. What
// answers is read elsewhere; heard says that something came.
func (p *Poll) run(ctx context.Context, pt port.Port, clock port.Clock, heard <-chan struct{}) {
	next := clock.Now()
	for {
		for _, request := range p.Send {
			for try := 0; try <= p.Retries; try++ {
				drain(heard)
				if _, err := pt.Write(request); err != nil {
					return // the reader learns the same and says so
				}
				if answered(ctx, clock, heard, p.Wait) {
					for len(p.Send) > 1 && answered(ctx, clock, heard, answerEnds) {
					}
					break
				}
				if ctx.Err() != nil {
					return
				}
			}
		}
		// The next round is due on the grid of the first, so that a slow answer
		// does not stretch the interval; a round that took longer is not caught up.
		now := clock.Now()
		next = next.Add(p.Every)
		if next.Before(now) {
			next = now
		}
		select {
		case <-ctx.Done():
			return
		case <-clock.After(max(next.Sub(now), time.Millisecond)):
		}
	}
}

func drain(ch <-chan struct{}) {
	select {
	case <-ch:
	default:
	}
}

func answered(ctx context.Context, clock port.Clock, heard <-chan struct{}, wait time.Duration) bool {
	select {
	case <-heard:
		return true
	case <-clock.After(wait):
	case <-ctx.Done():
	}
	return false
}
