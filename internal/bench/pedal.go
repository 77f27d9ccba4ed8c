package bench

import (
	"math"

	"thouwright/config"
	"thouwright/internal/gauge"
	"thouwright/internal/ledger"
)

// pedal is the foot switch on a control line of a gauge's port.
type pedal struct {
	gauge string // whose port; "" where there is none
	line  string
	state gauge.Pedal
}

func newPedal(s *config.Switch) *pedal {
	if s == nil || s.Gauge == "" {
		return &pedal{}
	}
	return &pedal{gauge: s.Gauge, line: s.Line}
}

func (p *pedal) deadline() int64 {
	if p.gauge == "" {
		return math.MaxInt64
	}
	return p.state.Deadline()
}

// stepped takes a change of a control line.
func (d *Daemon) stepped(it item) {
	l := d.line(it.port)
	if l == nil || l.find(d.pedal.gauge) < 0 || it.text != d.pedal.line {
		return
	}
	d.pressed(d.pedal.state.Edge(it.on, it.at.Elapsed), it.at)
}

// pressed does what a press asks for. What can't be done is shown and spoken:
// the person looks at the work, not at an answer.
func (d *Daemon) pressed(p gauge.Press, at ledger.Stamp) {
	if p == gauge.NoPress {
		return
	}
	if err := d.command(p.Command(), at); err != nil {
		d.speak(err.Error())
	}
}
