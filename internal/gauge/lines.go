package gauge

import (
	"context"
	"time"

	"github.com/rs/zerolog"

	"thouwright/internal/port"
)

// lineInterval is how often control lines are asked for where the port does
// not tell of changes: a short press lasts 80 ms or more (common practice, no
// source), so none falls between.
const lineInterval = 10 * time.Millisecond

// watchLines delivers the state of the watched control lines and every change.
func watchLines(ctx context.Context, pt port.Port, p Plan, sink Sink, clock port.Clock, log zerolog.Logger) {
	var last port.Lines
	first := true
	tell := func(now port.Lines) {
		for _, name := range p.Watch {
			if on := lineOf(now, name); first || on != lineOf(last, name) {
				sink.Control(p.Index, name, on)
			}
		}
		last, first = now, false
	}
	if n, ok := pt.(port.Notifier); ok {
		changes := n.Changes()
		for {
			select {
			case <-ctx.Done():
				return
			case now, ok := <-changes:
				if !ok {
					return
				}
				tell(now)
			}
		}
	}
	c, ok := pt.(port.Controls)
	if !ok {
		log.Warn().Msg("this port has no control lines, so no switch can be on one: use a pedal on keys: or a serial line")
		return
	}
	for {
		now, err := c.Lines()
		if err != nil {
			if ctx.Err() == nil {
				log.Warn().Err(err).Msg("control lines cannot be read, so a switch on them does nothing")
			}
			return
		}
		tell(now)
		select {
		case <-ctx.Done():
			return
		case <-clock.After(lineInterval):
		}
	}
}

func lineOf(l port.Lines, name string) bool {
	switch name {
	case "CTS":
		return l.CTS
	case "DSR":
		return l.DSR
	case "DCD":
		return l.DCD
	case "KEY":
		return l.Key
	}
	return l.RI
}
