package bench

import (
	"context"
	"testing"
	"time"
)

// While the queue is full and ports wait for room, the loop can still ask for
// the time: it did not once, and then neither side ever went on.
func TestAFullQueueDoesNotHoldTheLoop(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	in := newIntake(ctx, NewClock(1))
	for range queueLen {
		in.Chunk(0, []byte("1"))
	}
	waits := make(chan struct{})
	go func() {
		in.Chunk(0, []byte("2"))
		close(waits)
	}()
	for range 1000 {
		in.now()
		time.Sleep(time.Microsecond) // lets the port get as far as it can
	}
	select {
	case <-waits:
		t.Fatal("the queue has no bound")
	default:
	}
	last := int64(-1)
	for n := range queueLen + 1 {
		it := <-in.queue
		in.taken()
		if it.at.Elapsed <= last {
			t.Fatalf("item %d is stamped %d after %d", n, it.at.Elapsed, last)
		}
		last = it.at.Elapsed
	}
	<-waits
}
