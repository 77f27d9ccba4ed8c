package record

import (
	"fmt"
	"strings"

	"thouwright/internal/ledger"
)

// mechanic is the part for who works on it next.
func (p *pdf) mechanic() {
	p.Bookmark("For the next mechanic", 0, 0)
	p.rule(p.GetY(), inkColour, 0.9)
	p.SetY(p.GetY() + 3)
	p.lines(pdfSide, style{true, 17, inkColour}, []string{"For the next mechanic"})
	p.SetY(p.GetY() + 1)
	p.para(pdfSide, p.width, soft, howToRead)
	p.SetY(p.GetY() + 1.5)
	p.labelled(26, soft, "conditions", small, p.r.Surroundings())
	if len(p.r.AllTakes()) == 0 {
		p.SetY(p.GetY() + 3)
		p.para(pdfSide, p.width, body, "No take was made in this job.")
	}
	for _, c := range p.r.Checks {
		p.check(c)
	}
}

// Surroundings are the conditions of the whole job, or that nobody noted them.
func (r *Record) Surroundings() string {
	return orElse(r.Conditions, "temperature and other conditions are not noted in the job sheet")
}

// howToRead explains what the figures mean.
const howToRead = "± is the expanded uncertainty at 95 % (JCGM 100), worked out part by part; the parts of each take stand under it. A verdict compares the result, with its uncertainty, with the limits (JCGM 106, ISO 14253-1). Numbers are rounded by their uncertainty (JCGM 100, 7.2.6); limits in the second unit are rounded into the permitted range. Sizes refer to 20 °C (ISO 1). Times are UTC."

// check is a check with its takes.
func (p *pdf) check(c *Check) {
	name := c.Component + ": " + c.Name
	if c.Component == "" {
		name = orElse(c.Name, "Takes without a job sheet")
	}
	made := c.made()
	need := 30.0
	if len(made) > 0 {
		need = p.takeHeight(made[0]) + 14
	}
	facts := c.Facts(p.r)
	for _, f := range facts {
		need += float64(len(p.wrap(small, f[1], p.width-26))) * small.lead()
	}
	p.heading(name, 1, min(need, p.bottom-pdfHead-30))
	for _, f := range facts {
		p.labelled(26, soft, f[0], small, f[1])
	}
	if v, ok := p.r.variationOf(c, points(p.width*0.82)); ok {
		p.room(mm(v.height) + 8)
		p.SetY(p.GetY() + 2)
		p.put(v, pdfSide, p.GetY())
		p.SetY(p.GetY() + mm(v.height) + 1)
	}
	for _, s := range c.Spreads() {
		p.para(pdfSide, p.width, small, s.Sentence())
	}
	for _, t := range made {
		p.take(t)
	}
	if len(made) == 0 {
		p.SetY(p.GetY() + 1.5)
		p.para(pdfSide, p.width, soft, "Not measured.")
	}
}

// made are all takes of a check, place by place in the order of the stages.
func (c *Check) made() (out []*Take) {
	for _, pl := range c.Places {
		for i := range pl.At {
			out = append(out, pl.At[i].Earlier...)
			if t := pl.At[i].Take; t != nil {
				out = append(out, t)
			}
		}
	}
	return out
}

// Facts are what a reader must know of a check before its takes, a label and a
// text each.
func (c *Check) Facts(r *Record) (out [][2]string) {
	add := func(label, text string) {
		if text != "" {
			out = append(out, [2]string{label, text})
		}
	}
	add("method", c.Method)
	if len(c.Places) > 0 {
		var limits []string
		for _, l := range c.Places[0].Permitted() {
			limits = append(limits, strings.TrimPrefix(l.Stage+": "+l.Limits.Both(), ": "))
		}
		add("permitted", strings.Join(limits, "; "))
	}
	add("fit", c.Fit)
	add("limits from", c.Source)
	if c.Expression != "" {
		add("worked out as", c.Expression)
	}
	for _, name := range []string{c.Gauge, c.Minus} {
		label := "gauge"
		if name == c.Minus {
			label = "subtracted"
		}
		if name != "" {
			add(label, r.gaugeText(name))
		}
	}
	add("condition", c.Condition)
	add("adjuster", c.Adjuster)
	add("decided by", c.Rule)
	return out
}

