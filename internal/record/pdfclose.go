package record

import (
	"fmt"
	"strings"
	"time"

	"thouwright/internal/ledger"
)

// closing is sums, gauges, what was redone, what happened, and the proof.
func (p *pdf) closing(made time.Time) {
	p.sums()
	p.gauges()
	p.list("Left out and done over", 1, p.r.Redone())
	p.happened()
	p.proof(made)
}

// Closing says when a document was made, of what, and what it is not. The PDF
// has it above the tables of its proof: alone it could come to stand on a page
// of its own.
func Closing(r *Record, made time.Time) string {
	return "Made on " + made.Format("2006-01-02 15:04:05 UTC") + " from the logs of job " + r.Number + ". A pass is about the measured dimensions only."
}

// SumText is a sum that was used, ready to be read.
type SumText struct {
	Title, Stage, Text, Formula, Source, Command string
	Given, Results                               [][2]string
	Notes                                        []string
}

// Sums are the sums that failed takes asked for, each once, and those that were
// kept with the job.
func (r *Record) Sums() (out []SumText) {
	seen := map[string]bool{}
	for _, a := range r.Advice {
		key := a.Stage + "\x00" + a.Text
		if seen[key] {
			continue
		}
		seen[key] = true
		s := SumText{Title: "calc " + a.Verb, Stage: a.Stage, Text: sentence(a.Text), Command: a.Command}
		if x := a.Answer; x != nil {
			s.Title, s.Formula, s.Source = x.Title, x.Formula, x.Source
			for _, g := range x.Given {
				s.Given = append(s.Given, [2]string{g.Label, spoken(g.Text)})
			}
			for _, v := range x.Results {
				if !v.Quiet {
					s.Results = append(s.Results, [2]string{strings.TrimSuffix(v.Label, ", between"), spoken(v.Say(x.Unit))})
				}
			}
			for _, n := range append(append([]string{}, x.Notes...), x.Assumes...) {
				s.Notes = append(s.Notes, sentence(n))
			}
		}
		out = append(out, s)
	}
	for _, f := range r.Kept {
		title, text, _ := strings.Cut(f.Words, ". ")
		s := SumText{Title: title, Text: sentence(text), Notes: []string{sentence("kept with the job" + prefixed(" at ", f.Place))}}
		if !f.When.IsZero() {
			s.Notes = []string{sentence("kept with the job, " + f.When.Format("2006-01-02 15:04 UTC") + prefixed(", at ", f.Place))}
		}
		out = append(out, s)
	}
	return out
}

// spoken writes a range of numbers in words.
func spoken(s string) string {
	if strings.HasPrefix(s, "..") {
		return "up to " + s[2:]
	}
	return strings.ReplaceAll(s, "..", " to ")
}

func (p *pdf) sums() {
	all := p.r.Sums()
	if len(all) == 0 {
		return
	}
	p.heading("The sums that were used", 1, 40)
	for _, s := range all {
		p.heading(s.Title+prefixed(", ", s.Stage), 2, 14)
		p.para(pdfSide, p.width, small, s.Text)
		p.SetY(p.GetY() + 1)
		if s.Formula != "" {
			p.labelled(44, soft, "formula", small, s.Formula)
			p.labelled(44, soft, "source", small, s.Source)
		}
		for _, g := range s.Given {
			p.pair("given: "+g[0], g[1])
		}
		for _, v := range s.Results {
			p.pair(v[0], v[1])
		}
		for _, n := range s.Notes {
			p.para(pdfSide, p.width, soft, n)
		}
		if s.Command != "" {
			p.labelled(44, soft, "as a command", small, s.Command)
		}
	}
}

// pair is a label that may be long beside a text.
func (p *pdf) pair(label, text string) {
	const at = 78.0
	a, b := p.wrap(soft, label, at-3), p.wrap(small, text, p.width-at)
	p.room(float64(max(len(a), len(b))) * small.lead())
	y := p.GetY()
	p.lines(pdfSide, soft, a)
	below := p.GetY()
	p.SetY(y)
	p.lines(pdfSide+at, small, b)
	p.SetY(max(below, p.GetY()))
}

