package capture

import (
	"math"

	"thouwright/internal/ledger"
	"thouwright/internal/method"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// finish turns a method's result into a take: its verdict, its number, the
// user's rules, what is derived from it, and what is measured next.
func (c *Capture) finish(res *method.Result, out *Out) {
	k := c.check()
	t := &ledger.Take{
		At:          c.stampOf(res.T),
		Tag:         *c.tag,
		CheckID:     k.ID,
		Method:      c.spec.Method,
		Gauge:       c.spec.Gauge.Name,
		Unit:        c.spec.Unit,
		Result:      res.Value,
		Bound:       res.Bound,
		Low:         c.spec.Limits.Low,
		High:        c.spec.Limits.High,
		Confidence:  c.spec.Confidence,
		Strokes:     res.Strokes,
		LeftOut:     res.LeftOut,
		DriftPerMin: res.DriftPerMin,
		FirstSeq:    res.FirstSeq,
		LastSeq:     res.LastSeq,
		Rests:       res.Rests,
		Extras:      res.Extras,
		Note:        res.Note,
	}
	comb := res.Budget.Combine()
	verdict := judge(t, comb, c.spec)
	if res.NoVerdict != "" {
		distrust(t, res.NoVerdict)
	} else if t.Verdict == ledger.Undecided && !c.unlocked() {
		t.Settle(metrology.Settle(c.question(t, comb)))
	}
	if c.unlocked() {
		t.Unlock()
	}
	c.word(t, verdict, comb)
	t.Budget = budgetLines(res.Budget, c.spec)
	if c.redo == 0 && !adjustable(t.Method) && !c.sheet.Loose {
		if old := c.latest(*c.tag); old != nil {
			c.redo = old.Take
		}
	}
	t.Replaces, c.redo = c.redo, 0
	c.commit(t, out)
	c.derive(out)
	c.after(t, res, out)
}

// word says a take for people.
func (c *Capture) word(t *ledger.Take, v metrology.Verdict, comb metrology.Combined) {
	switch {
	case t.InBand():
		t.Say, t.Ruled = "set: fasten the lock, then measure again", true
	case !c.Unheard:
		t.Say = metrology.Words(t, v, comb)
	}
}

// commit numbers a take, applies the user's rules and hands it on.
func (c *Capture) commit(t *ledger.Take, out *Out) {
	c.lastTake++
	t.Take = c.lastTake
	t.Sheet = c.sheet.Version
	t.Operator = c.sheet.Job.Operator
	for i := range t.Rests {
		t.Rests[i].Take = t.Take
	}
	hits, err := c.sheet.rules.Apply(t)
	if err != nil {
		c.event(out, ledger.EvRule, t.Gauge, err.Error())
	}
	for _, h := range hits {
		c.event(out, ledger.EvRule, t.Gauge, ledger.Place(t.Tag)+": "+h.Say)
		if h.Say != "" {
			t.Say, t.Ruled = h.Say, true
		}
		if h.Sound != "" {
			t.Sound = h.Sound
		}
	}
	c.takes = append(c.takes, t)
	c.view.last = t
	out.add(TakeFact{t})
}

// judge fills in a take's uncertainty and verdict. Without limits there is no
// verdict.
func judge(t *ledger.Take, comb metrology.Combined, spec method.Spec) metrology.Verdict {
	t.U95, t.Dof = comb.U95, comb.DofEff
	lim := limitsOf(spec)
	v := metrology.Decide(t.Result, comb, lim, spec.Confidence, spec.Rule)
	t.Verdict, t.Side = v.Verdict, v.Side
	t.PIn, t.PBelow, t.PAbove = v.PIn, v.PBelow, v.PAbove
	if v.Verdict == ledger.NoVerdict {
		t.PIn, t.PBelow, t.PAbove = math.NaN(), math.NaN(), math.NaN()
		return v
	}
	if spec.Rule == metrology.Simple {
		t.Note = ledger.JoinNotes(t.Note, "simple rule: the result alone was compared")
	}
	return v
}

// question asks what would decide a measured take.
func (c *Capture) question(t *ledger.Take, comb metrology.Combined) metrology.Question {
	q := metrology.Question{
		Value: t.Result, Combined: comb, Limits: limitsOf(c.spec), Confidence: c.spec.Confidence,
		Method: t.Method, Step: c.step(), Unit: t.Unit, Show: c.sheet.shows(),
		Provable: ofDifference(c.spec) && !c.spec.Gauge.HasErrorLocal,
	}
	if t.Method == method.Play || t.Method == method.EndPlay { // a turn's or a pull's are its readings
		q.Strokes = t.Strokes
	}
	return q
}

// distrust takes back the verdict of a take whose readings are no result. Without
// limits it is said all the same: something else may be worked out from it.
func distrust(t *ledger.Take, why string) {
	t.Distrust(why)
	t.Side = ""
	if t.Verdict != ledger.NoVerdict {
		t.Verdict = ledger.Undecided
	}
}

// Words says a take for people in the unit they read.
func Words(t *ledger.Take, unit quantity.Unit) string {
	if t.Ruled || unit == t.Unit || len(t.Budget) == 0 {
		return t.Say
	}
	return metrology.WordsKept(unit, t)
}

// limitsOf are the limits a result is held against. Of what cannot be negative
// a lower limit of 0 or less is open.
func limitsOf(spec method.Spec) metrology.Limits {
	if spec.Method == method.Size || spec.Method == method.Derived {
		return spec.Limits
	}
	return spec.Limits.OpenLow()
}

func budgetLines(b metrology.Budget, spec method.Spec) []ledger.BudgetLine {
	lines := make([]ledger.BudgetLine, len(b))
	for i, p := range b {
		lines[i] = ledger.BudgetLine{
			Part: p.Name, Value: p.Value, Unit: spec.Unit, Distribution: p.Shape.String(),
			Divisor: p.Divisor, U: p.U, Dof: p.Dof,
		}
	}
	return lines
}

// after decides what is measured next.
func (c *Capture) after(t *ledger.Take, res *method.Result, out *Out) {
	if adjustable(t.Method) {
		judge := c.judged(c.at, t)
		c.adjust.inBand = c.unlocked() && judge.InBand()
		if judge.Verdict != ledger.Pass && judge.Verdict != ledger.NoVerdict {
			c.stay(judge, res, out)
			return
		}
	}
	if c.sheet.Loose {
		before := c.spec
		c.wait(before, res, out)
		return
	}
	c.announce(c.nextPlace(c.at), res, out)
}

// stampOf is the moment t seconds on the elapsed scale; the wall time follows
// from the message that is being worked on.
func (c *Capture) stampOf(t float64) ledger.Stamp {
	e := int64(math.Round(t * 1e6))
	return ledger.Stamp{Elapsed: e, Wall: c.now.Wall - (c.now.Elapsed - e)}
}

// step is the gauge's, in the check's unit: the declared one, else what the
// readings have shown.
func (c *Capture) step() float64 {
	if s := c.spec.Gauge.Step; s > 0 {
		return s
	}
	return c.main.digit * c.remember(c.spec.Gauge.Name).Ratio()
}