// gaugeText names a gauge with its certificate.
func (r *Record) gaugeText(name string) string {
	for _, g := range r.Gauges {
		if g.Name != name {
			continue
		}
		s := name + ", certificate " + orElse(g.Certificate, "not given")
		if !g.Due.IsZero() {
			s += ", due " + g.Due.String()
		}
		if g.Overdue {
			s += ": past due when used"
		}
		return s
	}
	return name
}

// Sizes of a take on paper, mm.
const (
	factsWide  = 66.0
	factLabel  = 20.0
	plotTall   = 42.0
	takeBefore = 3.5
)

// Rows are a take's facts, a label and a text each.
func (t *Take) Rows() (out [][2]string) {
	add := func(label, text string) {
		if text != "" {
			out = append(out, [2]string{label, text})
		}
	}
	add("result", t.Stands())
	add("", t.StandsOther())
	add("permitted", orElse(t.Limits.Text, "no limits"))
	add("", t.Limits.Other)
	if t.Limits.Text != "" {
		add("within", percent(t.PIn))
		add("below, above", percent(t.PBelow)+", "+percent(t.PAbove))
	}
	switch t.Method {
	case "derived":
	case "run-out", "drag":
		add("readings used", fmt.Sprintf("%d, %d left out", t.Strokes, t.LeftOut))
	case "size":
		add("gaugings used", fmt.Sprintf("%d, %d left out", t.Strokes, t.LeftOut))
	default:
		add("strokes used", fmt.Sprintf("%d, %d left out", t.Strokes, t.LeftOut))
		add("drift a minute", t.Drift.Both())
	}
	add("deg. of freedom", t.Freedom())
	for _, o := range t.Others {
		add(o.Name, o.Text())
	}
	if t.Redone != 0 {
		add("superseded", fmt.Sprintf("by take %d", t.Redone))
	}
	if t.Replaces != 0 {
		add("replaces", fmt.Sprintf("take %d", t.Replaces))
	}
	if t.Outcome == nil || t.Outcome.gauge != t.Gauge {
		add("gauge", t.Gauge)
	}
	add("made", t.At.Time().Format("2006-01-02 15:04:05")+prefixed(", ", t.Operator))
	source := ""
	if t.Sheet != 0 {
		source = fmt.Sprintf("; job sheet version %d", t.Sheet)
	}
	if t.FirstSeq != 0 {
		source = fmt.Sprintf("%d to %d", t.FirstSeq, t.LastSeq) + source
	}
	add("readings", strings.TrimPrefix(source, "; "))
	return out
}

// Title is a take's number, place and stage.
func (t *Take) Title() string {
	s := fmt.Sprintf("Take %d", t.Take.Take)
	for _, w := range []string{t.Tag.Position, t.Tag.Stage} {
		s += prefixed(", ", w)
	}
	return s
}

// Leading is what a take says in words, with its note.
func (t *Take) Leading() string {
	s := t.Words
	if n := t.Beside(); n != "" {
		s += " (" + n + ")"
	}
	return s
}

func (p *pdf) factsHeight(t *Take, wide float64) (h float64) {
	for _, f := range t.Rows() {
		h += float64(max(len(p.wrap(fine, f[0], factLabel-1)), len(p.wrap(fineInk, f[1], wide-factLabel)))) * fineInk.lead()
	}
	return h
}

// takeHeight is how much room a take needs.
func (p *pdf) takeHeight(t *Take) float64 {
	h := takeBefore + float64(len(p.wrap(second, t.Title(), p.width-32)))*second.lead() + 2
	h += float64(len(p.wrap(small, t.Leading(), p.width))) * small.lead()
	h += p.bodyHeight(t) + 2
	h += float64(len(t.Parts)+2)*(fineInk.lead()+0.7) + 3
	return h + float64(len(t.Left))*fineInk.lead()
}

func (p *pdf) bodyHeight(t *Take) float64 {
	if x := p.r.traces()[t.Take]; x == nil || len(x.b) == 0 {
		return p.factsHeight(t, p.width) / 2
	}
	return max(p.factsHeight(t, factsWide), plotTall+2*fine.lead())
}

