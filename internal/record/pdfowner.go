package record

import (
	"slices"
	"strings"

	"thouwright/internal/ledger"
)

// owner is the part for the owner of the machine.
func (p *pdf) owner() {
	r := p.r
	p.masthead()
	if !r.Holds {
		p.alarm()
	}
	for _, s := range r.InShort() {
		p.passage(s)
	}
	p.results()
	if s := r.Legend(); s != "" {
		p.SetY(p.GetY() + 1.2)
		p.para(pdfSide, p.width, soft, s)
	}
	p.list("What remains", 1, r.Remains())
	p.list("The next step", 1, r.Steps())
	p.list("What to watch", 1, r.Watch())
	p.findings()
	p.list("Take care", 1, r.Cautions)
}

// masthead is who, what, when.
func (p *pdf) masthead() {
	r := p.r
	p.Bookmark("For the owner", 0, 0)
	p.rule(p.GetY(), inkColour, 0.9)
	p.SetY(p.GetY() + 2.2)
	label := style{true, 8.3, softColour}
	y := p.GetY()
	p.lines(pdfSide, label, []string{"RECORD OF MEASUREMENT"})
	p.set(label)
	job := p.cut("JOB "+r.Number, p.width/2)
	p.Text(pdfSide+p.width-p.GetStringWidth(job), y+0.73*label.lead(), job)
	p.SetY(p.GetY() + 2.4)
	p.para(pdfSide, p.width, title, orElse(r.Machine, "Job "+r.Number))
	if r.Assembly != "" {
		p.para(pdfSide, p.width, subtitle, r.Assembly)
	}
	p.SetY(p.GetY() + 2.5)
	for _, l := range r.Head() {
		p.labelled(24, soft, l[0], body, l[1])
	}
	if boxes(r.written()...) {
		p.para(pdfSide, p.width, soft, "Some characters of this job's names or notes are not in this paper's typeface and stand as boxes or question marks. The .html form and the logs have them.")
	}
	p.SetY(p.GetY() + 2)
	p.rule(p.GetY(), hair, 0.2)
	p.SetY(p.GetY() + 2.5)
}

// Head is who it is for, who measured and when, a label and a text each.
func (r *Record) Head() (out [][2]string) {
	for _, l := range [][2]string{{"For", r.Customer}, {"Job", r.Number}, {"Measured by", strings.Join(r.Operators, ", ")}, {"On", r.days()}, {"Conditions", r.Conditions}} {
		if l[1] != "" {
			out = append(out, l)
		}
	}
	return out
}

// labelled is a label beside a text.
func (p *pdf) labelled(at float64, ls style, label string, s style, text string) {
	lines := p.wrap(s, text, p.width-at)
	p.room(float64(min(len(lines), 4)) * s.lead())
	p.set(ls)
	p.Text(pdfSide, p.GetY()+0.73*s.lead(), label)
	p.para(pdfSide+at, p.width-at, s, text)
}

// alarm says that the logs do not hold.
func (p *pdf) alarm() {
	bold := style{true, 11, failColour}
	head := p.wrap(bold, "The logs behind this record do not hold.", p.width-8)
	text := p.wrap(body.in(failColour), "They were changed, damaged or are not complete, so nothing below is proved by them.", p.width-8)
	var trouble []string
	for _, t := range p.r.Trouble {
		if len(trouble) < 12 {
			trouble = append(trouble, p.wrap(soft.in(failColour), t, p.width-8)...)
		}
	}
	tall := float64(len(head))*bold.lead() + float64(len(text))*body.lead() + float64(len(trouble))*soft.lead() + 5
	p.room(tall)
	y := p.GetY()
	p.SetDrawColor(int(failColour.R), int(failColour.G), int(failColour.B))
	p.SetLineWidth(0.5)
	p.Rect(pdfSide, y, p.width, tall, "D")
	p.SetY(y + 2.5)
	p.lines(pdfSide+4, bold, head)
	p.lines(pdfSide+4, body.in(failColour), text)
	p.lines(pdfSide+4, soft.in(failColour), trouble)
	p.SetY(y + tall + 4)
}

func (p *pdf) passage(s Passage) {
	for i, l := range s.Lines {
		label := ""
		if i == 0 {
			label = s.Label
		}
		p.labelled(24, strong, label, body, l)
		p.SetY(p.GetY() + 0.6)
	}
	p.SetY(p.GetY() + 0.8)
}

