package record

import (
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"thouwright/internal/ledger"
	"thouwright/internal/method"
)

// The drawings' colours: ink, soft ink, hairlines, readings, the permitted band
// and its edge, and the verdicts.
var (
	inkColour   = color.RGBA{0x1d, 0x27, 0x33, 0xff}
	softColour  = color.RGBA{0x5a, 0x66, 0x75, 0xff}
	hairColour  = color.RGBA{0xd5, 0xda, 0xe0, 0xff}
	traceColour = color.RGBA{0x86, 0x90, 0x9d, 0xff}
	bandColour  = color.RGBA{0xdc, 0xea, 0xe1, 0xff}
	edgeColour  = color.RGBA{0x2f, 0x6b, 0x4a, 0xff}
	passColour  = color.RGBA{0x1d, 0x5c, 0x3c, 0xff}
	failColour  = color.RGBA{0x9a, 0x28, 0x18, 0xff}
	openColour  = color.RGBA{0x6b, 0x4c, 0x00, 0xff}
)

func verdictColour(v ledger.Verdict) color.RGBA {
	switch v {
	case ledger.Pass:
		return passColour
	case ledger.Fail:
		return failColour
	case ledger.Undecided:
		return openColour
	}
	return inkColour
}

// textStyle is text of the drawings, in the documents' own face.
func textStyle(size float64, c color.Color) text.Style {
	f := plot.DefaultFont
	f.Variant, f.Size = "Sans", vg.Points(size)
	return text.Style{Color: c, Font: f, Handler: plot.DefaultTextHandler, XAlign: draw.XLeft, YAlign: draw.YBottom}
}

// newPlot is an empty plot in the documents' look.
func newPlot() *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.Text = ""
		a.Tick.Label = withAlign(textStyle(6.5, softColour), a.Tick.Label)
		a.LineStyle.Color, a.Tick.LineStyle.Color = softColour, softColour
		a.LineStyle.Width, a.Tick.LineStyle.Width = vg.Points(0.4), vg.Points(0.4)
		a.Tick.Length, a.Padding = vg.Points(2.5), vg.Points(2)
	}
	return p
}

func withAlign(s, of text.Style) text.Style {
	s.XAlign, s.YAlign = of.XAlign, of.YAlign
	return s
}

// margin is the part of a drawing's width left free at each end.
const margin = 0.05

// domain is the stretch of numbers that a drawing shows.
type domain struct{ from, to float64 }

// domainOf covers the limits and results of places at every stage, so that
// before and after can be compared by eye.
func domainOf(places ...*Place) domain {
	d := domain{math.Inf(1), math.Inf(-1)}
	take := func(v float64) {
		if !math.IsInf(v, 0) && !math.IsNaN(v) {
			d.from, d.to = math.Min(d.from, v), math.Max(d.to, v)
		}
	}
	for _, p := range places {
		for i := range p.At {
			o := &p.At[i]
			take(o.Limits.Low)
			take(o.Limits.High)
			if math.IsInf(o.Limits.Low, -1) && positive(p.Check.Method) {
				take(0) // of what cannot be negative
			}
			for _, t := range []*Take{o.Take, o.Before()} {
				if t != nil {
					take(t.Take.Result)
					take(t.Take.Result - t.Take.U95)
					take(t.Take.Result + t.Take.U95)
				}
			}
		}
	}
	if d.from > d.to {
		return domain{0, 1}
	}
	if d.from == d.to {
		d.from, d.to = d.from-1, d.to+1
	}
	room := (d.to - d.from) * margin / (1 - 2*margin)
	return domain{d.from - room, d.to + room}
}

// positive tells whether a method's result cannot be negative.
func positive(m string) bool { return m != method.Size && m != method.Derived }

// at is a value's place in the domain, 0 to 1.
func (d domain) at(v float64) float64 {
	return math.Min(1, math.Max(0, (v-d.from)/(d.to-d.from)))
}

