package record

import (
	"bytes"
	"fmt"
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"thouwright/config"
	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// The plot's colours: ink, the fit, what was left out.
var (
	inkColour  = color.RGBA{0x22, 0x2b, 0x38, 0xff}
	fitColour  = color.RGBA{0x1c, 0x5f, 0x8a, 0xff}
	leftColour = color.RGBA{0xa8, 0x32, 0x1e, 0xff}
)

// Size of a take's plot.
const (
	plotWidth  = 17 * vg.Centimeter
	plotHeight = 5.2 * vg.Centimeter
)

// mostPoints is how many readings of a trace are drawn; a longer one is thinned
// evenly.
const mostPoints = 3000

// trace is what a take's gauge read, in the take's unit against seconds.
func (r *Record) trace(t *Take) (plotter.XYs, error) {
	if t.Method == "derived" || t.FirstSeq == 0 {
		return nil, nil
	}
	var arm *quantity.Quantity
	for _, c := range r.Checks {
		if c.Component == t.Tag.Component && c.Name == t.Tag.Check {
			arm = c.Arm
		}
	}
	var pts plotter.XYs
	for rd, err := range r.folder.ReadingsBetween(t.FirstSeq, t.LastSeq) {
		if err != nil {
			continue // a damaged row; the proof says which
		}
		if rd.Gauge != t.Gauge || !rd.HasVal || rd.Fault != ledger.NoFault {
			continue
		}
		factor, err := config.Scale(rd.Unit, t.Unit, arm)
		if err != nil {
			continue // not to be drawn on this take's axis
		}
		pts = append(pts, plotter.XY{X: rd.At.Seconds(), Y: rd.Value.Float() * factor})
	}
	if n := len(pts); n > mostPoints {
		every := (n + mostPoints - 1) / mostPoints
		thin := pts[:0]
		for i := 0; i < n; i += every {
			thin = append(thin, pts[i])
		}
		pts = thin
	}
	return pts, nil
}

// plotOf draws a take: the trace, its rests (those left out crossed), and the
// fitted stops with their drift. It is nil where there is nothing to draw.
func (r *Record) plotOf(t *Take) (*plot.Plot, error) {
	pts, err := r.trace(t)
	if err != nil || len(pts) == 0 {
		return nil, err
	}
	start := pts[0].X
	for i := range pts {
		pts[i].X -= start
	}
	p := plot.New()
	p.Title.Text = ""
	p.X.Label.Text = "s"
	p.Y.Label.Text = t.Unit.String()
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle.Font.Size = font.Length(8)
		a.Tick.Label.Font.Size = font.Length(7)
		a.LineStyle.Color, a.Tick.LineStyle.Color = inkColour, inkColour
		a.LineStyle.Width = vg.Points(0.5)
	}
	line, err := plotter.NewLine(pts)
	if err != nil {
		return nil, err
	}
	line.Width, line.Color = vg.Points(0.6), color.RGBA{0x6b, 0x77, 0x88, 0xff}
	p.Add(line)
	p.Add(r.fitLines(t, start)...)
	for _, used := range []bool{true, false} {
		s, err := restsOf(t, start, used)
		if err != nil {
			return nil, err
		}
		if s != nil {
			p.Add(s)
		}
	}
	return p, nil
}

// restsOf are a take's rests as points.
func restsOf(t *Take, start float64, used bool) (plot.Plotter, error) {
	var pts plotter.XYs
	for _, x := range t.Rests {
		if x.Used == used && !math.IsNaN(x.Value) {
			pts = append(pts, plotter.XY{X: x.T - start, Y: x.Value})
		}
	}
	if len(pts) == 0 {
		return nil, nil
	}
	s, err := plotter.NewScatter(pts)
	if err != nil {
		return nil, err
	}
	s.GlyphStyle = draw.GlyphStyle{Color: fitColour, Radius: vg.Points(2.4), Shape: draw.CircleGlyph{}}
	if !used {
		s.GlyphStyle = draw.GlyphStyle{Color: leftColour, Radius: vg.Points(3), Shape: draw.CrossGlyph{}}
	}
	return s, nil
}

// fitLines are the two stops as the fit has them: the play apart, with the
// drift, through the middle of the rests that were used. Only methods that rock
// have them.
func (r *Record) fitLines(t *Take, start float64) []plot.Plotter {
	if t.Method != "play" && t.Method != "end-play" || t.Take.Bound {
		return nil
	}
	drift := t.DriftPerMin / 60
	levels := map[int][]ledger.Rest{}
	for _, x := range t.Rests {
		if x.Used {
			levels[x.Level] = append(levels[x.Level], x)
		}
	}
	var out []plot.Plotter
	for _, rests := range levels {
		mid, from, to := 0.0, math.Inf(1), math.Inf(-1)
		for _, x := range rests {
			side := 0.5
			if x.Side == "-" {
				side = -0.5
			}
			mid += x.Value - side*t.Take.Result - drift*x.T
			from, to = math.Min(from, x.T), math.Max(to, x.T)
		}
		mid /= float64(len(rests))
		for _, side := range []float64{0.5, -0.5} {
			l, err := plotter.NewLine(plotter.XYs{
				{X: from - start, Y: mid + side*t.Take.Result + drift*from},
				{X: to - start, Y: mid + side*t.Take.Result + drift*to},
			})
			if err != nil {
				continue
			}
			l.Color, l.Width, l.Dashes = fitColour, vg.Points(0.8), []vg.Length{vg.Points(4), vg.Points(2)}
			out = append(out, l)
		}
	}
	return out
}

// plotSVG is a take's plot as an SVG element, "" where there is none.
func (r *Record) plotSVG(t *Take) (string, error) {
	p, err := r.plotOf(t)
	if err != nil || p == nil {
		return "", err
	}
	c := vgsvg.New(plotWidth, plotHeight)
	p.Draw(draw.New(c))
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return "", fmt.Errorf("plot of take %d: %w", t.Take.Take, err)
	}
	svg := b.Bytes()
	if i := bytes.Index(svg, []byte("<svg")); i > 0 { // no XML head inside a page
		svg = svg[i:]
	}
	return string(svg), nil
}
