// Package gauge keeps one gauge alive: Keep opens its port, reads it and opens
// it again for as long as the bench runs (the half that does I/O); Source makes
// readings of the bytes and notices silence (the pure half, which a replay of
// tapes runs just the same).
package gauge

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"thouwright/drivers"
	"thouwright/internal/port"
	"thouwright/internal/quantity"
	"thouwright/internal/tape"
)

// Link is the state of a port.
type Link uint8

// The states of a port. Lost is told once, at the moment an open port breaks;
// one of the others follows.
const (
	Waiting Link = iota // nothing is there yet
	Up                  // open and being read
	Lost                // was open, and is no longer
	Held                // another program has it
	Denied              // this user may not open it
	Bad                 // its address or settings can never work
	Ended               // a tape is at its end
)

var linkWords = [...]string{"waiting", "up", "lost", "held", "denied", "bad", "ended"}

// String is a word for the state.
func (l Link) String() string { return linkWords[l] }

// Sink gets what a port gives. Its methods are called from the keeper's
// goroutines, Chunk and Link of one port always in order.
type Sink interface {
	Chunk(port int, b []byte)               // bytes just read; b is the keeper's own and must be copied
	Link(port int, l Link, message string)  // message is plain words with one thing to do
	Control(port int, line string, on bool) // the state at opening, then every change; not debounced
}

// Opener opens a port. port.Open is one; a demo or a test gives its own.
type Opener func(context.Context, port.Address, port.Settings) (port.Port, error)

// Plan is what a keeper is to do.
type Plan struct {
	Index    int    // names the port to the sink
	Address  string // as the bench file has it
	Settings port.Settings
	Driver   *drivers.Driver // for its poll; nil or without one: the gauge sends by itself
	Channels []string        // to be polled; none: all that the driver knows
	Watch    []string        // control lines to watch: CTS DSR DCD RI, and KEY of a pedal on keys:
}

// SettingsOf are the line settings of a gauge: line, of the bench file, where it
// is not empty, else the driver's; control lines that line leaves open are the
// driver's.
func SettingsOf(d *drivers.Driver, line string) (port.Settings, error) {
	if line == "" {
		line = d.Line
	}
	s, err := port.ParseSettings(line)
	if s.DTR == nil {
		s.DTR = d.DTR
	}
	if s.RTS == nil {
		s.RTS = d.RTS
	}
	return s, err
}

// Pauses between tries. The first is short, since a replugged adapter is there
// at once; the cap is what a forgotten gauge costs.
const (
	firstPause = 20 * time.Millisecond
	longest    = 2 * time.Second
	// rightsPause is how long the rights of a new device may follow after it.
	rightsPause = 10 * time.Millisecond
	// settled is how long a port must live for its next loss to start over with
	// the first pause. A port that opens and dies at once is tried ever less often.
	settled = time.Second
	// readBuffer holds what a terminal gives in one read (4095 bytes on Linux, however
	// much waits). With hundreds of ports its size is a good part of the memory.
	readBuffer = 4 << 10
)

// Keep opens the plan's port, delivers its bytes and opens it again, until ctx
// is done. All it started has ended when it returns.
func Keep(ctx context.Context, p Plan, open Opener, sink Sink, clock port.Clock, log zerolog.Logger) {
	k := &keeper{plan: p, open: open, sink: sink, clock: clock,
		log: log.With().Str("port", p.Address).Logger(), buf: make([]byte, readBuffer)}
	a, err := port.ParseAddress(p.Address)
	if err != nil {
		k.tell(Bad, err.Error())
		<-ctx.Done()
		return
	}
	k.address = a
	k.run(ctx)
}

type keeper struct {
	plan    Plan
	address port.Address
	open    Opener
	sink    Sink
	clock   port.Clock
	log     zerolog.Logger
	buf     []byte

	told    bool
	link    Link
	message string
	since   time.Time // when it was lost or first missed
	tries   int
	wasUp   bool

	// plugged says that a device came or went. It is asked for from the first
	// failed try until the port is open, so that no plug falls between two tries.
	plugged   <-chan struct{}
	unplugged func()
}

func (k *keeper) run(ctx context.Context) {
	pause := firstPause
	defer k.stopListening()
	for ctx.Err() == nil {
		pt, err := k.open(ctx, k.address, k.plan.Settings)
		if err == nil {
			opened := k.clock.Now()
			k.stopListening()
			k.up()
			if n, ok := pt.(port.Noter); ok && n.Note() != "" {
				k.log.Debug().Msg(n.Note())
			}
			err = k.serve(ctx, pt)
			if ctx.Err() != nil {
				return
			}
			if k.finished(err) {
				<-ctx.Done()
				return
			}
			k.tell(Lost, err.Error())
			if k.clock.Now().Sub(opened) >= settled {
				pause = firstPause
			}
		} else if ctx.Err() == nil {
			k.tell(linkOf(err), err.Error())
		}
		if k.tries++; k.tries == 1 {
			k.since = k.clock.Now()
		}
		pause = k.wait(ctx, pause)
	}
}

