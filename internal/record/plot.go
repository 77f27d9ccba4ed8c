package record

import (
	"image/color"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"thouwright/internal/ledger"
	"thouwright/internal/method"
)

// picture is a drawing before it has a form: something that draws itself onto
// any canvas of its size.
type picture struct {
	width, height vg.Length
	about         string // for who cannot see it
	draw          func(draw.Canvas)
}

// plotOf draws a take: the trace, its rests (those left out crossed), and what
// was fitted. ok is false where there is nothing to draw.
func (r *Record) plotOf(t *Take, width, height vg.Length) (pic picture, ok bool) {
	x := r.traces()[t.Take]
	if x == nil || len(x.b) == 0 {
		return pic, false
	}
	return picture{width, height, "readings of take " + strconv.FormatUint(t.Take.Take, 10) + " against time, with its rests and the fit",
		func(c draw.Canvas) { drawTake(c, t, x.points()) }}, true
}

// drawTake puts the plot of a take onto a canvas.
func drawTake(c draw.Canvas, t *Take, pts []point) {
	start := pts[0].t
	low, high := viewOf(t, pts)
	p := newPlot()
	p.X.Tick.Marker, p.Y.Tick.Marker = ticks{6}, ticks{4}
	p.Add(&band{low: t.Low, high: t.High, show: absolute(t)})
	grid := plotter.NewGrid()
	grid.Vertical.Width = 0
	grid.Horizontal = draw.LineStyle{Color: hairColour, Width: vg.Points(0.3)}
	p.Add(grid)
	xy := make(plotter.XYs, len(pts))
	for i, q := range pts {
		xy[i] = plotter.XY{X: q.t - start, Y: q.v}
	}
	p.Add(&plotter.Line{XYs: xy, LineStyle: draw.LineStyle{Color: traceColour, Width: vg.Points(0.6)}})
	for _, l := range fitLines(t, pts, start) {
		p.Add(l)
	}
	for _, used := range []bool{true, false} {
		if s := restsOf(t, start, used, low, high); s != nil {
			p.Add(s)
		}
	}
	// What was added has stretched the axes to its own extent.
	p.X.Min, p.X.Max = 0, math.Max(pts[len(pts)-1].t-start, 1e-3)
	p.Y.Min, p.Y.Max = low, high
	label := textStyle(6.5, softColour)
	label.XAlign, label.YAlign = draw.XLeft, draw.YTop
	unit := unitText(t.Unit)
	c.FillText(label, vg.Point{X: c.Min.X, Y: c.Max.Y}, unit)
	label.XAlign, label.YAlign = draw.XRight, draw.YBottom
	c.FillText(label, vg.Point{X: c.Max.X, Y: c.Min.Y}, "seconds")
	p.Draw(draw.Crop(c, 0, 0, vg.Points(7.5), -vg.Points(9)))
}

// absolute tells whether the readings themselves lie within the limits, or only
// a difference of them does.
func absolute(t *Take) bool { return t.Method == method.Size || t.Method == method.Drag }

// viewOf is the part of the value axis that is shown: of a size, which is reached
// from far away, only what is near the result.
func viewOf(t *Take, pts []point) (low, high float64) {
	low, high = span(pts)
	if t.Method == method.Size {
		half := math.Max(4*t.Take.U95, 1e-9)
		for _, x := range t.Rests {
			if x.Used {
				half = math.Max(half, 1.6*math.Abs(x.Value-t.Take.Result))
			}
		}
		for _, l := range []float64{t.Low, t.High} {
			if d := math.Abs(l - t.Take.Result); d < 12*half {
				half = math.Max(half, 1.25*d)
			}
		}
		if !math.IsInf(half, 0) && !math.IsNaN(half) {
			low, high = t.Take.Result-half, t.Take.Result+half
		}
		return low, high
	}
	if absolute(t) && t.Low > 0 { // drag: from nothing
		low = math.Min(low, 0)
	}
	room := 0.06 * (high - low)
	if room == 0 {
		room = math.Max(math.Abs(high)*1e-3, 1e-6)
	}
	return low - room, high + room
}

// restsOf are a take's rests as points.
func restsOf(t *Take, start float64, used bool, low, high float64) plot.Plotter {
	var pts plotter.XYs
	for _, x := range t.Rests {
		if x.Used == used && x.Value >= low && x.Value <= high {
			pts = append(pts, plotter.XY{X: x.T - start, Y: x.Value})
		}
	}
	if len(pts) == 0 {
		return nil
	}
	style := draw.GlyphStyle{Color: inkColour, Radius: vg.Points(1.9), Shape: draw.CircleGlyph{}}
	if !used {
		style = draw.GlyphStyle{Color: failColour, Radius: vg.Points(2.6), Shape: draw.CrossGlyph{}}
	}
	return &plotter.Scatter{XYs: pts, GlyphStyle: style}
}

