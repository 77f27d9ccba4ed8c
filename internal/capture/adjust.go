package capture

import (
	"fmt"
	"slices"

	"thouwright/config"
	"thouwright/internal/ledger"
	"thouwright/internal/method"
	"thouwright/internal/quantity"
)

// adjusting is the state of setting end play or drag. It begins with a take
// that did not pass, or with the second step of a procedure; from then on the lock
// counts as open, and only a take made after it was fastened gives the verdict.
type adjusting struct {
	open   bool // the lock is open
	inBand bool // a take lay in the band while the lock was open: lock it
	locked bool // the lock was fastened, and no take has failed since
	step   int  // of the procedure
	guide  *ledger.Guide

	byStrokes bool // the guide is of the strokes of a take in progress
}

// adjuster is what is turned at the active place, nil for nothing.
func (c *Capture) adjuster() *config.Adjuster {
	if c.at >= len(c.sheet.places) {
		return nil
	}
	return c.sheet.adjuster(c.sheet.places[c.at], c.stage)
}

// unlocked tells whether a lock is open; an edited sheet may have taken it away.
func (c *Capture) unlocked() bool { return c.adjust.open && c.adjuster() != nil }

// judged is the take that says whether the place of index i is set rightly, of its
// newest: that one, or what was worked out from it.
func (c *Capture) judged(i int, newest *ledger.Take) *ledger.Take {
	tag, _ := c.sheet.aim(c.sheet.places[i], c.stage)
	if t := c.latest(tag); t != nil && t.Take > newest.Take {
		return t
	}
	return newest
}

// stay goes on at the place where a take did not pass, and says which way to turn. judge
// is the take itself or what was worked out from it.
func (c *Capture) stay(judge *ledger.Take, res *method.Result, out *Out) {
	if c.adjuster() == nil || judge.Distrusted() != "" { // no word, and no lock, hangs on a take that is no result
		c.start(out)
		return
	}
	if c.adjust.inBand {
		c.say(out, SaidLock, "in the band: fasten the lock, then measure again")
		c.putAway()
		c.waiting, c.gate = true, method.NewGate(c.spec, res)
		return
	}
	c.adjust.open, c.adjust.locked = true, false
	c.tell(judge.Result, judge.U95, out)
	if judge.Method == method.Derived {
		c.adjust.guide.Now = judge.Tag.Check + ": " + judge.Say
	}
	c.start(out)
}

// doLock takes the person's word that the lock is fastened: the next take
// gives the verdict.
func (c *Capture) doLock(out *Out) error {
	if c.adjuster() == nil {
		return fmt.Errorf("there is nothing to lock at %s", c.where())
	}
	c.event(out, ledger.EvAccept, c.spec.Gauge.Name, c.where()+": lock fastened")
	c.locked(out)
	return nil
}

func (c *Capture) locked(out *Out) {
	c.adjust.open, c.adjust.inBand, c.adjust.locked, c.adjust.guide = false, false, true, nil
	c.start(out)
	c.say(out, SaidOpen, c.where())
}

// resumed tells whether the place was being adjusted when it was left, by a restart
// or for another: the last take that is to be trusted did not pass.
func (c *Capture) resumed() bool {
	if !adjustable(c.spec.Method) || c.adjuster() == nil {
		return false
	}
	aim, _ := c.sheet.aim(c.sheet.places[c.at], c.stage)
	for _, t := range slices.Backward(c.takes) {
		if t.Tag == aim && t.Distrusted() == "" {
			return t.Verdict == ledger.Fail || t.Verdict == ledger.Undecided
		}
	}
	return false
}

// doStep goes to the procedure's next step and says it.
func (c *Capture) doStep(out *Out) error {
	adj := c.adjuster()
	if adj == nil || len(adj.Steps) == 0 {
		return fmt.Errorf("no procedure is written for %s", c.where())
	}
	steps := adj.Steps
	c.adjust.step = (c.adjust.step + 1) % len(steps)
	if c.adjust.step == 0 || !c.adjust.locked { // what follows the lock, such as 'measure', leaves it fastened
		c.adjust.open, c.adjust.locked = true, false
	}
	c.say(out, SaidStep, steps[c.adjust.step])
	return nil
}

// guide says, after a stroke, where the play lies while the lock is open. A drag has
// no strokes: each pull is a take, and stay says it.
func (c *Capture) guide(out *Out) {
	if c.Unheard || !adjustable(c.spec.Method) || c.machine == nil {
		return
	}
	if !c.unlocked() {
		return
	}
	if p := method.Present(c.machine); p.HasResult {
		c.tell(p.Result, p.U95, out)
		c.adjust.byStrokes = true
	}
}

// doubtGuide takes back what was told of strokes that are no longer like the present
// ones: a word that was right of them may be wrong of these.
func (c *Capture) doubtGuide() {
	if c.adjust.byStrokes && c.machine != nil && !method.Present(c.machine).HasResult {
		c.adjust.guide, c.adjust.byStrokes = nil, false
	}
}

// tell says where a value lies and which way to turn the adjuster.
func (c *Capture) tell(value, u95 float64, out *Out) {
	_, spec := c.sheet.aim(c.sheet.places[c.at], c.stage)
	g := method.Guidance(spec, adjusterIn(c.adjuster(), spec.Unit), value, u95)
	c.adjust.guide, c.adjust.byStrokes = &g, false
	out.add(GuideFact{g, c.spec.Method})
}

// adjusterIn is an adjuster with its pitch in the check's unit; a pitch that
// has no place there (a drag's) is left out.
func adjusterIn(a *config.Adjuster, unit quantity.Unit) method.Adjuster {
	m := method.Adjuster{Left: a.Hand == "left", Slots: a.Slots, Holes: a.Holes}
	pitch, from := 0.0, quantity.MM
	switch {
	case a.TPI > 0:
		pitch, from = 1/a.TPI, quantity.In
	case a.Pitch != nil:
		pitch, from = a.Pitch.Value.Float(), a.Pitch.Unit
	}
	if v, err := quantity.Convert(pitch, from, unit); err == nil {
		m.Pitch = v
	}
	return m
}
