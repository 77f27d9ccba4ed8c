package record

import (
	"fmt"
	"strings"

	"thouwright/internal/ledger"
)

// Count is how many places of a stage came out how.
type Count struct{ Pass, Fail, Undecided, Measured, Open int }

// Count counts the places of one stage; what has no limits is only measured.
func (r *Record) Count(stage int) (n Count) {
	for _, c := range r.Checks {
		for _, p := range c.Places {
			t := p.At[stage].Take
			switch {
			case t == nil:
				n.Open++
			case t.Verdict == ledger.Pass:
				n.Pass++
			case t.Verdict == ledger.Fail:
				n.Fail++
			case t.Verdict == ledger.Undecided:
				n.Undecided++
			default:
				n.Measured++
			}
		}
	}
	return n
}

// Summary says in plain words how the job stands, a sentence for each stage in
// which anything was measured.
func (r *Record) Summary() []string {
	var out []string
	for i, stage := range r.Stages {
		n := r.Count(i)
		made := n.Pass + n.Fail + n.Undecided + n.Measured
		if made == 0 {
			continue
		}
		var parts []string
		add := func(k int, one, many string) {
			if k == 1 {
				parts = append(parts, one)
			} else if k > 1 {
				parts = append(parts, fmt.Sprintf(many, k))
			}
		}
		add(n.Pass, "one is within its limits", "%d are within their limits")
		add(n.Fail, "one is not", "%d are not")
		add(n.Undecided, "one could not be decided with the gauge used", "%d could not be decided with the gauges used")
		add(n.Measured, "one has no limits", "%d have no limits")
		add(n.Open, "one was not measured", "%d were not measured")
		s := fmt.Sprintf("Of %d places, %s.", made+n.Open, strings.Join(parts, ", "))
		if stage != "" {
			s = strings.ToUpper(stage[:1]) + stage[1:] + ": " + strings.ToLower(s[:1]) + s[1:]
		}
		out = append(out, s)
	}
	return out
}

// Remains lists what is not within its limits at the last stage at which it was
// measured: what is left to do, and what to watch.
func (r *Record) Remains() []string {
	var out []string
	for _, c := range r.Checks {
		for _, p := range c.Places {
			t := p.Last()
			if t == nil || t.Verdict == ledger.Pass || t.Verdict == ledger.NoVerdict {
				continue
			}
			out = append(out, ledger.Place(t.Tag)+": "+t.Words)
		}
	}
	return out
}

// Last is a place's newest counting take, whatever its stage; nil for none.
func (p *Place) Last() *Take {
	for i := len(p.At) - 1; i >= 0; i-- {
		if p.At[i].Take != nil {
			return p.At[i].Take
		}
	}
	return nil
}

// TimesText says how many times the permitted upper limit a result is.
func (t *Take) TimesText() string {
	if t.Times == 0 {
		return ""
	}
	if t.Times < 0.95 || t.Times > 1.05 {
		return fmt.Sprintf("%.1f times the upper limit", t.Times)
	}
	return fmt.Sprintf("%.2f times the upper limit", t.Times)
}

// Worst is the take of a check that lies farthest towards or beyond its upper
// limit at a stage, with the spread over its positions; nil below two takes.
func (c *Check) Worst(stage int) (worst *Take, least, most float64) {
	n := 0
	for _, p := range c.Places {
		t := p.At[stage].Take
		if t == nil {
			continue
		}
		if n == 0 || t.Take.Result < least {
			least = t.Take.Result
		}
		if n == 0 || t.Take.Result > most {
			most, worst = t.Take.Result, t
		}
		n++
	}
	if n < 2 {
		return nil, 0, 0
	}
	return worst, least, most
}

// VariationText says how a check varies over its positions at a stage.
func (c *Check) VariationText(stage int) string {
	worst, least, most := c.Worst(stage)
	if worst == nil {
		return ""
	}
	v, _ := figures(most-least, worst.Take.U95, worst.Unit)
	return fmt.Sprintf("largest at %s; %s %s between the largest and the smallest", worst.Tag.Position, v.Text, v.Unit)
}
