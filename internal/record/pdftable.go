package record

import "thouwright/internal/ledger"

// piece is a part of a cell: a line or more of text, a verdict's mark before it,
// or a picture.
type piece struct {
	style style
	text  string
	mark  ledger.Verdict
	tail  string // text of the body behind it on its line
	pic   func(width float64) picture
	right bool
	gap   float64 // above it, mm
}

// column is a column of a table; its width is in mm.
type column struct {
	title string
	width float64
	right bool
}

const columnGap = 4.0

// table lays rows out; none is broken over pages, and its head stands on each.
type table struct {
	p      *pdf
	cols   []column
	pad    float64 // above and below each row
	headed bool
	group  []string // lines of a group's name, before its first row
	onPage int
}

func (p *pdf) table(pad float64, cols ...column) *table { return &table{p: p, cols: cols, pad: pad} }

const markSize = 2.7

// height is how high a cell becomes.
func (t *table) height(cell []piece, width float64) (h float64) {
	for _, k := range cell {
		h += k.gap
		if k.pic != nil {
			h += mm(k.pic(width).height)
			continue
		}
		h += float64(len(t.wrap(k, width))) * k.style.lead()
	}
	return h
}

func (t *table) wrap(k piece, width float64) []string {
	if k.mark != "" {
		width -= markSize + 1.3
	}
	return t.p.wrap(k.style, k.text, width)
}

// head writes the columns' titles.
func (t *table) head() {
	p := t.p
	t.headed, t.onPage = true, p.PageNo()
	tall := 0.0
	for _, c := range t.cols {
		tall = max(tall, float64(len(p.wrap(fine, c.title, c.width)))*fine.lead())
	}
	if tall > 0 {
		x, y := pdfSide, p.GetY()
		for _, c := range t.cols {
			lines := p.wrap(fine, c.title, c.width)
			p.SetY(y + tall - float64(len(lines))*fine.lead())
			t.write(x, c.width, piece{style: fine, text: c.title, right: c.right})
			x += c.width + columnGap
		}
		p.SetY(y + tall + 0.6)
	}
	p.rule(p.GetY(), inkColour, 0.25)
}

func (t *table) headHeight() (h float64) {
	for _, c := range t.cols {
		h = max(h, float64(len(t.p.wrap(fine, c.title, c.width)))*fine.lead())
	}
	return h + 0.6
}

// write sets a piece at x and moves down by it.
func (t *table) write(x, width float64, k piece) {
	p := t.p
	p.SetY(p.GetY() + k.gap)
	if k.pic != nil {
		pic := k.pic(width)
		y := p.GetY()
		p.put(pic, x, y)
		p.SetY(y + mm(pic.height))
		return
	}
	lines := t.wrap(k, width)
	if k.mark != "" && len(lines) > 0 {
		p.mark(k.mark, x, p.GetY()+(k.style.lead()-markSize)/2, markSize)
		x += markSize + 1.3
	}
	if k.tail != "" && len(lines) == 1 {
		p.set(k.style)
		behind := p.GetStringWidth(lines[0] + "  ")
		p.set(body)
		p.Text(x+behind, p.GetY()+0.73*k.style.lead(), flat(k.tail))
	}
	if !k.right {
		p.lines(x, k.style, lines)
		return
	}
	p.set(k.style)
	y := p.GetY()
	for _, l := range lines {
		y += k.style.lead()
		p.Text(x+width-p.GetStringWidth(l), y-0.27*k.style.lead(), l)
	}
	p.SetY(y)
}

// name begins a group of rows; its name stays with the first of them.
func (t *table) name(text string) { t.group = t.p.wrap(strong, text, t.p.width) }

// row writes a row of cells.
func (t *table) row(cells ...[]piece) {
	p := t.p
	tall := 0.0
	for i, c := range cells {
		tall = max(tall, t.height(c, t.cols[i].width))
	}
	tall += 2 * t.pad
	need := tall
	if len(t.group) > 0 {
		need += float64(len(t.group))*strong.lead() + 2
	}
	if !t.headed {
		need += t.headHeight()
	}
	p.room(need)
	if !t.headed || t.onPage != p.PageNo() {
		t.head()
	}
	if len(t.group) > 0 {
		p.SetY(p.GetY() + 2)
		p.lines(pdfSide, strong, t.group)
		t.group = nil
	}
	x, y := pdfSide, p.GetY()
	for i, c := range cells {
		p.SetY(y + t.pad)
		for _, k := range c {
			k.right = k.right || t.cols[i].right
			t.write(x, t.cols[i].width, k)
		}
		x += t.cols[i].width + columnGap
	}
	p.SetY(y + tall)
	p.rule(p.GetY(), hair, 0.2)
}

// of is a cell of one text.
func of(s style, text string) []piece {
	if text == "" {
		return nil
	}
	return []piece{{style: s, text: text}}
}