// GaugeRow is a gauge's line: name, certificate, due, what is known of its error.
func (g Gauge) GaugeRow() [4]string {
	due := ""
	if !g.Due.IsZero() {
		due = g.Due.String()
	}
	var known []string
	add := func(label string, q interface{ String() string }, has bool) {
		if has {
			known = append(known, label+spoken(q.String()))
		}
	}
	add("step ", g.Step, g.Step != nil)
	add("range ", g.Range, g.Range != nil)
	add("error over its travel ", g.Error, g.Error != nil)
	if g.ErrorLocal != nil {
		known = append(known, "error of a difference "+g.ErrorLocal.String())
	}
	add("hysteresis ", g.Hysteresis, g.Hysteresis != nil)
	add("repeatability ", g.Repeatability, g.Repeatability != nil)
	if g.Error == nil && g.ErrorLocal == nil {
		known = append(known, "no error given: at least one step is charged")
	}
	return [4]string{g.Name, orElse(g.Certificate, "not given"), due, strings.Join(known, "; ")}
}

func (p *pdf) gauges() {
	if len(p.r.Gauges) == 0 {
		return
	}
	p.heading("Gauges", 1, 20)
	wide := p.width - 3*columnGap
	t := p.table(0.8, column{"gauge", wide * 0.17, false}, column{"certificate", wide * 0.17, false}, column{"due", wide * 0.16, false}, column{"what is known of it", wide * 0.5, false})
	for _, g := range p.r.Gauges {
		row := g.GaugeRow()
		due := of(small, row[2])
		if g.Overdue {
			due = append(due, piece{style: style{true, 8.3, failColour}, text: "past due when used"})
		}
		t.row(of(small, row[0]), of(small, row[1]), due, of(small, row[3]))
	}
}

// Redone lists the takes that others supersede, the rests that were left out of
// takes that count, and what was dropped before it became a take.
func (r *Record) Redone() (out []string) {
	for _, t := range r.AllTakes() {
		if t.Redone != 0 {
			out = append(out, fmt.Sprintf("Take %d (%s, %s) was done over as take %d.", t.Take.Take, placeText(t.Tag), t.Stands(), t.Redone))
		}
	}
	for _, t := range r.AllTakes() {
		var left []string
		for _, l := range t.Left {
			left = append(left, fmt.Sprintf("rest %d, %s", l.Rest, strings.TrimSuffix(orElse(l.Reason, "no reason kept"), ".")))
		}
		if len(left) > 0 {
			out = append(out, fmt.Sprintf("Take %d, left out: %s.", t.Take.Take, strings.Join(left, "; ")))
		}
	}
	for _, h := range r.Happened {
		if h.Kind == ledger.EvDropped {
			out = append(out, "Dropped before it became a take, "+h.When.Format("15:04:05")+": "+sentence(strings.ReplaceAll(h.Text, " / ", ", ")))
		}
	}
	return out
}

// Else is what happened besides.
func (r *Record) Else() (out []Happening) {
	for _, h := range r.Happened {
		if h.Kind != ledger.EvDropped {
			out = append(out, h)
		}
	}
	return out
}

func (p *pdf) happened() {
	all := p.r.Else()
	if len(all) == 0 {
		return
	}
	p.heading("What happened meanwhile", 1, 15)
	t := p.table(0.5, column{"", 33, false}, column{"", 24, false}, column{"", p.width - 57 - 2*columnGap, false})
	for _, h := range all {
		t.row(of(fineInk, h.When.Format("2006-01-02 15:04:05")), of(fineInk, string(h.Kind)), of(fineInk, h.Text))
	}
}

// Proven says whether the logs hold.
func (r *Record) Proven() string {
	if r.Holds {
		return "Every reading, rest, take and event of this job was written as it happened, each row chained to the one before. The chains were recomputed for this record and hold."
	}
	return "The chains were recomputed for this record and do not hold; see the first page."
}

func (p *pdf) proof(made time.Time) {
	p.heading("Proof", 1, 20)
	p.para(pdfSide, p.width, body, p.r.Proven())
	p.SetY(p.GetY() + 1)
	p.para(pdfSide, p.width, soft, Closing(p.r, made))
	p.SetY(p.GetY() + 1)
	t := p.table(0.4, column{"file", 46, false}, column{"what was verified", p.width - 46 - columnGap, false})
	for _, l := range p.r.Proof {
		name, text, _ := strings.Cut(l, ": ")
		t.row(of(fineInk, name), of(fineInk, text))
	}
	if len(p.r.Files) == 0 {
		return
	}
	p.SetY(p.GetY() + 2)
	t = p.table(0.4, column{"file that was used", 46, false}, column{"its SHA-256", p.width - 46 - columnGap, false})
	for _, f := range p.r.Files {
		t.row(of(fineInk, f.Name), of(fineInk, f.Sum))
	}
}
