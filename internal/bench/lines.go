package bench

import (
	"fmt"
	"strings"

	"thouwright/config"
	"thouwright/drivers"
	"thouwright/internal/gauge"
	"thouwright/internal/port"
	"thouwright/internal/quantity"
)

// line is one port of the bench and the gauges that speak through it. A
// multiplexer has several gauges on one; a pedal that acts as a keyboard has
// none, and no driver.
type line struct {
	index   int
	address string
	driver  *drivers.Driver
	setting string // the bench file's; empty: the driver's
	gauges  []config.Gauge
	tape    string   // what its tape is called in the job at hand, whatever its gauges are renamed to
	watch   []string // control lines that a foot switch uses

	wasUp   bool
	fresh   bool // nothing was read since it was opened
	gone    bool // the bench file no longer has it
	link    gauge.Link
	message string
	seen    []seen
	stop    func()
	stopped chan struct{}
}

// name is what a person calls the line: its first gauge.
func (l *line) name() string {
	if len(l.gauges) == 0 {
		return "foot switch"
	}
	return l.gauges[0].Name
}

func (l *line) isPedal() bool { return l.driver == nil }

func (l *line) names() []string {
	n := make([]string, len(l.gauges))
	for i, g := range l.gauges {
		n[i] = g.Name
	}
	return n
}

// samePort tells whether an open port can serve l as it served m.
func (l *line) samePort(m *line) bool {
	return l.address == m.address && l.setting == m.setting &&
		strings.Join(l.watch, " ") == strings.Join(m.watch, " ") &&
		l.isPedal() == m.isPedal() && (l.isPedal() || string(l.driver.Text) == string(m.driver.Text)) &&
		strings.Join(l.channels(), ",") == strings.Join(m.channels(), ",")
}

// sameGauges tells whether the readings mean the same, too.
func (l *line) sameGauges(m *line) bool {
	if len(l.gauges) != len(m.gauges) {
		return false
	}
	for i := range l.gauges {
		a, b := &l.gauges[i], &m.gauges[i]
		if a.Name != b.Name || a.Channel != b.Channel || a.Unit != b.Unit || text(a.Step) != text(b.Step) {
			return false
		}
	}
	return true
}

func text(q *quantity.Quantity) string {
	if q == nil {
		return ""
	}
	return q.String()
}

// channels are the gauges' channels, for a driver that asks each.
func (l *line) channels() []string {
	var c []string
	for _, g := range l.gauges {
		if g.Channel != "" {
			c = append(c, g.Channel)
		}
	}
	return c
}

// plan is what the port's keeper is to do.
func (l *line) plan() (gauge.Plan, error) {
	if l.isPedal() {
		return gauge.Plan{Index: l.index, Address: l.address, Watch: l.watch}, nil
	}
	s, err := gauge.SettingsOf(l.driver, l.setting)
	if err != nil {
		return gauge.Plan{}, fmt.Errorf("gauge %q: %w", l.name(), err)
	}
	return gauge.Plan{
		Index: l.index, Address: l.address, Settings: s, Driver: l.driver, Channels: l.channels(), Watch: l.watch,
	}, nil
}

// source is the pure half: bytes to the gauges' readings. A pedal has none.
func (l *line) source() *gauge.Source {
	if l.isPedal() {
		return nil
	}
	s := gauge.NewSource(l.driver, l.specs())
	if a, err := port.ParseAddress(l.address); err == nil {
		s.Whole = a.Kind == port.Tape
	}
	return s
}

func (l *line) specs() []gauge.Spec {
	specs := make([]gauge.Spec, len(l.gauges))
	for i, g := range l.gauges {
		specs[i] = gauge.Spec{Name: g.Name, Index: i, Channel: g.Channel, Unit: g.Unit, Step: g.Step}
	}
	return specs
}

// edited makes l's gauges those of now. What was seen of one that keeps its
// name and channel stays known.
func (l *line) edited(now []config.Gauge) {
	known := make([]seen, len(now))
	for i, g := range now {
		if k := l.find(g.Name); k >= 0 && k < len(l.seen) && l.gauges[k].Channel == g.Channel {
			known[i] = l.seen[k]
		}
	}
	l.gauges, l.seen = now, known
}

// linesOf groups a bench's gauges by port, in the order of the file.
func linesOf(b *config.Bench, cat *drivers.Catalogue) ([]*line, error) {
	var lines []*line
	at := map[string]*line{}
	for _, g := range b.Gauges {
		l := at[g.Port]
		if l == nil {
			d, err := cat.Find(g.Driver)
			if err != nil {
				return nil, fmt.Errorf("gauge %q: %w", g.Name, err)
			}
			l = &line{address: g.Port, driver: d, setting: g.Line}
			at[g.Port] = l
			lines = append(lines, l)
		}
		l.gauges = append(l.gauges, g)
		if s := b.Switch; s != nil && s.Gauge == g.Name && s.Line != "" {
			l.watch = append(l.watch, s.Line)
		}
	}
	for _, l := range lines {
		l.tape = l.name()
	}
	if s := b.Switch; s != nil && s.Port != "" {
		lines = append(lines, &line{address: s.Port, watch: []string{pedalKey}})
	}
	return lines, nil
}

// relined is how the lines of an edited bench file follow from those before.
type relined struct {
	keep  []*line // whose port stays open, as they are to be
	from  []*line // the same, as they were
	stop  []*line
	start []*line // their indices follow those before
}

// reline compares the lines in use with those of an edited bench file.
func reline(lines, want []*line) (r relined) {
	kept := map[*line]bool{}
	for _, l := range want {
		var old *line
		for _, o := range lines {
			if !o.gone && o.address == l.address {
				old = o
			}
		}
		if old != nil && old.samePort(l) {
			kept[old] = true
			r.keep, r.from = append(r.keep, l), append(r.from, old)
			continue
		}
		l.index = len(lines) + len(r.start)
		r.start = append(r.start, l)
	}
	for _, l := range lines {
		if !l.gone && !kept[l] {
			r.stop = append(r.stop, l)
		}
	}
	return r
}

// adoptLines makes the engine's sources those of r and returns the lines that
// are then in use. Lines that stop are gone; whoever reads ports closes and
// opens them.
func (e *engine) adoptLines(lines []*line, r relined) []*line {
	for i, l := range r.keep {
		old := r.from[i]
		same := old.sameGauges(l)
		if old.edited(l.gauges); !same {
			e.regauge(old.index, old.specs())
		}
	}
	for _, l := range r.stop {
		l.gauges, l.gone = nil, true
		e.sources[l.index] = nil
	}
	for _, l := range r.start {
		e.sources = append(e.sources, l.source())
	}
	return append(lines, r.start...)
}
