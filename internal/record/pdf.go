package record

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"

	"thouwright/internal/ledger"
)

// Colours of the document: ink, soft ink, the permitted band and its edge.
var (
	pdfInk  = [3]int{0x1d, 0x27, 0x33}
	pdfSoft = [3]int{0x5a, 0x66, 0x75}
	pdfBand = [3]int{0xd7, 0xe6, 0xdc}
	pdfEdge = [3]int{0x2f, 0x6b, 0x4a}
	pdfWord = map[ledger.Verdict][3]int{
		ledger.Pass: {0x1d, 0x5c, 0x3c}, ledger.Fail: {0x9a, 0x28, 0x18}, ledger.Undecided: {0x6b, 0x4c, 0x00}, ledger.NoVerdict: pdfSoft,
	}
)

// pdf is a record on its way onto paper.
type pdf struct {
	*fpdf.Fpdf
	r      *Record
	width  float64 // of the text, mm
	bottom float64 // where the text of a page ends, mm from its top
}

const pdfFont = "sans"

// pdfFoot is the margin below the text, mm.
const pdfFoot = 18.0

// room begins a new page unless so many mm are left on this one.
func (p *pdf) room(mm float64) {
	if p.GetY() > p.bottom-mm {
		p.AddPage()
	}
}

// PDF writes the record on paper of the asked size, with embedded fonts, bookmarks and page numbers.
func (r *Record) PDF(w io.Writer, o Options) error {
	paper, ok := papers[o.Paper]
	if !ok {
		return fmt.Errorf("paper %q: expected a4 or letter", o.Paper)
	}
	p := &pdf{Fpdf: fpdf.New("P", "mm", paper, ""), r: r}
	p.SetCompression(true)
	p.SetCreationDate(o.Made)
	p.SetModificationDate(o.Made)
	p.AddUTF8FontFromBytes(pdfFont, "", liberationsansregular.TTF)
	p.AddUTF8FontFromBytes(pdfFont, "B", liberationsansbold.TTF)
	p.SetTitle("Job "+flat(r.Number)+" "+flat(r.Machine), true)
	p.SetCreator("Thouwright", true)
	p.SetMargins(17, 16, 17)
	p.SetAutoPageBreak(true, pdfFoot)
	width, height := p.GetPageSize()
	p.width, p.bottom = width-34, height-pdfFoot
	p.AliasNbPages("")
	p.SetFooterFunc(func() {
		p.SetY(-13)
		p.font("", 8, pdfSoft)
		p.CellFormat(0, 5, fmt.Sprintf("Job %s, page %d of {nb}", flat(r.Number), p.PageNo()), "", 0, "R", false, 0, "")
	})
	p.AddPage()
	p.owner()
	p.AddPage()
	p.mechanic(o.Made)
	if err := p.Error(); err != nil {
		return fmt.Errorf("pdf: %w", err)
	}
	return p.Output(w)
}

// flat keeps control characters and marks of direction from moving text about.
func flat(s string) string {
	return strings.Map(func(c rune) rune {
		switch {
		case c < ' ' || c == 0x7f:
			return ' '
		case c >= 0x200e && c <= 0x200f, c >= 0x202a && c <= 0x202e, c >= 0x2066 && c <= 0x2069, c > 0xffff:
			return -1
		}
		return c
	}, s)
}

func (p *pdf) font(style string, size float64, c [3]int) {
	p.SetFont(pdfFont, style, size)
	p.SetTextColor(c[0], c[1], c[2])
}

func (p *pdf) para(style string, size float64, c [3]int, text string) {
	p.font(style, size, c)
	p.MultiCell(0, size*0.46, flat(text), "", "L", false)
}

func (p *pdf) heading(text string, level int) {
	p.room(29)
	p.Ln(3)
	p.Bookmark(flat(text), level, -1)
	p.para("B", 13-2*float64(level), pdfInk, text)
	if level == 0 {
		y := p.GetY() + 1
		p.SetDrawColor(pdfInk[0], pdfInk[1], pdfInk[2])
		p.SetLineWidth(0.4)
		p.Line(17, y, 17+p.width, y)
		p.Ln(3)
	}
}

