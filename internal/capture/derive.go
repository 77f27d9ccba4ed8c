package capture

import (
	"fmt"
	"strings"

	"thouwright/internal/ledger"
	"thouwright/internal/method"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
	"thouwright/internal/rules"
)

// derive works out every derived check of this stage whose inputs are all
// measured, and which no take after the newest of them has answered yet.
func (c *Capture) derive(out *Out) {
	for _, d := range c.sheet.derived {
		c.deriveOne(d, out)
	}
}

func (c *Capture) deriveOne(d derivation, out *Out) {
	p := place{d.component, d.check, 0}
	tag := c.sheet.tag(p, c.stage)
	spec := c.sheet.spec(p, c.stage)
	var takes []*ledger.Take
	var doubts []string
	unlocked := false
	newest := uint64(0)
	for _, in := range d.expr.Inputs() {
		t := c.takeByID(in)
		if t == nil {
			return
		}
		if t.Bound { // no value to calculate with
			if t == c.takes[len(c.takes)-1] {
				c.say(out, SaidCaution, fmt.Sprintf("%s: not worked out, for %s is only known to be less than %.4g %s", ledger.Place(tag), in, t.Result, t.Unit))
			}
			return
		}
		if why := t.Distrusted(); why != "" {
			doubts = append(doubts, in.String()+" ("+why+")")
		}
		unlocked = unlocked || t.Unlocked()
		takes = append(takes, t)
		newest = max(newest, t.Take)
	}
	old := c.latest(tag)
	if spec.Unit == quantity.None && len(takes) > 0 { // no limits say it
		spec.Unit = takes[0].Unit
	}
	if len(takes) == 0 || old != nil && old.Take > newest {
		return
	}
	t, res, err := c.derived(d, spec, takes)
	if err != nil {
		c.say(out, SaidCaution, ledger.Place(tag)+": "+err.Error())
		return
	}
	t.Tag = tag
	if old != nil {
		t.Replaces = old.Take
	}
	verdict := judge(t, res.Combined, spec)
	if len(doubts) > 0 {
		distrust(t, strings.Join(doubts, ", "))
	} else if t.Verdict == ledger.Undecided && !unlocked {
		t.Settle(metrology.Settle(metrology.Question{Value: t.Result, Combined: res.Combined, Limits: spec.Limits, Confidence: spec.Confidence, Method: t.Method, Unit: t.Unit, Show: c.sheet.shows(),
			Inputs: knownTo(d.expr.Inputs(), takes, spec.Unit)}))
	}
	if unlocked {
		t.Unlock()
	}
	c.word(t, verdict, res.Combined)
	t.Budget = budgetLines(res.Budget, spec)
	c.commit(t, out)
}

// derived is the value of a derived check from its inputs' takes.
func (c *Capture) derived(d derivation, spec method.Spec, takes []*ledger.Take) (*ledger.Take, metrology.Propagated, error) {
	inputs := make([]metrology.Input, len(takes))
	first, last := takes[0], takes[0]
	names := make([]string, len(takes))
	for i, t := range takes {
		f := feed{}
		if f.to(t.Unit, spec.Unit, nil); !f.ok {
			return nil, metrology.Propagated{}, fmt.Errorf("%s is in %s, which cannot become %s",
				d.expr.Inputs()[i], t.Unit, spec.Unit)
		}
		names[i] = d.expr.Inputs()[i].String() + " = take " + fmt.Sprint(t.Take)
		inputs[i] = metrology.Input{
			Name: d.expr.Inputs()[i].String(), Value: t.Result * f.factor, Gauge: t.Gauge, Budget: metrology.BudgetOf(t.Budget, f.factor),
			Master: c.masterOf(t),
		}
		if t.Take > last.Take { // the time since the start may be another run's
			last = t
		}
		if t.FirstSeq < first.FirstSeq {
			first = t
		}
	}
	res, err := metrology.Propagate(d.expr.Eval, inputs, d.expr.Smooth(), last.Take)
	if err != nil {
		return nil, res, err
	}
	k := &c.sheet.Job.Components[d.component].Checks[d.check]
	return &ledger.Take{
		At:         last.At,
		CheckID:    k.ID,
		Method:     method.Derived,
		Unit:       spec.Unit,
		Result:     res.Value,
		Low:        spec.Limits.Low,
		High:       spec.Limits.High,
		Confidence: spec.Confidence,
		FirstSeq:   first.FirstSeq,
		LastSeq:    last.LastSeq,
		Note:       strings.Join(names, ", "),
	}, res, nil
}

// knownTo is what each input of a derived value is known to (U95), in unit.
func knownTo(inputs []rules.Input, takes []*ledger.Take, unit quantity.Unit) map[string]float64 {
	to := map[string]float64{}
	for i, t := range takes {
		if u, err := quantity.Convert(t.U95, t.Unit, unit); err == nil {
			to[inputs[i].String()] = u
		}
	}
	return to
}

// takeByID is the take that counts for an input of an expression, in this stage. It is
// found by its names, which are kept with it; the id is the sheet's.
func (c *Capture) takeByID(in rules.Input) *ledger.Take {
	for i := range c.sheet.Job.Components {
		part := &c.sheet.Job.Components[i]
		for k := range part.Checks {
			if part.Checks[k].ID == in.ID {
				return c.latest(ledger.Tag{Stage: c.stage, Component: part.Name, Check: part.Checks[k].Name, Position: in.Position})
			}
		}
	}
	return nil
}

// masterOf names the master a size was gauged against, which inputs may share.
func (c *Capture) masterOf(t *ledger.Take) string {
	p, ok := c.sheet.find(t.Tag.Component, t.Tag.Check, t.Tag.Position)
	if !ok {
		return ""
	}
	if m := c.sheet.check(p).Master; m != nil {
		return m.String()
	}
	return ""
}