// days is when the job was measured.
func (r *Record) days() string {
	if r.From.IsZero() {
		return ""
	}
	a, b := r.From.Format("2 January 2006"), r.To.Format("2 January 2006")
	if a == b {
		return a
	}
	return a + " to " + b
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// Legend explains to the owner what the table of results shows: its figures, its
// verdicts and, where there are any, its hollow marks. It is "" for a job without
// a take.
func (r *Record) Legend() string {
	if len(r.AllTakes()) == 0 {
		return ""
	}
	s := "±: how far the true value may lie from the measured one, with 95 % probability. "
	if slices.ContainsFunc(r.Checks, func(c *Check) bool { return c.Rule == simpleRule }) {
		s += "Some verdicts compare the result alone with the limits; the next mechanic's pages name them."
	} else {
		s += "Pass and fail are said with that counted in; where neither can be said, it is undecided."
	}
	for _, p := range r.allPlaces() {
		for i := range p.At {
			if p.At[i].Before() != nil {
				return s + " A hollow mark is the value before adjusting."
			}
		}
	}
	return s
}

// sideBySide is how many stages stand beside each other on paper; more stand one
// below the other.
const sideBySide = 2

// results is the table of what was measured: a row a place, its stages beside
// each other.
func (p *pdf) results() {
	r := p.r
	if len(r.Checks) == 0 {
		return
	}
	p.SetY(p.GetY() + 2)
	stages := r.Shown()
	if len(stages) == sideBySide {
		each := (p.width - 52 - 2*columnGap) / sideBySide
		t := p.table(1.6, column{"what was measured, and what is permitted", 52, false}, column{r.Stages[stages[0]], each, false}, column{r.Stages[stages[1]], each, false})
		p.rows(t, func(pl *Place) [][]piece {
			what := append(of(body, pl.Name()), permitted(pl)...)
			return [][]piece{what, p.outcome(&pl.At[stages[0]], pl, each), p.outcome(&pl.At[stages[1]], pl, each)}
		})
		return
	}
	t := p.table(1.6, column{"what was measured", 48, false}, column{"permitted", 34, false}, column{"result", 39, false},
		column{"to scale: green is permitted, the bar is the result with its uncertainty", p.width - 121 - 3*columnGap, false})
	p.rows(t, func(pl *Place) [][]piece {
		last := &pl.At[len(pl.At)-1]
		if len(stages) == 1 {
			last = &pl.At[stages[0]]
		}
		return [][]piece{named(pl, last), permitted(pl), p.outcome(last, pl, 0), {{pic: drawn(pl, last)}}}
	})
}

// rows writes the places, grouped by component. With three stages or more each
// has a row of its own.
func (p *pdf) rows(t *table, row func(*Place) [][]piece) {
	stages := p.r.Shown()
	component := ""
	for i, c := range p.r.Checks {
		if i == 0 || c.Component != component {
			component = c.Component
			t.name(orElse(component, "Without a job sheet"))
		}
		for _, pl := range c.Places {
			if len(stages) <= sideBySide {
				t.row(row(pl)...)
				continue
			}
			for n, s := range stages {
				o := &pl.At[s]
				var name []piece
				if n == 0 {
					name = of(body, pl.Name())
				}
				if name = append(name, piece{style: soft, text: o.Stage}); o.Take != nil {
					name = append(name, verdict(o.Take))
				}
				t.row(name, of(small, o.Limits.Text), p.outcome(o, pl, 0), []piece{{pic: drawn(pl, o)}})
			}
		}
	}
}

// Shown are the stages at which anything was measured; the first where nothing
// was.
func (r *Record) Shown() (out []int) {
	for i := range r.Stages {
		for _, p := range r.allPlaces() {
			if p.At[i].Take != nil {
				out = append(out, i)
				break
			}
		}
	}
	if out == nil {
		out = []int{0}
	}
	return out
}

func drawn(pl *Place, o *Outcome) func(float64) picture {
	return func(width float64) picture { return scaleOf(pl, o, points(width)) }
}

// permitted are a place's limits; where stages have their own, each.
func permitted(pl *Place) (out []piece) {
	for _, l := range pl.Permitted() {
		if l.Stage != "" {
			out = append(out, piece{style: small, text: l.Stage + ": " + l.Limits.Both()})
			continue
		}
		out = append(out, piece{style: small, text: l.Limits.Text})
		if l.Limits.Other != "" {
			out = append(out, piece{style: soft, text: l.Limits.Other})
		}
	}
	return out
}

// StageLimits are the limits at a stage; Stage is "" where all share them.
type StageLimits struct {
	Stage  string
	Limits Limits
}

// Permitted are a place's limits, once where all stages share them.
func (p *Place) Permitted() (out []StageLimits) {
	differ := false
	for i := range p.At {
		differ = differ || p.At[i].Limits.Text != p.At[0].Limits.Text
	}
	for i := range p.At {
		o := &p.At[i]
		if o.Limits.Text == "" {
			continue
		}
		if !differ {
			return []StageLimits{{"", o.Limits}}
		}
		out = append(out, StageLimits{o.Stage, o.Limits})
	}
	return out
}

// verdict is a verdict's word and mark.
func verdict(t *Take) piece {
	return piece{style: strong.in(verdictColour(t.Verdict)), text: verdictWord(t.Verdict), mark: t.Verdict}
}

// named is a place's name with the verdict under it.
func named(pl *Place, o *Outcome) []piece {
	out := of(body, pl.Name())
	if o.Take != nil {
		out = append(out, verdict(o.Take))
	}
	return out
}

// outcome is a place at one stage: the result, how many times what is permitted
// it is and, where the stages stand side by side in columns of a width, the
// verdict before it and the drawing below.
func (p *pdf) outcome(o *Outcome, pl *Place, beside float64) []piece {
	t := o.Take
	if t == nil {
		return []piece{{style: soft, text: "not measured"}}
	}
	out := []piece{{style: body, text: t.Stands()}}
	if beside > 0 {
		v := verdict(t)
		p.set(strong)
		room := beside - markSize - 1.3 - p.GetStringWidth(v.text+"  ")
		p.set(body)
		if p.GetStringWidth(t.Stands()) <= room {
			v.tail, out = t.Stands(), nil
		}
		out = append([]piece{v}, out...)
	}
	if s := t.StandsOther(); s != "" {
		out = append(out, piece{style: soft, text: s})
	}
	if s := t.TimesText(); s != "" && t.Verdict != ledger.NoVerdict {
		out = append(out, piece{style: soft, text: s})
	}
	if b := o.Before(); b != nil {
		out = append(out, piece{style: soft, text: "before adjusting " + b.Stands()})
	}
	if beside > 0 {
		out = append(out, piece{pic: drawn(pl, o), gap: 0.8})
	}
	return out
}

// findings is what no gauge sees, with its photographs.
func (p *pdf) findings() {
	all := p.r.Findings
	if len(all) == 0 {
		return
	}
	p.heading("What no gauge sees", 1, 20)
	for _, f := range all {
		pic, kept := p.photograph(f.Photo)
		width := p.width
		if kept {
			width -= pic.width + 6
		}
		words := p.wrap(body, orElse(sentence(f.Words), "See the photograph."), width)
		where := p.wrap(soft, f.Where(), width)
		tall := float64(len(words))*body.lead() + float64(len(where))*soft.lead()
		missing := f.Photo != "" && !kept
		if missing {
			tall += soft.lead()
		}
		tall = max(tall, pic.height)
		p.room(tall + 3)
		y := p.GetY()
		p.lines(pdfSide, body, words)
		p.lines(pdfSide, soft, where)
		if missing {
			p.lines(pdfSide, soft, p.wrap(soft, "the photograph "+f.Photo+" is not in the job's folder, or is no picture", width)[:1])
		}
		if kept {
			p.image(pic, pdfSide+p.width-pic.width, y)
		}
		p.SetY(y + tall + 1.5)
		p.rule(p.GetY(), hair, 0.2)
		p.SetY(p.GetY() + 1.5)
	}
}

// Where is a finding's kind, place and time in words.
func (f Finding) Where() string {
	s := f.Kind
	if f.Place != "" {
		s += ": " + f.Place
	}
	if !f.When.IsZero() {
		s += ", " + f.When.Format("2006-01-02 15:04 UTC")
	}
	return s
}
