package port

import (
	"context"
	"io"
	"time"
)

// Port is an open source of bytes. Read blocks until there are some, and fails
// for good once the other side is gone (*Gone) or Close was called (ErrClosed);
// it never gives a negative count. Close may be called while Read blocks.
type Port interface{ io.ReadWriteCloser }

// Lines are the states of a port's control lines. Key is a pedal that acts as a
// keyboard: any of its keys is down.
type Lines struct{ CTS, DSR, DCD, RI, Key bool }

// Controls is a Port whose control lines can be read.
type Controls interface {
	Lines() (Lines, error)
}

// Notifier is a Port that says when its control lines change, so that nobody
// needs to ask.
type Notifier interface {
	Changes() <-chan Lines
}

// Breaker is a Port that can send a break and drop what is on its way.
type Breaker interface {
	Break(time.Duration) error
	Purge() error
}

// Resetter is a Port whose line settings can be changed while it is open, as a
// search for an unknown gauge's settings does.
type Resetter interface {
	Reset(Settings) error
}

// Noter is a Port with something to tell whoever looks after the program; "" is
// nothing.
type Noter interface {
	Note() string
}

// Clock is the time that tapes, polls and pauses between tries run on.
type Clock interface {
	Now() time.Time
	After(time.Duration) <-chan time.Time
}

// WallClock is the computer's own clock.
type WallClock struct{}

// Now is time.Now.
func (WallClock) Now() time.Time { return time.Now() }

// After is time.After.
func (WallClock) After(d time.Duration) <-chan time.Time { return time.After(d) }

// Open opens what stands at a. Errors are *Absent, *Held, *Denied or
// *BadAddress; each says one thing to do.
func Open(ctx context.Context, a Address, s Settings) (Port, error) {
	return OpenOn(WallClock{})(ctx, a, s)
}

// OpenOn is Open with tapes replayed by another clock.
func OpenOn(clock Clock) func(context.Context, Address, Settings) (Port, error) {
	return func(ctx context.Context, a Address, s Settings) (Port, error) {
		s = s.orDefault()
		switch a.Kind {
		case TCP:
			return openTCP(ctx, a)
		case RFC2217:
			return openRFC2217(ctx, a, s)
		case Tape:
			return openTape(a, clock)
		case Keys:
			return openKeys(a)
		}
		return openSerial(a, s)
	}
}
