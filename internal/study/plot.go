package study

import (
	"fmt"
	"image/color"
	"io"
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgpdf"
	"gonum.org/v1/plot/vg/vgsvg"

	"thouwright/internal/metrology"
)

// PlotFormats are the endings a plot can be written with.
var PlotFormats = []string{".svg", ".png", ".pdf"}

const plotWidth, plotHeight = 24 * vg.Centimeter, 17 * vg.Centimeter

// Colours that stay apart in print and for most eyes, each with its own shape.
var inks = []color.RGBA{{0x1b, 0x4f, 0x72, 255}, {0xb0, 0x3a, 0x2e, 255}, {0x1d, 0x83, 0x48, 255}, {0x7d, 0x3c, 0x98, 255}, {0x80, 0x60, 0x00, 255}, {0x44, 0x44, 0x44, 255}}

var shapes = []draw.GlyphDrawer{draw.CircleGlyph{}, draw.SquareGlyph{}, draw.TriangleGlyph{}, draw.CrossGlyph{}, draw.PlusGlyph{}, draw.RingGlyph{}}

// Plot draws four panels: values by part, what each person finds, the shares,
// and the values in the order they were measured. format is one of PlotFormats.
func (r *Result) Plot(out io.Writer, format string) error {
	var canvas interface {
		vg.CanvasWriterTo
		vg.CanvasSizer
	}
	switch format {
	case ".svg":
		canvas = vgsvg.New(plotWidth, plotHeight)
	case ".png":
		canvas = vgimg.PngCanvas{Canvas: vgimg.NewWith(vgimg.UseWH(plotWidth, plotHeight), vgimg.UseDPI(150))}
	case ".pdf":
		canvas = vgpdf.New(plotWidth, plotHeight)
	default:
		return fmt.Errorf("a plot ends in .svg, .png or .pdf, not %q", format)
	}
	byPart, err := r.byPart()
	if err != nil {
		return err
	}
	byPerson, err := r.byPerson()
	if err != nil {
		return err
	}
	shares, err := r.shares()
	if err != nil {
		return err
	}
	order, err := r.inOrder()
	if err != nil {
		return err
	}
	plots := [][]*plot.Plot{{byPart, byPerson}, {shares, order}}
	dc := draw.New(canvas)
	tiles := draw.Tiles{Rows: 2, Cols: 2, PadX: vg.Centimeter, PadY: vg.Centimeter, PadTop: 3 * vg.Millimeter, PadBottom: 3 * vg.Millimeter, PadLeft: 3 * vg.Millimeter, PadRight: 3 * vg.Millimeter}
	canvases := plot.Align(plots, tiles, dc)
	for i := range plots {
		for j, p := range plots[i] {
			p.Draw(canvases[i][j])
		}
	}
	_, err = canvas.WriteTo(out)
	return err
}

func (r *Result) axis(what string) string {
	if r.Unit == "" {
		return what
	}
	return what + ", " + r.Unit
}

func panel(title, x, y string) *plot.Plot {
	p := plot.New()
	p.Title.Text, p.X.Label.Text, p.Y.Label.Text = title, x, y
	p.X.Tick.Marker, p.Y.Tick.Marker = apart{}, apart{}
	grid := plotter.NewGrid()
	grid.Vertical.Color = color.Gray{235}
	grid.Horizontal.Color = color.Gray{235}
	p.Add(grid)
	return p
}

// apart labels the axis with as many places as tell one label from the next:
// sizes of a pin differ in the third place and further.
type apart struct{}

// Ticks implements plot.Ticker.
func (apart) Ticks(low, high float64) []plot.Tick {
	ticks := plot.DefaultTicks{}.Ticks(low, high)
	var major []float64
	for _, t := range ticks {
		if !t.IsMinor() {
			major = append(major, t.Value)
		}
	}
	if len(major) < 2 {
		return ticks
	}
	gap := math.Inf(1)
	for i := 1; i < len(major); i++ {
		gap = min(gap, math.Abs(major[i]-major[i-1]))
	}
	format, places := byte('f'), 0
	if gap < 1e-12 || max(math.Abs(low), math.Abs(high)) >= 1e12 {
		format, places = 'g', 12
	}
	for p := 1.0; places < 12 && math.Abs(gap*p-math.Round(gap*p)) > 1e-6*gap*p; p *= 10 {
		places++
	}
	for i := range ticks {
		if !ticks[i].IsMinor() {
			ticks[i].Label = strconv.FormatFloat(ticks[i].Value+0, format, places, 64)
		}
	}
	return ticks
}

// named puts names instead of numbers on the axis.
func named(names []string) plot.ConstantTicks {
	var t plot.ConstantTicks
	every := (len(names) + 19) / 20 // more than twenty names would overlap
	for i, n := range names {
		if i%every == 0 {
			if len(n) > 14 {
				n = n[:13] + "…"
			}
			t = append(t, plot.Tick{Value: float64(i), Label: n})
		}
	}
	return t
}

