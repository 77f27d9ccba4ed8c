package bench

import (
	"fmt"
	"strings"

	"thouwright/config"
	"thouwright/drivers"
	"thouwright/internal/gauge"
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
	watch   []string // control lines that a foot switch uses

	wasUp   bool
	gone    bool // the bench file no longer has it
	link    gauge.Link
	message string
	seen    []seen
	stop    func()
	stopped chan struct{}
}

// name is what the line's tape is called: its first gauge.
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
	specs := make([]gauge.Spec, len(l.gauges))
	for i, g := range l.gauges {
		specs[i] = gauge.Spec{Name: g.Name, Index: i, Channel: g.Channel, Unit: g.Unit, Step: g.Step}
	}
	return gauge.NewSource(l.driver, specs)
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
	if s := b.Switch; s != nil && s.Port != "" {
		lines = append(lines, &line{address: s.Port, watch: []string{pedalKey}})
	}
	return lines, nil
}