// owner is the part for the owner of the machine.
func (p *pdf) owner() {
	r := p.r
	p.Bookmark("The job in short", 0, -1)
	p.para("B", 19, pdfInk, orElse(r.Machine, "Job "+r.Number))
	if r.Assembly != "" {
		p.para("", 12, pdfInk, r.Assembly)
	}
	p.Ln(2)
	for _, l := range [][2]string{{"Job", r.Number}, {"For", r.Customer}, {"Measured by", strings.Join(r.Operators, ", ")}, {"On", r.days()}} {
		if l[1] == "" {
			continue
		}
		p.font("", 10, pdfSoft)
		p.CellFormat(28, 5, l[0], "", 0, "L", false, 0, "")
		p.font("", 10, pdfInk)
		p.MultiCell(0, 5, flat(l[1]), "", "L", false)
	}
	p.Ln(2)
	if !r.Holds {
		p.para("B", 12, pdfWord[ledger.Fail], "The logs behind this record do not hold: they were changed, damaged or are not complete, so nothing below is proved by them.")
		for _, t := range r.Trouble {
			p.para("", 9, pdfWord[ledger.Fail], t)
		}
	}
	for _, s := range r.Summary() {
		p.para("", 10.5, pdfInk, s)
	}
	p.Ln(2)
	for _, c := range r.Checks {
		for _, pl := range c.Places {
			for i := range pl.At {
				p.outcome(pl, &pl.At[i])
			}
		}
	}
	p.list("What remains, and what to watch", r.Remains())
	var next []string
	for _, a := range r.Advice {
		next = append(next, a.Text)
	}
	p.list("The next step", next)
	var found []string
	for _, f := range r.Findings {
		found = append(found, strings.TrimPrefix(f.Place+": "+f.Words, ": "))
	}
	p.list("What no gauge sees", found)
	p.list("Take care", r.Cautions)
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

func (p *pdf) list(title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	p.heading(title, 0)
	for _, l := range lines {
		p.para("", 9.5, pdfInk, "– "+l)
		p.Ln(0.6)
	}
}

// outcome is one place at one stage: what, how much, the verdict and the drawing.
func (p *pdf) outcome(pl *Place, o *Outcome) {
	p.room(17)
	y := p.GetY()
	what := pl.Check.Component + ", " + pl.Check.Name
	if pl.Position != "" {
		what += ", " + pl.Position
	}
	if o.Stage != "" {
		what += " (" + o.Stage + ")"
	}
	p.font("", 9.5, pdfInk)
	p.SetXY(17, y)
	p.MultiCell(62, 4.4, flat(what), "", "L", false)
	below := p.GetY()
	p.font("", 8.5, pdfSoft)
	p.SetXY(17, below)
	p.MultiCell(62, 4, flat(o.Limits.Text), "", "L", false)
	below = p.GetY()
	if t := o.Take; t != nil {
		p.font("B", 10, pdfWord[t.Verdict])
		p.SetXY(82, y)
		p.CellFormat(26, 4.6, verdictWord(t.Verdict), "", 0, "L", false, 0, "")
		p.font("", 9.5, pdfInk)
		p.CellFormat(40, 4.6, t.figureText(), "", 0, "L", false, 0, "")
		p.font("", 8.5, pdfSoft)
		p.SetXY(108, y+4.4)
		p.CellFormat(40, 4, t.otherText(), "", 0, "L", false, 0, "")
		p.SetXY(82, y+8.6)
		p.CellFormat(66, 4, t.TimesText(), "", 0, "L", false, 0, "")
		p.scale(152, y+1, 41, pl.Scale(o))
	} else {
		p.font("", 9, pdfSoft)
		p.SetXY(82, y)
		p.CellFormat(40, 4.6, "not measured", "", 0, "L", false, 0, "")
	}
	y = max(below, y+12) + 1.5
	p.SetDrawColor(0xc9, 0xcf, 0xd6)
	p.SetLineWidth(0.15)
	p.Line(17, y, 17+p.width, y)
	p.SetXY(17, y+1.5)
}

func (t *Take) figureText() string {
	s := t.Result.Text
	if t.U95.Text != "" {
		s += " ± " + t.U95.Text
	}
	return strings.TrimSpace(s + " " + t.Unit.String())
}

func (t *Take) otherText() string {
	if t.Result.Other == "" {
		return ""
	}
	s := t.Result.Other
	if t.U95.Other != "" {
		s += " ± " + t.U95.Other
	}
	return s + " " + t.Result.OtherUnit.String()
}

// scale draws a result against its permitted range.
func (p *pdf) scale(x, y, w float64, s Scale) {
	at := func(v float64) float64 { return x + v*w }
	p.SetFillColor(pdfBand[0], pdfBand[1], pdfBand[2])
	p.Rect(at(s.Low), y+2, (s.High-s.Low)*w, 5, "F")
	p.SetDrawColor(pdfEdge[0], pdfEdge[1], pdfEdge[2])
	p.SetLineWidth(0.4)
	if !s.OpenLow {
		p.Line(at(s.Low), y+1, at(s.Low), y+8)
	}
	if !s.OpenHigh {
		p.Line(at(s.High), y+1, at(s.High), y+8)
	}
	p.SetDrawColor(pdfInk[0], pdfInk[1], pdfInk[2])
	p.SetLineWidth(0.2)
	p.Line(x, y+7, x+w, y+7)
	p.SetLineWidth(0.7)
	p.Line(at(s.From), y+4.5, at(s.To), y+4.5)
	p.Line(at(s.Value), y+2.6, at(s.Value), y+6.4)
}

// mechanic is the part for who works on it next.
func (p *pdf) mechanic(made time.Time) {
	p.para("B", 17, pdfInk, "For the next mechanic")
	for _, c := range p.r.Checks {
		p.heading(c.Component+": "+c.Name, 0)
		var facts []string
		for _, f := range [][2]string{{"method ", c.Method}, {"limits from ", c.Source}, {"fit ", c.Fit}, {"condition ", c.Condition}, {"worked out as ", c.Expression}} {
			if f[1] != "" {
				facts = append(facts, f[0]+f[1])
			}
		}
		p.para("", 9, pdfSoft, strings.Join(facts, "; "))
		for i, stage := range p.r.Stages {
			if v := c.VariationText(i); v != "" {
				p.para("", 9.5, pdfInk, strings.TrimPrefix(stage+": "+v, ": "))
			}
		}
		for _, pl := range c.Places {
			for i := range pl.At {
				for _, t := range pl.At[i].Earlier {
					p.take(t)
				}
				if t := pl.At[i].Take; t != nil {
					p.take(t)
				}
			}
		}
	}
	p.closing(made)
}

// take is one take with its plot and its budget.
func (p *pdf) take(t *Take) {
	p.room(89)
	title := fmt.Sprintf("Take %d", t.Take.Take)
	for _, s := range []string{t.Tag.Position, t.Tag.Stage} {
		if s != "" {
			title += ", " + s
		}
	}
	p.heading(title+": "+verdictWord(t.Verdict), 1)
	if t.Redone != 0 {
		p.para("", 9, pdfSoft, fmt.Sprintf("superseded by take %d", t.Redone))
	}
	p.para("", 9.5, pdfInk, t.Words)
	if t.Note != "" {
		p.para("", 9, pdfSoft, t.Note)
	}
	p.para("", 9, pdfInk, fmt.Sprintf("Result %s; permitted %s. Within %s, below %s, above %s; confidence asked %s.",
		t.figureText(), orElse(t.Limits.Text, "without limits"), percent(t.PIn), percent(t.PBelow), percent(t.PAbove), ledger.Number(t.Confidence)))
	p.para("", 9, pdfInk, fmt.Sprintf("Gauge %s; %d strokes used, %d left out; readings %d to %d; %s%s.",
		orElse(t.Gauge, "none"), t.Strokes, t.LeftOut, t.FirstSeq, t.LastSeq, t.At.Time().Format("2006-01-02 15:04:05 UTC"), prefixed(", by ", t.Operator)))
	p.plot(t)
	for _, b := range t.Budget {
		p.font("", 8.5, pdfSoft)
		_, u := figures(b.Value, b.U, b.Unit)
		p.CellFormat(60, 4, flat(b.Part), "", 0, "L", false, 0, "")
		p.CellFormat(36, 4, b.Distribution, "", 0, "L", false, 0, "")
		p.CellFormat(0, 4, "u = "+u.Text+" "+b.Unit.String(), "", 1, "L", false, 0, "")
	}
	for _, x := range t.Rests {
		if x.Reason != "" {
			p.para("", 8.5, pdfSoft, fmt.Sprintf("rest %d left out: %s", x.Rest, x.Reason))
		}
	}
}

func prefixed(prefix, s string) string {
	if s == "" {
		return ""
	}
	return prefix + s
}

// plot puts a take's plot under what was written.
func (p *pdf) plot(t *Take) {
	pl, err := p.r.plotOf(t)
	if err != nil {
		p.SetError(err)
		return
	}
	if pl == nil {
		return
	}
	c := vgimg.NewWith(vgimg.UseWH(plotWidth, plotHeight), vgimg.UseDPI(160))
	pl.Draw(draw.New(c))
	var b bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(&b); err != nil {
		p.SetError(err)
		return
	}
	name := fmt.Sprintf("take%p", t)
	opt := fpdf.ImageOptions{ImageType: "PNG"}
	p.RegisterImageOptionsReader(name, opt, &b)
	p.ImageOptions(name, 17, p.GetY()+1, p.width, 0, true, opt, 0, "")
	p.Ln(1)
}

// closing is gauges, what happened, and the proof.
func (p *pdf) closing(made time.Time) {
	var lines []string
	for _, g := range p.r.Gauges {
		s := g.Name + ": certificate " + orElse(g.Certificate, "none given")
		if !g.Due.IsZero() {
			s += ", due " + g.Due.String()
		}
		if g.Overdue {
			s += " (past due when used)"
		}
		lines = append(lines, s)
	}
	p.list("Gauges", lines)
	lines = nil
	for _, a := range p.r.Advice {
		lines = append(lines, a.Text+" ("+a.Command+")")
	}
	p.list("Sums", lines)
	lines = nil
	for _, h := range p.r.Happened {
		lines = append(lines, h.When.Format("2006-01-02 15:04:05 UTC")+" "+string(h.Kind)+": "+h.Text)
	}
	p.list("What happened meanwhile", lines)
	p.list("Proof", p.r.Proof)
	p.para("", 8.5, pdfSoft, "Made on "+made.Format("2006-01-02 15:04:05 UTC")+". ± is the uncertainty at 95 % (JCGM 100). A pass says that the true value lies within the limits with the stated confidence (JCGM 106).")
}
