package port

import "time"

func (e *LineErrors) count(state byte) {
	for _, c := range []struct {
		bit byte
		n   *uint64
	}{{lineOverrun, &e.Overrun}, {lineParity, &e.Parity}, {lineFraming, &e.Framing}, {lineBreak, &e.Break}} {
		if state&c.bit != 0 {
			*c.n++
		}
	}
}

// Bits of a modem state that say which lines have changed since the last one.
const (
	changedCTS = 1 << 0
	changedDSR = 1 << 1
	endedRI    = 1 << 2
	changedDCD = 1 << 3
)

// modemSettles is how long after the opening a server's word on its control
// lines says how they are, and nothing of a change: some set every bit of change
// in their first.
const modemSettles = time.Second

// modem keeps the state of the control lines and passes it on. The first word
// that comes only once a line changes tells by its bits how the lines were
// before.
func (p *rfc2217Port) modem(state byte) {
	p.lines = Lines{CTS: state&modemCTS != 0, DSR: state&modemDSR != 0, DCD: state&modemDCD != 0, RI: state&modemRI != 0}
	if !p.told && !p.ready.IsZero() && time.Since(p.ready) >= modemSettles {
		before := p.lines
		before.CTS = before.CTS != (state&changedCTS != 0)
		before.DSR = before.DSR != (state&changedDSR != 0)
		before.RI = before.RI || state&endedRI != 0
		before.DCD = before.DCD != (state&changedDCD != 0)
		p.pass(before)
	}
	p.told = true
	p.pass(p.lines)
}

// pass hands lines on. A reader that is far behind misses the oldest, and sees
// the last.
func (p *rfc2217Port) pass(l Lines) {
	for {
		select {
		case p.changes <- l:
			return
		default:
		}
		select {
		case <-p.changes:
		default:
		}
	}
}

// Changes gives every change of the control lines.
func (p *rfc2217Port) Changes() <-chan Lines { return p.changes }