func (r *Result) scatter(p *plot.Plot, at func(pt point) plotter.XY) error {
	for j, name := range r.People {
		var xy plotter.XYs
		for _, pt := range r.rows {
			if pt.person == j {
				xy = append(xy, at(pt))
			}
		}
		s, err := plotter.NewScatter(xy)
		if err != nil {
			return err
		}
		s.Color, s.Shape, s.Radius = inks[j%len(inks)], shapes[j%len(shapes)], vg.Points(2.5)
		p.Add(s)
		if len(r.People) > 1 {
			p.Legend.Add(name, s)
		}
	}
	p.Legend.Top = true
	return nil
}

// margins keep points off the frame, and leave the legend a strip of its own.
func (r *Result) margins(p *plot.Plot) {
	h := p.Y.Max - p.Y.Min
	p.Y.Min -= 0.05 * h
	p.Y.Max += 0.05 * h
	if len(r.People) > 1 {
		p.Y.Max += 0.07 * float64(len(r.People)) * h
	}
}

func (r *Result) byPart() (*plot.Plot, error) {
	p := panel("Values by part", "part", r.axis("value"))
	beside := func(pt point) float64 { // people side by side
		if len(r.People) == 1 {
			return 0
		}
		return 0.5 * (float64(pt.person)/float64(len(r.People)-1) - 0.5)
	}
	err := r.scatter(p, func(pt point) plotter.XY {
		return plotter.XY{X: float64(pt.part) + beside(pt), Y: r.first + pt.dev}
	})
	p.X.Tick.Marker = named(r.Parts)
	p.X.Min, p.X.Max = -0.6, float64(len(r.Parts))-0.4
	r.margins(p)
	return p, err
}

func (r *Result) byPerson() (*plot.Plot, error) {
	p := panel("What each person finds", "person", r.axis("off the part's mean"))
	mean := make([]float64, len(r.Parts))
	for i, row := range r.cells {
		n := 0
		for _, c := range row {
			for _, x := range c {
				mean[i] += x
				n++
			}
		}
		mean[i] /= float64(n)
	}
	for j := range r.People {
		var v plotter.Values
		for _, pt := range r.rows {
			if pt.person == j {
				v = append(v, pt.dev-mean[pt.part])
			}
		}
		box, err := plotter.NewBoxPlot(vg.Points(18), float64(j), v)
		if err != nil {
			return nil, err
		}
		box.FillColor = color.RGBA{0xd6, 0xe4, 0xee, 255}
		p.Add(box)
	}
	people := r.People
	if len(people) == 1 && people[0] == "" {
		people = []string{"one person"}
	}
	p.X.Tick.Marker = named(people)
	p.X.Min, p.X.Max = -0.6, float64(len(r.People))-0.4
	return p, nil
}

// barNames are short names under the bars.
var barNames = map[string]string{
	metrology.SourceRepeat: "repetition", metrology.SourceInteraction: "people x parts", metrology.SourcePeople: "people",
	metrology.SourceBoth: "set-up", metrology.SourceParts: "parts", metrology.SourceTotal: "total",
}

func (r *Result) shares() (*plot.Plot, error) {
	p := panel("Where the spread comes from", "", r.axis("standard deviation"))
	var v plotter.Values
	var names []string
	for i, s := range r.Shares {
		v = append(v, float64(s.SD))
		names = append(names, barNames[s.Name])
		if lo, hi := float64(s.Low), float64(s.High); !math.IsNaN(lo) && !math.IsNaN(hi) {
			line, err := plotter.NewLine(plotter.XYs{{X: float64(i), Y: lo}, {X: float64(i), Y: hi}})
			if err != nil {
				return nil, err
			}
			defer p.Add(line) // over the bars
		}
	}
	bars, err := plotter.NewBarChart(v, vg.Points(22))
	if err != nil {
		return nil, err
	}
	bars.Color = color.RGBA{0x7f, 0xa8, 0xc9, 255}
	p.Add(bars)
	p.X.Tick.Marker = named(names)
	p.Y.Min = 0
	p.X.Min, p.X.Max = -0.6, float64(len(names))-0.4
	return p, nil
}

func (r *Result) inOrder() (*plot.Plot, error) {
	label := "order of measurement"
	if r.Stable != nil && !math.IsNaN(float64(r.Stable.Span)) {
		label = "minutes from the first value"
	}
	p := panel("Values in order, off their mean", label, r.axis("off the mean of its repetition"))
	timed := label != "order of measurement"
	i := -1.0
	x := map[int]float64{}
	for _, pt := range r.rows {
		i++
		x[pt.Line] = i + 1
		if timed {
			x[pt.Line] = pt.Time / 60
		}
	}
	if err := r.scatter(p, func(pt point) plotter.XY { return plotter.XY{X: x[pt.Line], Y: pt.rest} }); err != nil {
		return nil, err
	}
	c, ok := r.anova.Get(metrology.SourceRepeat)
	if ok {
		for _, k := range []float64{-3, 0, 3} {
			f := plotter.NewFunction(func(float64) float64 { return k * c.SD })
			f.Color = color.Gray{120}
			if k != 0 {
				f.Dashes = []vg.Length{vg.Points(4), vg.Points(3)}
			}
			p.Add(f)
		}
		p.Y.Min, p.Y.Max = min(p.Y.Min, -3.5*c.SD), max(p.Y.Max, 3.5*c.SD)
	}
	r.margins(p)
	p.X.Min -= 0.03 * (p.X.Max - p.X.Min)
	p.X.Max += 0.03 * (p.X.Max - p.X.Min)
	return p, nil
}