// fitLines are what was fitted: of play, the two stops apart by it, with the
// drift, through the middle of the rests of each stretch between knocks; of a
// run-out, its largest and smallest reading; else the result itself.
func fitLines(t *Take, pts []point, start float64) []plot.Plotter {
	if t.Take.Bound {
		return nil
	}
	level := func(from, to, a, b float64) plot.Plotter {
		return &plotter.Line{XYs: plotter.XYs{{X: from, Y: a}, {X: to, Y: b}},
			LineStyle: draw.LineStyle{Color: edgeColour, Width: vg.Points(0.8), Dashes: []vg.Length{vg.Points(4), vg.Points(2)}}}
	}
	end := pts[len(pts)-1].t - start
	switch t.Method {
	case method.Play, method.EndPlay:
		return stops(t, start, level)
	case method.RunOut:
		low, high := span(pts)
		mid := (low + high) / 2
		return []plot.Plotter{level(0, end, mid-t.Take.Result/2, mid-t.Take.Result/2), level(0, end, mid+t.Take.Result/2, mid+t.Take.Result/2)}
	case method.Size, method.Drag:
		return []plot.Plotter{level(0, end, t.Take.Result, t.Take.Result)}
	}
	return nil
}

func stops(t *Take, start float64, level func(from, to, a, b float64) plot.Plotter) (out []plot.Plotter) {
	drift := t.DriftPerMin / 60
	levels := map[int][]ledger.Rest{}
	var order []int
	for _, x := range t.Rests {
		if !x.Used {
			continue
		}
		if levels[x.Level] == nil {
			order = append(order, x.Level)
		}
		levels[x.Level] = append(levels[x.Level], x)
	}
	for _, k := range order {
		mid, from, to := 0.0, math.Inf(1), math.Inf(-1)
		for _, x := range levels[k] {
			side := 0.5
			if x.Side == "-" {
				side = -0.5
			}
			mid += x.Value - side*t.Take.Result - drift*x.T
			from, to = math.Min(from, x.T), math.Max(to, x.T)
		}
		mid /= float64(len(levels[k]))
		for _, side := range []float64{0.5, -0.5} {
			y := mid + side*t.Take.Result
			out = append(out, level(from-start, to-start, y+drift*from, y+drift*to))
		}
	}
	return out
}

// Caption says what a take's plot shows.
func (t *Take) Caption() string {
	s := "Grey line: readings"
	used, left := false, false
	for _, x := range t.Rests {
		used, left = used || x.Used, left || !x.Used
	}
	if used {
		s += "; dots: rests"
	}
	if left {
		s += "; crosses: rests left out"
	}
	switch {
	case t.Take.Bound:
	case t.Method == method.Play || t.Method == method.EndPlay:
		s += "; dashed: the two stops as fitted"
	case t.Method == method.RunOut:
		s += "; dashed: the result, largest less smallest"
	default:
		s += "; dashed: the result"
	}
	if absolute(t) && t.Limits.Text != "" {
		s += "; green: permitted"
	}
	return s + "."
}

// band shades what is permitted, as far as the plot shows it.
type band struct {
	low, high float64
	show      bool
}

// Plot fulfils plot.Plotter.
func (b *band) Plot(c draw.Canvas, p *plot.Plot) {
	if !b.show || math.IsInf(b.low, -1) && math.IsInf(b.high, 1) {
		return
	}
	_, y := p.Transforms(&c)
	low, high := math.Max(b.low, p.Y.Min), math.Min(b.high, p.Y.Max)
	if low >= high {
		return
	}
	fillRect(c, bandColour, c.Min.X, y(low), c.Max.X, y(high))
	for _, v := range []float64{b.low, b.high} {
		if v > p.Y.Min && v < p.Y.Max {
			c.StrokeLine2(draw.LineStyle{Color: edgeColour, Width: vg.Points(0.6)}, c.Min.X, y(v), c.Max.X, y(v))
		}
	}
}

func fillRect(c draw.Canvas, col color.Color, x0, y0, x1, y1 vg.Length) {
	c.FillPolygon(col, []vg.Point{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}})
}

// ticks are at most so many round numbers along an axis.
type ticks struct{ most int }

// Ticks fulfils plot.Ticker.
func (k ticks) Ticks(low, high float64) (out []plot.Tick) {
	step, places := roundStep((high - low) / float64(k.most))
	if !(step > 0) {
		return nil
	}
	for i := math.Ceil(low/step - 1e-9); i*step <= high+1e-9*step; i++ {
		v := i*step + 0 // no negative nothing
		out = append(out, plot.Tick{Value: v, Label: minus(strconv.FormatFloat(v, 'f', places, 64))})
	}
	return out
}

// minus writes the sign as a minus and not as a hyphen.
func minus(s string) string {
	if digits, ok := strings.CutPrefix(s, "-"); ok {
		return "\u2212" + digits
	}
	return s
}

// roundStep is the least of 1, 2, 5, 10, … not below least, and its decimals.
func roundStep(least float64) (step float64, places int) {
	if !(least > 0) || math.IsInf(least, 0) {
		return 0, 0
	}
	e := math.Floor(math.Log10(least))
	for _, m := range []float64{1, 2, 5, 10} {
		if step = m * math.Pow(10, e); step >= least*(1-1e-9) {
			if m == 10 {
				e++
			}
			break
		}
	}
	return step, max(0, int(-e))
}