// take is one take with its plot and its budget.
func (p *pdf) take(t *Take) {
	p.room(min(p.takeHeight(t), p.bottom-pdfHead))
	if p.GetY() > pdfHead+1 {
		p.SetY(p.GetY() + takeBefore)
	}
	p.rule(p.GetY(), hair, 0.3)
	p.SetY(p.GetY() + 1.5)
	y := p.GetY()
	p.Bookmark(flat(t.Title()+": "+verdictWord(t.Verdict)), 2, y)
	word := second.in(verdictColour(t.Verdict))
	p.set(word)
	x := pdfSide + p.width - p.GetStringWidth(verdictWord(t.Verdict))
	p.Text(x, y+0.73*word.lead(), verdictWord(t.Verdict))
	p.mark(t.Verdict, x-markSize-1.4, y+(word.lead()-markSize)/2, markSize)
	p.lines(pdfSide, second, p.wrap(second, t.Title(), p.width-32))
	p.lines(pdfSide, small, p.wrap(small, t.Leading(), p.width))
	p.SetY(p.GetY() + 1.5)
	y = p.GetY()
	pic, drawn := p.r.plotOf(t, points(p.width-factsWide-5), points(plotTall))
	if drawn {
		p.facts(pdfSide, factsWide, t.Rows())
		below := p.GetY()
		left := pdfSide + factsWide + 5
		p.put(pic, left, y)
		p.SetY(y + plotTall + 0.5)
		p.lines(left, fine, p.wrap(fine, t.Caption(), p.width-factsWide-5))
		p.SetY(max(below, p.GetY()))
	} else {
		rows := t.Rows()
		half := (len(rows) + 1) / 2
		p.facts(pdfSide, p.width/2-3, rows[:half])
		below := p.GetY()
		p.SetY(y)
		p.facts(pdfSide+p.width/2+3, p.width/2-3, rows[half:])
		p.SetY(max(below, p.GetY()))
	}
	p.budget(t)
	for _, l := range t.Left {
		p.para(pdfSide, p.width, fineInk, l.Text())
	}
}

// Text says what was left out, and why.
func (l Left) Text() string {
	return fmt.Sprintf("Rest %d, %s s after the first, left out: %s", l.Rest, l.After, orElse(l.Reason, "no reason kept"))
}

// facts are labels and texts in a column.
func (p *pdf) facts(x, width float64, rows [][2]string) {
	for _, f := range rows {
		s := fineInk
		if f[0] == "result" {
			s = fineBold
		}
		y := p.GetY()
		p.lines(x, fine, p.wrap(fine, f[0], factLabel-1))
		below := p.GetY()
		p.SetY(y)
		p.lines(x+factLabel, s, p.wrap(s, f[1], width-factLabel))
		p.SetY(max(below, p.GetY()))
	}
}

// budget is the table of a take's uncertainty.
func (p *pdf) budget(t *Take) {
	if len(t.Parts) == 0 {
		return
	}
	p.SetY(p.GetY() + 2)
	wide := p.width - 5*columnGap
	rows := p.table(0.35, column{"part of the uncertainty", wide * 0.25, false}, column{"given", wide * 0.14, true}, column{"distribution", wide * 0.14, false},
		column{"divisor", wide * 0.07, true}, column{"standard uncertainty", wide * 0.24, true}, column{"degrees of freedom", wide * 0.16, true})
	for _, b := range t.Parts {
		rows.row(of(fineInk, b.Name), of(fineInk, b.Given.Full()), of(fineInk, b.Distribution), of(fineInk, b.Divisor), of(fineInk, b.U.Both()), of(fineInk, b.Dof))
	}
	if t.U95.Text != "" {
		rows.row(of(fineBold, "together, at 95 %"), nil, nil, nil, of(fineBold, t.U95.Both()), of(fineBold, t.Freedom()))
	}
}

// verdictWord is a verdict as a document says it.
func verdictWord(v ledger.Verdict) string {
	if v == ledger.NoVerdict {
		return "measured"
	}
	return string(v)
}
