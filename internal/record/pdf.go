package record

import (
	"fmt"
	"io"
	"strings"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
)

// pdf is a record on its way onto paper.
type pdf struct {
	*fpdf.Fpdf
	r      *Record
	width  float64 // of the text, mm
	bottom float64 // where the text of a page ends, mm from its top
}

const pdfFont = "sans"

// Margins of a page, mm.
const (
	pdfSide = 17.0
	pdfHead = 17.0
	pdfFoot = 19.0
)

// PDF writes the record on paper of the asked size, with embedded fonts, drawings
// as lines, bookmarks and page numbers.
func (r *Record) PDF(w io.Writer, o Options) error {
	paper, ok := papers[o.Paper]
	if !ok {
		return fmt.Errorf("paper %q: expected a4 or letter", o.Paper)
	}
	p := &pdf{Fpdf: fpdf.New("P", "mm", paper, ""), r: r}
	p.SetCompression(true)
	p.SetCatalogSort(true) // the same record gives the same bytes
	p.SetCreationDate(o.Made)
	p.SetModificationDate(o.Made)
	p.AddUTF8FontFromBytes(pdfFont, "", liberationsansregular.TTF)
	p.AddUTF8FontFromBytes(pdfFont, "B", liberationsansbold.TTF)
	p.SetTitle(flat(r.Title()), true)
	p.SetSubject("Record of measurement, job "+flat(r.Number), true)
	p.SetAuthor(flat(strings.Join(r.Operators, ", ")), true)
	p.SetCreator("Thouwright", true)
	p.SetLang("en")
	p.SetMargins(pdfSide, pdfHead, pdfSide)
	p.SetAutoPageBreak(false, 0) // the flow breaks pages itself
	p.SetCellMargin(0)
	width, height := p.GetPageSize()
	p.width, p.bottom = width-2*pdfSide, height-pdfFoot
	p.AliasNbPages("")
	p.SetFooterFunc(p.foot)
	p.AddPage()
	p.owner()
	p.AddPage()
	p.mechanic()
	p.closing(o.Made)
	if err := p.Error(); err != nil {
		return fmt.Errorf("pdf: %w", err)
	}
	return p.Output(w)
}

// Title is what the document is called.
func (r *Record) Title() string {
	s := "Job " + r.Number
	if r.Machine != "" {
		s += ": " + r.Machine
	}
	if r.Assembly != "" {
		s += ", " + r.Assembly
	}
	return s
}

// foot is the line at the foot of each page.
func (p *pdf) foot() {
	_, height := p.GetPageSize()
	y := height - 12
	p.rule(y-4, hair, 0.15)
	numbers := fmt.Sprintf("page %d of 00", p.PageNo())
	p.set(fine)
	p.Text(pdfSide, y, p.cut(p.r.Title(), p.width-p.GetStringWidth(numbers)-6))
	p.Text(pdfSide+p.width-p.GetStringWidth(numbers), y, fmt.Sprintf("page %d of {nb}", p.PageNo()))
}

// flat keeps control characters and marks of direction from moving text about.
// What the fonts of a PDF cannot count is a question mark.
func flat(s string) string {
	return strings.Map(func(c rune) rune {
		switch {
		case c < ' ' || c == 0x7f || c >= 0x80 && c < 0xa0 || c == 0x2028 || c == 0x2029:
			return ' '
		case c >= 0x200b && c <= 0x200f, c >= 0x202a && c <= 0x202e, c >= 0x2060 && c <= 0x206f, c == 0x061c, c == 0xfeff:
			return -1
		case c > 0xffff:
			return '?'
		}
		return c
	}, s)
}
