package capture

import (
	"thouwright/config"
	"thouwright/internal/ledger"
	"thouwright/internal/method"
	"thouwright/internal/quantity"
)

// view is what the page shows besides the state proper.
type view struct {
	reason string // of the last stroke left out, or the last caution
	last   *ledger.Take
}

// Live fills in the part of the page's state that capture owns: the job, the
// active check, every check with its takes, and the last take.
func (c *Capture) Live(l *ledger.Live) {
	s := c.sheet
	l.Stage = c.stage
	l.Checks = c.liveChecks()
	if !s.Loose {
		j := &ledger.LiveJob{
			Number: s.Job.Number, Customer: s.Job.Customer, Machine: s.Job.Machine,
			Assembly: s.Job.Assembly, Operator: s.Job.Operator, Stages: s.Job.Stages,
			Sheet: s.Version, Total: len(s.places),
		}
		for i := range s.places {
			if c.done(i) {
				j.Done++
			}
		}
		l.Job = j
	}
	if c.view.last != nil {
		t := ledger.LiveTakeOf(c.view.last)
		l.LastTake = &t
	} else if n := len(c.takes); n > 0 {
		t := ledger.LiveTakeOf(c.takes[n-1])
		l.LastTake = &t
	}
	l.Active = c.liveActive(l)
}

func (c *Capture) liveActive(l *ledger.Live) *ledger.LiveActive {
	if c.at >= len(c.sheet.places) {
		return &ledger.LiveActive{Phase: ledger.PhaseDone, Say: "every position is measured"}
	}
	k, adj := c.check(), c.adjuster()
	a := &ledger.LiveActive{
		Component:  c.tag.Component,
		Check:      c.tag.Check,
		Position:   c.tag.Position,
		Method:     c.spec.Method,
		Gauge:      c.spec.Gauge.Name,
		Minus:      c.minus.gauge,
		Unit:       c.spec.Unit.String(),
		Low:        ledger.Number(c.spec.Limits.Low),
		High:       ledger.Number(c.spec.Limits.High),
		Source:     k.Source,
		Condition:  k.Condition,
		Wanted:     c.spec.Strokes,
		Most:       c.spec.MaxStrokes,
		Reason:     c.view.reason,
		Zone:       zoneLine(c.spec, c.step(), showIn(l, c.spec.Unit)),
		Guide:      c.adjust.guide,
		Adjustable: adj != nil,
		Next:       c.nextName(),
	}
	if adj != nil {
		a.Steps, a.StepNow = adj.Steps, c.adjust.step
	}
	if c.waiting {
		a.Phase = ledger.PhaseWaiting
		a.Say = "move the gauge to the next place"
		if k.Advance == config.AdvanceSwitch {
			a.Say += ", then press the switch or Accept"
		}
		if c.adjust.inBand {
			a.Say = "in the band: fasten the lock, then measure again"
		}
		return a
	}
	if c.machine == nil {
		return a
	}
	p := c.machine.Progress()
	a.Phase, a.Say = ledger.PhaseReady, p.Say
	a.Strokes, a.LeftOut = p.Strokes, p.LeftOut
	if p.Wanted > 0 {
		a.Wanted, a.Most = p.Wanted, p.Most
	}
	if p.Reason != "" {
		a.Reason = p.Reason
	}
	if p.Strokes > 0 {
		a.Phase = ledger.PhaseMeasuring
	}
	if c.unlocked() {
		a.Phase = ledger.PhaseAdjusting
	}
	if p.HasResult && c.spec.Method == method.Drag {
		a.Guide = nil // of the pull before this one: the nut was turned since
	}
	if p.HasResult {
		a.Result, a.U95 = ledger.Number(p.Result), ledger.Number(p.U95)
	}
	if p.HasLevels {
		a.Minus1, a.Plus1 = ledger.Number(p.LevelLow), ledger.Number(p.LevelHigh)
	}
	return a
}

// nextName names what comes after the active place.
func (c *Capture) nextName() string {
	n := len(c.sheet.places)
	for k := 1; k < n; k++ {
		j := (c.at + k) % n
		if !c.done(j) {
			return ledger.Place(c.sheet.tag(c.sheet.places[j], ""))
		}
	}
	return ""
}

func (c *Capture) liveChecks() []ledger.LiveCheck {
	byTag := map[ledger.Tag][]ledger.LiveTake{}
	verdict := map[ledger.Tag]ledger.Verdict{}
	for _, t := range c.takes {
		byTag[t.Tag] = append(byTag[t.Tag], ledger.LiveTakeOf(t))
		verdict[t.Tag] = t.Verdict
	}
	checks := []ledger.LiveCheck{}
	for ci := range c.sheet.Job.Components {
		comp := &c.sheet.Job.Components[ci]
		for ki := range comp.Checks {
			k := &comp.Checks[ki]
			lc := ledger.LiveCheck{Component: comp.Name, Check: k.Name, ID: k.ID, Method: k.Method}
			spec := c.sheet.spec(place{ci, ki, 0}, c.stage)
			lc.Unit, lc.Low, lc.High = spec.Unit.String(), ledger.Number(spec.Limits.Low), ledger.Number(spec.Limits.High)
			for pi := range max(1, len(k.Positions)) {
				tag := c.sheet.tag(place{ci, ki, pi}, c.stage)
				lc.Positions = append(lc.Positions, ledger.LivePosition{
					Position: tag.Position, Verdict: string(verdict[tag]), Takes: byTag[tag],
				})
			}
			checks = append(checks, lc)
		}
	}
	return checks
}

// showIn is the unit the person reads, where it fits what is measured.
func showIn(l *ledger.Live, unit quantity.Unit) quantity.Unit {
	if u, err := quantity.ParseUnit(l.Unit); err == nil && u.Kind() == unit.Kind() {
		return u
	}
	return unit
}
