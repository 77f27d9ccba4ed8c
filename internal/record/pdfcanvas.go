package record

import (
	"errors"
	"image"
	"image/color"
	"math"

	"codeberg.org/go-pdf/fpdf"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// put draws a picture with its upper left corner at x, y (mm), as lines and text
// of the page.
func (p *pdf) put(pic picture, x, y float64) {
	c := &pdfCanvas{pdf: p.Fpdf, width: pic.width, height: pic.height}
	c.state.m = affine{1, 0, 0, 1, x / mmOfPoint, y/mmOfPoint + pic.height.Points()}
	c.state.width, c.state.color = vg.Points(1), color.Black
	home, height := p.GetXY() // paths move the pen
	pic.draw(draw.New(c))
	p.SetDashPattern(nil, 0)
	p.SetXY(home, height)
}

// mmOfPoint is a typographic point in mm.
const mmOfPoint = 25.4 / 72

func mm(l vg.Length) float64 { return l.Points() * mmOfPoint }

// points is mm as a length of a drawing.
func points(mm float64) vg.Length { return vg.Points(mm / mmOfPoint) }

// affine takes a drawing's points to the page's, whose y grows downwards.
type affine struct{ a, b, c, d, e, f float64 }

func (m affine) apply(p vg.Point) (x, y float64) {
	u, v := p.X.Points(), p.Y.Points()
	return (m.a*u + m.c*v + m.e) * mmOfPoint, (m.f - m.b*u - m.d*v) * mmOfPoint
}

// before is m after n: first n, then m.
func (m affine) before(n affine) affine {
	return affine{
		m.a*n.a + m.c*n.b, m.b*n.a + m.d*n.b,
		m.a*n.c + m.c*n.d, m.b*n.c + m.d*n.d,
		m.a*n.e + m.c*n.f + m.e, m.f - m.b*n.e - m.d*n.f,
	}
}

// pdfCanvas is a vg.Canvas on a page of a PDF.
type pdfCanvas struct {
	pdf           *fpdf.Fpdf
	width, height vg.Length
	state         pdfState
	stack         []pdfState
}

type pdfState struct {
	m      affine
	width  vg.Length
	color  color.Color
	dashes []vg.Length
	offset vg.Length
}

// Size fulfils vg.CanvasSizer.
func (c *pdfCanvas) Size() (w, h vg.Length) { return c.width, c.height }

// SetLineWidth fulfils vg.Canvas, as do the methods below.
func (c *pdfCanvas) SetLineWidth(w vg.Length) { c.state.width = w }

// SetLineDash sets the dashes of lines.
func (c *pdfCanvas) SetLineDash(d []vg.Length, offset vg.Length) {
	c.state.dashes, c.state.offset = d, offset
}

// SetColor sets the colour of lines, fillings and text.
func (c *pdfCanvas) SetColor(col color.Color) {
	if col == nil {
		col = color.Black
	}
	c.state.color = col
}

// Rotate turns what is drawn next.
func (c *pdfCanvas) Rotate(rad float64) {
	s, k := math.Sincos(rad)
	c.state.m = c.state.m.before(affine{k, s, -s, k, 0, 0})
}

// Translate moves what is drawn next.
func (c *pdfCanvas) Translate(p vg.Point) {
	c.state.m = c.state.m.before(affine{1, 0, 0, 1, p.X.Points(), p.Y.Points()})
}

// Scale stretches what is drawn next.
func (c *pdfCanvas) Scale(x, y float64) { c.state.m = c.state.m.before(affine{x, 0, 0, y, 0, 0}) }

// Push keeps the state for Pop.
func (c *pdfCanvas) Push() { c.stack = append(c.stack, c.state) }

// Pop takes the state back.
func (c *pdfCanvas) Pop() {
	c.state = c.stack[len(c.stack)-1]
	c.stack = c.stack[:len(c.stack)-1]
}

// Stroke draws a line.
func (c *pdfCanvas) Stroke(path vg.Path) {
	if c.state.width <= 0 || len(path) == 0 {
		return
	}
	r, g, b := rgb(c.state.color)
	c.pdf.SetDrawColor(r, g, b)
	c.pdf.SetLineWidth(mm(c.state.width))
	dashes := make([]float64, len(c.state.dashes))
	for i, d := range c.state.dashes {
		dashes[i] = mm(d)
	}
	c.pdf.SetDashPattern(dashes, mm(c.state.offset))
	c.path(path)
	c.pdf.DrawPath("D")
}

// Fill fills an outline.
func (c *pdfCanvas) Fill(path vg.Path) {
	if len(path) == 0 {
		return
	}
	r, g, b := rgb(c.state.color)
	c.pdf.SetFillColor(r, g, b)
	c.path(path)
	c.pdf.DrawPath("F")
}

func rgb(col color.Color) (r, g, b int) {
	n := color.NRGBAModel.Convert(col).(color.NRGBA)
	return int(n.R), int(n.G), int(n.B)
}

func (c *pdfCanvas) path(path vg.Path) {
	begun := false
	for _, k := range path {
		switch k.Type {
		case vg.MoveComp:
			c.pdf.MoveTo(c.state.m.apply(k.Pos))
			begun = true
		case vg.LineComp:
			c.pdf.LineTo(c.state.m.apply(k.Pos))
		case vg.CurveComp:
			c.curve(k)
		case vg.ArcComp:
			c.arc(k, begun)
			begun = true
		case vg.CloseComp:
			c.pdf.ClosePath()
		}
	}
}

func (c *pdfCanvas) curve(k vg.PathComp) {
	x, y := c.state.m.apply(k.Pos)
	x0, y0 := c.state.m.apply(k.Control[0])
	if len(k.Control) == 1 {
		c.pdf.CurveTo(x0, y0, x, y)
		return
	}
	x1, y1 := c.state.m.apply(k.Control[1])
	c.pdf.CurveBezierCubicTo(x0, y0, x1, y1, x, y)
}

// arc draws an arc as cubic curves of a quarter turn at most.
func (c *pdfCanvas) arc(k vg.PathComp, begun bool) {
	n := int(math.Ceil(math.Abs(k.Angle) / (math.Pi / 2)))
	if n == 0 {
		return
	}
	at := func(a, reach, along float64) (float64, float64) {
		s, q := math.Sincos(a)
		r := k.Radius.Points()
		return c.state.m.apply(vg.Point{
			X: k.Pos.X + vg.Points(r*(reach*q-along*s)),
			Y: k.Pos.Y + vg.Points(r*(reach*s+along*q)),
		})
	}
	if x, y := at(k.Start, 1, 0); begun {
		c.pdf.LineTo(x, y)
	} else {
		c.pdf.MoveTo(x, y)
	}
	step := k.Angle / float64(n)
	hold := 4.0 / 3 * math.Tan(step/4)
	for i := range n {
		a := k.Start + float64(i)*step
		x0, y0 := at(a, 1, hold)
		x1, y1 := at(a+step, 1, -hold)
		x, y := at(a+step, 1, 0)
		c.pdf.CurveBezierCubicTo(x0, y0, x1, y1, x, y)
	}
}

// FillString writes text, turned as the state says.
func (c *pdfCanvas) FillString(f font.Face, pt vg.Point, s string) {
	size := f.Font.Size.Points()
	if size == 0 || s == "" {
		return
	}
	r, g, b := rgb(c.state.color)
	c.pdf.SetFont(pdfFont, "", size)
	c.pdf.SetTextColor(r, g, b)
	x, y := c.state.m.apply(pt)
	turn := math.Atan2(c.state.m.b, c.state.m.a) * 180 / math.Pi
	if math.Abs(turn) < 1e-9 {
		c.pdf.Text(x, y, flat(s))
		return
	}
	c.pdf.TransformBegin()
	c.pdf.TransformRotate(turn, x, y)
	c.pdf.Text(x, y, flat(s))
	c.pdf.TransformEnd()
}

// DrawImage is for pictures, which the drawings have none of.
func (c *pdfCanvas) DrawImage(vg.Rectangle, image.Image) {
	c.pdf.SetError(errors.New("a drawing holds an image: drawings are lines and text"))
}
