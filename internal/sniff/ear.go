package sniff

import (
	"context"
	"fmt"
	"time"

	"thouwright/internal/port"
)

// PortEar listens at a real port. It is opened once; its settings change while
// it stays open, because opening it again moves control lines.
type PortEar struct {
	p      port.Port
	set    port.Resetter // nil: settings mean nothing here
	chunks chan stamped
	failed error // set before chunks is closed
}

type stamped struct {
	b  []byte
	at time.Time
}

// Worth tells why there is nothing to find out at an address: a tape or a
// keyboard has no settings.
func Worth(a port.Address) error {
	switch a.Kind {
	case port.Tape:
		return fmt.Errorf("%s is a tape: see what 'decode' or 'replay' makes of it; expected a serial port, tcp:// or rfc2217://", a)
	case port.Keys:
		return fmt.Errorf("%s acts as a keyboard, which has no line settings: write driver = \"signed-decimal\" and see what it gives", a)
	}
	return nil
}

// OpenEar opens the port at a.
func OpenEar(ctx context.Context, a port.Address) (*PortEar, error) {
	if err := Worth(a); err != nil {
		return nil, err
	}
	p, err := port.Open(ctx, a, port.DefaultSettings)
	if err != nil {
		return nil, err
	}
	e := &PortEar{p: p, chunks: make(chan stamped, 256)}
	if set, ok := p.(port.Resetter); ok && a.Kind != port.TCP {
		e.set = set
	}
	go e.read()
	return e, nil
}

func (e *PortEar) read() {
	defer close(e.chunks)
	buf := make([]byte, 4096)
	for {
		n, err := e.p.Read(buf)
		if n > 0 {
			e.chunks <- stamped{append([]byte(nil), buf[:n]...), time.Now()}
		}
		if err != nil {
			e.failed = err
			return
		}
	}
}

// Close closes the port and waits for its reader.
func (e *PortEar) Close() error {
	err := e.p.Close()
	for range e.chunks {
	}
	return err
}

// Settable tells whether the port has line settings.
func (e *PortEar) Settable() bool { return e.set != nil }

// Listen is Ear's.
func (e *PortEar) Listen(ctx context.Context, s port.Settings, say []byte, most time.Duration, hear func([]byte, time.Duration) bool) error {
	if e.set != nil {
		if err := e.set.Reset(s); err != nil {
			return err
		}
	}
	start := time.Now()
	if len(say) > 0 {
		if _, err := e.p.Write(say); err != nil {
			return err
		}
	}
	over := time.NewTimer(most)
	defer over.Stop()
	for {
		select {
		case c, open := <-e.chunks:
			if !open {
				return e.failed
			}
			if c.at.Before(start) { // from the setting before
				continue
			}
			if hear(c.b, c.at.Sub(start)) {
				return nil
			}
		case <-over.C:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}
