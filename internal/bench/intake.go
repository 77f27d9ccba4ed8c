package bench

import (
	"context"
	"sync"

	"thouwright/internal/gauge"
	"thouwright/internal/ledger"
)

// intake is the one door through which everything reaches the loop: bytes,
// ports that come and go, control lines, commands. It stamps each under one
// lock and queues it under the same, so the order of the queue is the order of
// the stamps, no two stamps are equal, and a replay that sorts by stamp does
// what the loop did.
type intake struct {
	clock *Clock
	queue chan item
	room  chan struct{} // one in it for each item in the queue, or about to be
	done  <-chan struct{}

	mu   sync.Mutex
	last int64
	pool sync.Pool
}

// item is one thing that happened.
type item struct {
	at    ledger.Stamp
	port  int
	bytes *[]byte // of the port
	link  gauge.Link
	isLnk bool
	text  string // of a link, or the control line's name
	asked bool   // a poll asked the channel in text
	line  bool   // a control line changed, to on
	on    bool
	cmd   *ledger.Command
	reply chan error

	edited   bool   // files were edited
	files    *files // nil: they can't be used
	problems []ledger.Problem
	jobFile  string // the sheet that was in hand when they were read
}

// queueLen holds about a second of 256 gauges at 50 readings/s; past that the
// ports wait, and the kernel's own buffers hold the bytes.
const queueLen = 16384

func newIntake(ctx context.Context, c *Clock) *intake {
	return &intake{clock: c, queue: make(chan item, queueLen), room: make(chan struct{}, queueLen), done: ctx.Done(), last: -1}
}

// stamp is now, later than every stamp before. The lock must be held.
func (in *intake) stamp() ledger.Stamp {
	s := in.clock.Stamp()
	if s.Elapsed <= in.last {
		s.Elapsed = in.last + 1
	}
	in.last = s.Elapsed
	return s
}

// put waits for room before it takes the lock: the loop takes the same lock to
// see how late it is, and must never wait for one that waits for the loop.
func (in *intake) put(it item) {
	select {
	case in.room <- struct{}{}:
	case <-in.done:
		if it.reply != nil {
			it.reply <- context.Canceled
		}
		return
	}
	in.mu.Lock()
	defer in.mu.Unlock()
	it.at = in.stamp()
	in.queue <- it
}

// taken makes room: the loop says so of each item that it took.
func (in *intake) taken() { <-in.room }

// now is a stamp that lies behind everything queued so far.
func (in *intake) now() ledger.Stamp {
	in.mu.Lock()
	defer in.mu.Unlock()
	return in.stamp()
}

// Chunk takes bytes a port just read; they are copied.
func (in *intake) Chunk(port int, b []byte) {
	buf, _ := in.pool.Get().(*[]byte)
	if buf == nil {
		buf = new([]byte)
	}
	*buf = append((*buf)[:0], b...)
	in.put(item{port: port, bytes: buf})
}

// Link takes the news of a port's state.
func (in *intake) Link(port int, l gauge.Link, message string) {
	in.put(item{port: port, isLnk: true, link: l, text: message})
}

// Asked takes which channel a poll asks: answers that carry none belong to it.
func (in *intake) Asked(port int, channel string) {
	in.put(item{port: port, asked: true, text: channel})
}

// Control takes a change of a control line.
func (in *intake) Control(port int, line string, on bool) {
	in.put(item{port: port, line: true, text: line, on: on})
}

// do hands a person's command to the loop and waits for its answer.
func (in *intake) do(ctx context.Context, c ledger.Command) error {
	reply := make(chan error, 1)
	in.put(item{cmd: &c, reply: reply})
	select {
	case err := <-reply:
		return err
	case <-ctx.Done():
		return ctx.Err()
	case <-in.done:
		return context.Canceled
	}
}
