package record

import (
	"image/color"
	"strings"

	"thouwright/internal/ledger"
)

// style is how text is set.
type style struct {
	bold  bool
	size  float64 // points
	color color.RGBA
}

// The document's styles.
var (
	title    = style{true, 22, inkColour}
	subtitle = style{false, 12.5, inkColour}
	section  = style{true, 12.5, inkColour}
	second   = style{true, 10, inkColour}
	body     = style{false, 9.6, inkColour}
	strong   = style{true, 9.6, inkColour}
	small    = style{false, 8.3, inkColour}
	soft     = style{false, 8.3, softColour}
	fine     = style{false, 7.4, softColour}
	fineInk  = style{false, 7.6, inkColour}
	fineBold = style{true, 7.6, inkColour}
	hair     = hairColour
)

// in is a style in another colour.
func (s style) in(c color.RGBA) style { s.color = c; return s }

// lead is the distance from line to line, mm.
func (s style) lead() float64 {
	if s.size < 8 {
		return s.size * mmOfPoint * 1.24
	}
	return s.size * mmOfPoint * 1.3
}

func (p *pdf) set(s style) {
	weight := ""
	if s.bold {
		weight = "B"
	}
	p.SetFont(pdfFont, weight, s.size)
	p.SetTextColor(int(s.color.R), int(s.color.G), int(s.color.B))
}

func (p *pdf) rule(y float64, c color.RGBA, width float64) {
	p.SetDrawColor(int(c.R), int(c.G), int(c.B))
	p.SetLineWidth(width)
	p.Line(pdfSide, y, pdfSide+p.width, y)
}

// mostLines bounds one paragraph: a name of a thousand lines is no name.
const mostLines = 40

// wrap breaks a text into lines of a width; a word that is wider is broken.
func (p *pdf) wrap(s style, text string, width float64) (lines []string) {
	p.set(s)
	line, used := "", 0.0
	space := p.GetStringWidth(" ")
	push := func() {
		lines = append(lines, line)
		line, used = "", 0
	}
	for _, word := range strings.Fields(flat(text)) {
		w := p.GetStringWidth(word)
		if line != "" && used+space+w > width {
			push()
		}
		for w > width { // wider than a line
			n, part := 0, 0.0
			runes := []rune(word)
			for n < len(runes) {
				k := p.GetStringWidth(string(runes[n]))
				if part+k > width && n > 0 {
					break
				}
				part += k
				n++
			}
			lines = append(lines, string(runes[:n]))
			word = string(runes[n:])
			w = p.GetStringWidth(word)
			if word == "" {
				break
			}
		}
		switch {
		case word == "":
		case line == "":
			line, used = word, w
		default:
			line += " " + word
			used += space + w
		}
		if len(lines) > mostLines {
			lines = append(lines[:mostLines], "…")
			return lines
		}
	}
	if line != "" {
		push()
	}
	return lines
}

// cut shortens a text to one line of a width, in the style that is set.
func (p *pdf) cut(text string, width float64) string {
	text = flat(text)
	if p.GetStringWidth(text) <= width {
		return text
	}
	runes := []rune(text)
	for len(runes) > 0 && p.GetStringWidth(string(runes)+"…") > width {
		runes = runes[:len(runes)-1]
	}
	return strings.TrimRight(string(runes), " ") + "…"
}

// room begins a new page unless so many mm are left on this one.
func (p *pdf) room(mm float64) {
	if p.GetY()+mm > p.bottom && p.GetY() > pdfHead+1 {
		p.AddPage()
	}
}

// lines writes lines at x from the present height down, without breaking pages.
func (p *pdf) lines(x float64, s style, lines []string) {
	p.set(s)
	y := p.GetY()
	for _, l := range lines {
		y += s.lead()
		p.Text(x, y-0.27*s.lead(), l)
	}
	p.SetY(y)
}

// para writes a paragraph at x of a width, over pages where it must; one of few
// lines stays together.
func (p *pdf) para(x, width float64, s style, text string) {
	lines := p.wrap(s, text, width)
	if len(lines) <= 4 {
		p.room(float64(len(lines)) * s.lead())
		p.lines(x, s, lines)
		return
	}
	for _, l := range lines {
		p.room(s.lead())
		p.lines(x, s, []string{l})
	}
}

// heading is a bookmark and its line; need is how much of what follows must stand
// on the same page, mm.
func (p *pdf) heading(text string, level int, need float64) {
	s, above, below := section, 6.0, 2.6
	if level > 1 {
		s, above, below = second, 4.0, 1.2
	}
	lines := p.wrap(s, text, p.width)
	p.room(above + float64(len(lines))*s.lead() + below + need)
	if p.GetY() > pdfHead+1 {
		p.SetY(p.GetY() + above)
	}
	p.Bookmark(flat(text), level, p.GetY())
	p.lines(pdfSide, s, lines)
	if level <= 1 {
		p.rule(p.GetY()+0.8, inkColour, 0.35)
	}
	p.SetY(p.GetY() + below)
}

// pointGap is the room below a point of a list, mm.
const pointGap = 0.9

// list is a heading and its points, kept together where they are short.
func (p *pdf) list(heading string, level int, points []string) {
	if len(points) == 0 {
		return
	}
	first := float64(min(len(p.wrap(body, points[0], p.width-4)), 4)) * body.lead()
	all := 0.0
	for _, s := range points {
		all += float64(len(p.wrap(body, s, p.width-4)))*body.lead() + pointGap
	}
	if all > (p.bottom-pdfHead)/3 {
		all = first // too long to be kept together
	}
	p.heading(heading, level, max(all, first))
	p.points(points)
}

func (p *pdf) points(points []string) {
	for _, s := range points {
		lines := p.wrap(body, s, p.width-4)
		p.room(float64(min(len(lines), 4)) * body.lead())
		p.set(body)
		p.Text(pdfSide, p.GetY()+0.73*body.lead(), "–")
		p.para(pdfSide+4, p.width-4, body, s)
		p.SetY(p.GetY() + pointGap)
	}
}

// mark is a verdict's shape, so that it is told without its colour too; x, y is
// its upper left corner.
func (p *pdf) mark(v ledger.Verdict, x, y, size float64) {
	c := verdictColour(v)
	p.SetDrawColor(int(c.R), int(c.G), int(c.B))
	p.SetFillColor(int(c.R), int(c.G), int(c.B))
	p.SetLineWidth(size / 9)
	half := size / 2
	home, height := p.GetXY() // paths move the pen
	defer p.SetXY(home, height)
	shape := func(style string, at ...float64) {
		p.MoveTo(x+at[0]*size, y+at[1]*size)
		for i := 2; i < len(at); i += 2 {
			p.LineTo(x+at[i]*size, y+at[i+1]*size)
		}
		p.ClosePath()
		p.DrawPath(style)
	}
	switch v {
	case ledger.Pass:
		p.Circle(x+half, y+half, half*0.92, "D")
		p.Circle(x+half, y+half, half*0.5, "F")
	case ledger.Fail:
		shape("F", .45, .04, .45, .96, .02, .5)
		shape("F", .55, .04, .55, .96, .98, .5)
	case ledger.Undecided:
		shape("D", .5, .06, .94, .5, .5, .94, .06, .5)
	}
}
