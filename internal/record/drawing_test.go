package record

import (
	"math"
	"strconv"
	"testing"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/recorder"
	"pgregory.net/rapid"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

type box struct {
	text           string
	x0, y0, x1, y1 vg.Length
}

// texts draws a picture and returns where its texts lie; what is drawn outside
// the picture is an error.
func texts(t *rapid.T, p picture) (out []box) {
	var r recorder.Canvas
	p.draw(draw.NewCanvas(&r, p.width, p.height))
	const hair = 3.5 // half a mark may stand over the edge
	inside := func(what string, x, y vg.Length) {
		if x < -hair || y < -hair || x > p.width+hair || y > p.height+hair || math.IsNaN(float64(x)) || math.IsNaN(float64(y)) {
			t.Fatalf("%s at %.1f, %.1f lies outside %.1f by %.1f", what, x, y, p.width, p.height)
		}
	}
	for _, a := range r.Actions {
		switch a := a.(type) {
		case *recorder.Stroke:
			for _, c := range a.Path {
				if c.Type != vg.CloseComp {
					inside("a line", c.Pos.X, c.Pos.Y)
				}
			}
		case *recorder.Fill:
			for _, c := range a.Path {
				if c.Type != vg.CloseComp {
					inside("a filling", c.Pos.X, c.Pos.Y)
				}
			}
		case *recorder.FillString:
			face := font.DefaultCache.Lookup(a.Font, a.Size)
			e := face.Extents()
			b := box{a.String, a.Point.X, a.Point.Y - e.Descent, a.Point.X + face.Width(a.String), a.Point.Y + e.Ascent}
			inside(a.String, b.x0, b.y0)
			inside(a.String, b.x1, b.y1)
			out = append(out, b)
		}
	}
	return out
}

func apart(t *rapid.T, bs []box) {
	for i, a := range bs {
		for _, b := range bs[:i] {
			if min(a.x1, b.x1)-max(a.x0, b.x0) > 0.5 && min(a.y1, b.y1)-max(a.y0, b.y0) > 1 {
				t.Fatalf("%q and %q overlap", a.text, b.text)
			}
		}
	}
}

// Whatever the limits and the results, a drawing stays within its frame, its
// numbers stand apart, and a result within its limits is drawn between their
// edges.
func TestDrawingsToScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(-1, 40).Draw(t, "low")
		width := math.Pow(10, rapid.Float64Range(-4, 1).Draw(t, "width"))
		high := low + width
		if rapid.Bool().Draw(t, "open below") {
			low = math.Inf(-1)
		} else if rapid.Bool().Draw(t, "open above") {
			high = math.Inf(1)
		}
		round := func(v float64) float64 {
			r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'f', 4, 64), 64)
			return r
		}
		low, high = round(low), round(high)
		if low == high {
			high += 1e-4
		}
		method := rapid.SampledFrom([]string{"play", "size", "run-out", "derived"}).Draw(t, "method")
		if method != "size" && method != "derived" && low <= 0 {
			low = math.Inf(-1)
			if high = math.Max(high, 1e-4); math.IsInf(high, 1) {
				high = width
			}
		}
		take := func(label string) *Take {
			base := low
			if math.IsInf(low, -1) {
				base = high - width
			}
			v := base + width*rapid.Float64Range(-3, 4).Draw(t, label)
			u := width * rapid.Float64Range(0.001, 1).Draw(t, label+"'s uncertainty")
			verdict := ledger.Fail
			if v > low && v < high {
				verdict = ledger.Pass
			}
			return newTake(&ledger.Take{Result: v, U95: u, Low: low, High: high, Unit: quantity.MM, Method: method, Verdict: verdict}, nil)
		}
		check := &Check{Component: "pin", Name: "play", Method: method}
		for i := range rapid.IntRange(1, 4).Draw(t, "positions") {
			p := &Place{Check: check, Position: rapid.StringN(0, 60, 200).Draw(t, "position")}
			for range 2 {
				o := Outcome{Limits: newLimits(low, high, quantity.MM, nil), Take: take("result")}
				if i == 0 {
					o.Earlier = []*Take{take("before")}
				}
				p.At = append(p.At, o)
			}
			check.Places = append(check.Places, p)
		}
		r := &Record{Checks: []*Check{check}}
		for _, p := range check.Places {
			for i := range p.At {
				o := &p.At[i]
				apart(t, texts(t, scaleOf(p, o, 40*vg.Millimeter)))
				d := domainOf(p)
				x := d.at(o.Take.Take.Result)
				from, to := 0.0, 1.0
				if !math.IsInf(low, -1) {
					from = d.at(low)
				}
				if !math.IsInf(high, 1) {
					to = d.at(high)
				}
				const hair = 1e-9
				if good := o.Take.Verdict == ledger.Pass; good && (x < from-hair || x > to+hair) || !good && x > from+hair && x < to-hair {
					t.Fatalf("%v (%s) within %v to %v is drawn at %v of %v to %v", o.Take.Take.Result, o.Take.Verdict, low, high, x, from, to)
				}
			}
		}
		if v, ok := r.variationOf(check, 140*vg.Millimeter); ok != (len(check.Places) > 1) {
			t.Fatalf("variation drawn: %v", ok)
		} else if ok {
			apart(t, texts(t, v))
		}
	})
}
