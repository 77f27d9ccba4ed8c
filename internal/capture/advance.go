package capture

import (
	"thouwright/config"
	"thouwright/internal/ledger"
	"thouwright/internal/method"
)

// open makes the place of index i active and starts measuring there at once.
func (c *Capture) open(i int, out *Out) {
	c.enter(i, out)
	c.begin(out)
}

// begin starts measuring at a place that was just entered, with the first step of
// its procedure where it has one.
func (c *Capture) begin(out *Out) {
	c.start(out)
	if c.at >= len(c.sheet.places) {
		return
	}
	if a := c.adjuster(); a != nil && len(a.Steps) > 0 {
		c.say(out, SaidStep, a.Steps[c.adjust.step])
	}
}

// enter makes the place of index i active without starting to measure.
func (c *Capture) enter(i int, out *Out) {
	c.putAway()
	c.at, c.gate, c.waiting = i, nil, false
	c.adjust, c.view = adjusting{}, view{}
	if i < 0 || i >= len(c.sheet.places) {
		c.at = len(c.sheet.places)
		c.tag = &ledger.Tag{Stage: c.stage}
		c.spec = method.Spec{}
		c.main, c.minus = feed{}, feed{}
		c.event(out, ledger.EvPosition, "", "all measured")
		c.say(out, SaidPosition, "all measured")
		return
	}
	p := c.sheet.places[i]
	tag := c.sheet.tag(p, c.stage)
	c.tag = &tag
	c.spec = c.sheet.spec(p, c.stage)
	c.main = feed{gauge: c.spec.Gauge.Name}
	c.minus = feed{}
	if c.spec.Minus != nil {
		c.minus.gauge = c.spec.Minus.Name
	}
	c.adjust.open = c.resumed()
	c.event(out, ledger.EvPosition, c.spec.Gauge.Name, ledger.PlaceText(tag))
	c.say(out, SaidPosition, c.where())
}

// start begins a fresh take at the active place.
func (c *Capture) start(out *Out) {
	c.putAway()
	c.gate, c.waiting = nil, false
	if c.at >= len(c.sheet.places) {
		return
	}
	var minus *method.GaugeMemory
	if c.minus.gauge != "" {
		minus = c.remember(c.minus.gauge)
	}
	m, err := method.Again(c.spent, c.spec, c.remember(c.spec.Gauge.Name), minus)
	c.spent = nil
	if err != nil { // config.Spec has checked the sheet; this is a bug's last line of defence
		c.say(out, SaidCaution, err.Error())
		return
	}
	c.machine = m
}

// putAway ends the use of the present machine.
func (c *Capture) putAway() {
	if c.machine != nil {
		c.spent, c.machine = c.machine, nil
	}
}

// announce makes the place of index i active after a take: how it opens is the
// check's `advance`.
func (c *Capture) announce(i int, done *method.Result, out *Out) {
	before := c.spec
	c.enter(i, out)
	if c.at >= len(c.sheet.places) {
		return
	}
	c.wait(before, done, out)
}

// wait closes the gate before the active place where rocking on after the
// sound could reach its method, and starts at once where it can't.
func (c *Capture) wait(before method.Spec, done *method.Result, out *Out) {
	advance := c.check().Advance
	sameGauge := before.Gauge.Name == c.spec.Gauge.Name
	switch {
	case advance == config.AdvanceAtOnce, !sameGauge && advance != config.AdvanceSwitch:
		c.begin(out)
	case advance == config.AdvanceSwitch:
		c.waiting = true
	default:
		c.waiting, c.gate = true, method.NewGate(before, done)
	}
}

// opened starts measuring at a place that was waiting.
func (c *Capture) opened(out *Out) {
	if c.adjust.inBand {
		c.locked(out)
		return
	}
	c.begin(out)
	c.say(out, SaidOpen, c.where())
}

// nextPlace is the first place after index i that has no take which counts in
// this stage, going round once; len(places) where there is none.
func (c *Capture) nextPlace(i int) int {
	n := len(c.sheet.places)
	if c.sheet.Loose {
		return max(0, min(i, n-1))
	}
	for k := 1; k <= n; k++ {
		j := (i + k + n) % n
		if !c.done(j) {
			return j
		}
	}
	return n
}

// done tells whether the place of index i is measured in this stage: an
// adjustable check only once it passed or was accepted as it is.
func (c *Capture) done(i int) bool {
	t := c.latest(c.sheet.tag(c.sheet.places[i], c.stage))
	if t == nil {
		return false
	}
	if adjustable(t.Method) {
		if v := c.judged(i, t).Verdict; v != ledger.NoVerdict {
			return v == ledger.Pass || c.accepted[t.Take]
		}
	}
	return true
}

// latest is the take that counts at a place: the newest one.
func (c *Capture) latest(tag ledger.Tag) *ledger.Take {
	for i := len(c.takes) - 1; i >= 0; i-- {
		if c.takes[i].Tag == tag {
			return c.takes[i]
		}
	}
	return nil
}

func (c *Capture) check() *config.Check {
	return c.sheet.check(c.sheet.places[c.at])
}

func adjustable(m string) bool { return m == method.EndPlay || m == method.Drag }