// scaleOf draws an outcome against its permitted range, to scale: the range with
// its ends, the result with its 95 % interval and, hollow, what it was before it
// was adjusted.
func scaleOf(p *Place, o *Outcome, width vg.Length) picture {
	height := vg.Points(26)
	return picture{width, height, "the result against the permitted range, to scale", func(c draw.Canvas) {
		d := domainOf(p)
		base, top := c.Min.Y+vg.Points(9), c.Max.Y
		x := func(v float64) vg.Length { return c.Min.X + vg.Length(d.at(v))*(c.Max.X-c.Min.X) }
		drawBand(c, d, o.Limits, x, base, top)
		c.StrokeLine2(draw.LineStyle{Color: softColour, Width: vg.Points(0.4)}, c.Min.X, base, c.Max.X, base)
		mid := (base + top) / 2
		if b := o.Before(); b != nil {
			drawResult(c, b, x, mid, true)
		}
		if o.Take != nil {
			drawResult(c, o.Take, x, mid, false)
		}
		labelEnds(c, o.Limits, positive(p.Check.Method), x, base-vg.Points(1.5))
	}}
}

// drawBand shades the permitted range and strikes its ends.
func drawBand(c draw.Canvas, d domain, l Limits, x func(float64) vg.Length, base, top vg.Length) {
	if l.Text == "" {
		return
	}
	low, high := c.Min.X, c.Max.X
	if !math.IsInf(l.Low, -1) {
		low = x(l.Low)
	} else if d.from < 0 {
		low = x(math.Max(0, d.from)) // what cannot be negative begins at nothing
	}
	if !math.IsInf(l.High, 1) {
		high = x(l.High)
	}
	fillRect(c, bandColour, low, base, high, top-vg.Points(2))
	for _, v := range []float64{l.Low, l.High} {
		if !math.IsInf(v, 0) {
			c.StrokeLine2(draw.LineStyle{Color: edgeColour, Width: vg.Points(1)}, x(v), base-vg.Points(1.5), x(v), top)
		}
	}
}

// drawResult strikes a result with its 95 % interval; hollow for an earlier one.
func drawResult(c draw.Canvas, t *Take, x func(float64) vg.Length, y vg.Length, hollow bool) {
	col := verdictColour(t.Verdict)
	from, to := t.Take.Result-t.Take.U95, t.Take.Result+t.Take.U95
	if t.Take.Bound {
		from, to = 0, t.Take.Result
	}
	if math.IsNaN(from) || math.IsInf(from, 0) {
		from, to = t.Take.Result, t.Take.Result
	}
	width := vg.Points(1.6)
	if hollow {
		width = vg.Points(0.6)
	}
	c.StrokeLine2(draw.LineStyle{Color: col, Width: width}, x(from), y, x(to), y)
	for _, v := range []float64{from, to} {
		c.StrokeLine2(draw.LineStyle{Color: col, Width: vg.Points(0.6)}, x(v), y-vg.Points(2), x(v), y+vg.Points(2))
	}
	if t.Take.Bound {
		return
	}
	at := vg.Point{X: x(t.Take.Result), Y: y}
	if hollow {
		c.DrawGlyphNoClip(draw.GlyphStyle{Color: color.White, Radius: vg.Points(2.4), Shape: draw.CircleGlyph{}}, at)
		c.DrawGlyphNoClip(draw.GlyphStyle{Color: col, Radius: vg.Points(2.4), Shape: draw.RingGlyph{}}, at)
		return
	}
	c.DrawGlyphNoClip(draw.GlyphStyle{Color: col, Radius: vg.Points(2.6), Shape: draw.CircleGlyph{}}, at)
}

// labelEnds writes the limits below their edges; where they stand close they make
// room for each other.
func labelEnds(c draw.Canvas, l Limits, positive bool, x func(float64) vg.Length, y vg.Length) {
	type label struct {
		text string
		at   vg.Length
	}
	var ls []label
	if l.LowText != "" {
		ls = append(ls, label{l.LowText, x(l.Low)})
	} else if positive && l.HighText != "" {
		ls = append(ls, label{"0", x(0)})
	}
	if l.HighText != "" {
		ls = append(ls, label{l.HighText, x(l.High)})
	}
	sty := textStyle(6.5, softColour)
	sty.YAlign = draw.YTop
	left := make([]vg.Length, len(ls))
	for i, s := range ls {
		w := sty.Width(s.text)
		left[i] = min(max(s.at-w/2, c.Min.X), c.Max.X-w)
	}
	if len(ls) == 2 {
		w := sty.Width(ls[0].text)
		if over := left[0] + w + vg.Points(3) - left[1]; over > 0 {
			left[0] = max(c.Min.X, left[0]-over/2)
			left[1] = min(left[0]+w+vg.Points(3), c.Max.X-sty.Width(ls[1].text))
			left[0] = min(left[0], left[1]-w-vg.Points(3))
		}
	}
	for i, s := range ls {
		c.FillText(sty, vg.Point{X: left[i], Y: y}, s.text)
	}
}

