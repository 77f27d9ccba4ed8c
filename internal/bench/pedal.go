package bench

import (
	"errors"
	"math"

	"thouwright/config"
	"thouwright/internal/capture"
	"thouwright/internal/gauge"
	"thouwright/internal/ledger"
)

// pedalKey is the line of a pedal that acts as a keyboard: any key of it.
const pedalKey = "KEY"

// pedal is the foot switch: a control line of a gauge's port, or a keyboard of
// its own.
type pedal struct {
	config.Switch
	state gauge.Pedal
}

// adopt takes the bench file's switch; one that did not change goes on.
func (p *pedal) adopt(s *config.Switch) {
	if s == nil {
		s = &config.Switch{}
	}
	if p.Switch != *s {
		*p = pedal{Switch: *s}
	}
}

// on tells whether the pedal is a control line of l.
func (p *pedal) on(l *line, control string) bool {
	if l.isPedal() {
		return control == pedalKey
	}
	return p.Gauge != "" && l.find(p.Gauge) >= 0 && control == p.Line
}

func (p *pedal) deadline() int64 {
	if p.Switch == (config.Switch{}) {
		return math.MaxInt64
	}
	return p.state.Deadline()
}

// stepped takes a change of a control line.
func (d *Daemon) stepped(it item) {
	if l := d.line(it.port); l != nil && d.pedal.on(l, it.text) {
		d.pressed(d.pedal.state.Edge(it.on, it.at.Elapsed), it.at)
	}
}

// pressed does what a press asks for. What can't be done is shown and spoken:
// the person looks at the work, not at an answer. What the take in progress answers it
// says itself.
func (d *Daemon) pressed(p gauge.Press, at ledger.Stamp) {
	if p == gauge.NoPress {
		return
	}
	err := d.command(p.Command(), at)
	if _, said := errors.AsType[capture.Answer](err); err != nil && !said {
		d.speak(err.Error())
	}
}