// up tells that the port is open, with the count of tries after a loss and a
// warning about an address that will not last.
func (k *keeper) up() {
	message := "connected"
	if k.tries > 0 {
		again := ""
		if k.wasUp {
			again = " again"
		}
		message = fmt.Sprintf("connected%s after %s and %d tries", again, quantity.Span(k.clock.Now().Sub(k.since)), k.tries)
	}
	k.wasUp = true
	if advice := port.Advice(k.address); advice != "" {
		message += "; " + advice
	}
	k.tries = 0
	k.tell(Up, message)
}

// tell passes a change on. A state that lasts is not repeated: neither in the
// log nor to the sink, unless its words changed.
func (k *keeper) tell(l Link, message string) {
	if k.told && l == k.link && message == k.message {
		return
	}
	changed := !k.told || l != k.link
	k.told, k.link, k.message = true, l, message
	k.sink.Link(k.plan.Index, l, message)
	if changed {
		level := zerolog.InfoLevel
		if l != Up && l != Ended {
			level = zerolog.WarnLevel
		}
		k.log.WithLevel(level).Str("state", l.String()).Msg(message)
	}
}

// linkOf is the state that an error of opening means.
func linkOf(err error) Link {
	var (
		held   *port.Held
		denied *port.Denied
		bad    *port.BadAddress
	)
	switch {
	case errors.As(err, &held):
		return Held
	case errors.As(err, &denied):
		return Denied
	case errors.As(err, &bad):
		return Bad
	}
	return Waiting
}

// finished tells whether the port is done for good: a tape that ended, or one
// that is damaged and would be the same the next time.
func (k *keeper) finished(err error) bool {
	var damaged *tape.SyntaxError
	switch {
	case errors.Is(err, port.ErrTapeEnd):
		k.tell(Ended, k.plan.Address+": "+err.Error())
	case errors.As(err, &damaged):
		k.tell(Bad, err.Error())
	default:
		return false
	}
	return true
}

// wait pauses before the next try and returns the pause after it. A plug ends
// it at once.
func (k *keeper) wait(ctx context.Context, pause time.Duration) time.Duration {
	if k.unplugged == nil && k.address.Path != "" {
		k.plugged, k.unplugged = port.Changes(k.address)
	}
	select {
	case <-ctx.Done():
	case <-k.clock.After(pause):
		return min(2*pause, longest)
	case <-k.plugged:
		select {
		case <-ctx.Done():
		case <-k.clock.After(rightsPause):
		}
		return firstPause
	}
	return pause
}

func (k *keeper) stopListening() {
	if k.unplugged != nil {
		k.unplugged()
		k.plugged, k.unplugged = nil, nil
	}
}

// serve reads the port until it fails or ctx is done, and leaves nothing
// running.
func (k *keeper) serve(ctx context.Context, pt port.Port) error {
	ctx, cancel := context.WithCancel(ctx)
	var all sync.WaitGroup
	all.Go(func() {
		<-ctx.Done()
		pt.Close()
	})
	var poll *asking
	if d := k.plan.Driver; d != nil && d.Poll != nil {
		poll = newAsking(d, k.plan.Channels, pt, k.clock, k.asked)
		all.Go(func() { poll.run(ctx) })
	}
	if len(k.plan.Watch) > 0 {
		all.Go(func() { watchLines(ctx, pt, k.plan, k.sink, k.clock, k.log) })
	}
	err := k.read(pt, poll)
	cancel()
	all.Wait()
	return err
}

func (k *keeper) asked(channel string) {
	if a, ok := k.sink.(Asker); ok {
		a.Asked(k.plan.Index, channel)
	}
}

func (k *keeper) read(pt port.Port, poll *asking) error {
	for empty := 0; ; {
		n, err := pt.Read(k.buf)
		switch {
		case n < 0 || n > len(k.buf):
			return &port.Gone{Address: k.plan.Address, Why: fmt.Sprintf("gave a count of %d bytes", n)}
		case n > 0:
			empty = 0
			k.sink.Chunk(k.plan.Index, k.buf[:n])
			if poll != nil {
				poll.read(k.buf[:n])
			}
		}
		if err != nil {
			return err
		}
		if n == 0 {
			if empty++; empty > 100 {
				return &port.Gone{Address: k.plan.Address, Why: "reads nothing for ever"}
			}
		}
	}
}