// variationOf draws a check over its positions: a line for each, the permitted
// band behind, every stage's result with its interval. ok is false below two
// measured positions.
func (r *Record) variationOf(c *Check, width vg.Length) (pic picture, ok bool) {
	var shown []*Place
	earlier := false
	for _, p := range c.Places {
		if p.Last() != nil {
			shown = append(shown, p)
			for i := range p.At {
				earlier = earlier || p.At[i].Take != nil && p.At[i].Take != p.Last()
			}
		}
	}
	if len(shown) < 2 {
		return pic, false
	}
	row := vg.Points(12)
	height := row*vg.Length(len(shown)) + vg.Points(18)
	return picture{width, height, "the results at each position against the permitted range", func(cv draw.Canvas) {
		drawVariation(cv, shown, row)
		if earlier {
			key := textStyle(6.5, softColour)
			cv.FillText(key, cv.Min, "filled: the latest; hollow: earlier stages")
		}
	}}, true
}

func drawVariation(c draw.Canvas, shown []*Place, row vg.Length) {
	d := domainOf(shown...)
	name := textStyle(7.5, inkColour)
	name.XAlign, name.YAlign = draw.XRight, draw.YCenter
	plotC := c
	plotC.Min.X += (c.Max.X - c.Min.X) * 0.3
	plotC.Max.X -= vg.Points(36) // the unit stands there, clear of the last number
	x := func(v float64) vg.Length {
		return plotC.Min.X + vg.Length(d.at(v))*(plotC.Max.X-plotC.Min.X)
	}
	base := c.Min.Y + vg.Points(16)
	last := &shown[0].At[len(shown[0].At)-1]
	drawBand(plotC, d, last.Limits, x, base, c.Max.Y)
	axis := draw.LineStyle{Color: softColour, Width: vg.Points(0.4)}
	plotC.StrokeLine2(axis, plotC.Min.X, base, plotC.Max.X, base)
	tick := textStyle(6.5, softColour)
	tick.XAlign, tick.YAlign = draw.XCenter, draw.YTop
	for _, k := range (ticks{6}).Ticks(d.from, d.to) {
		c.StrokeLine2(axis, x(k.Value), base, x(k.Value), base-vg.Points(2.5))
		c.FillText(tick, vg.Point{X: x(k.Value), Y: base - vg.Points(3.5)}, k.Label)
	}
	tick.XAlign = draw.XLeft
	c.FillText(tick, vg.Point{X: plotC.Max.X + vg.Points(14), Y: base - vg.Points(3.5)}, unitOf(shown))
	for i, p := range shown {
		y := c.Max.Y - row*vg.Length(i) - row/2
		at := vg.Point{X: plotC.Min.X - vg.Points(6), Y: y}
		c.FillText(name, at, shorten(name, p.Position, plotC.Min.X-c.Min.X-vg.Points(8)))
		for k := range p.At {
			if t := p.At[k].Take; t != nil {
				off := vg.Points(2.2) * vg.Length(float64(len(p.At)-1)/2-float64(k))
				drawResult(c, t, x, y+off, t != p.Last())
			}
		}
	}
}

func unitOf(places []*Place) string {
	for _, p := range places {
		if t := p.Last(); t != nil {
			return unitText(t.Unit)
		}
	}
	return ""
}

// shorten cuts a text to a width.
func shorten(s text.Style, name string, width vg.Length) string {
	name = flat(name)
	if s.Width(name) <= width {
		return name
	}
	runes := []rune(name)
	for len(runes) > 0 && s.Width(string(runes)+"…") > width {
		runes = runes[:len(runes)-1]
	}
	return string(runes) + "…"
}
