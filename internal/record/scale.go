package record

import "math"

// Scale is a drawing of a result against its permitted range, to scale: places
// are parts of its width, 0 to 1. A place's stages share one scale, so that
// before and after can be compared by eye.
type Scale struct {
	Low, High         float64 // the permitted range
	OpenLow, OpenHigh bool    // it goes on beyond the drawing
	Value             float64
	From, To          float64 // the result's 95 % interval
	HasValue          bool
	Bound             bool // anything from the left end to Value
}

// margin is the part of a drawing's width left free at each end.
const margin = 0.06

// domain is the stretch of numbers that a place's drawings show.
type domain struct{ from, to float64 }

// domainOf covers the limits and results of every stage.
func domainOf(p *Place) domain {
	d := domain{math.Inf(1), math.Inf(-1)}
	take := func(v float64) {
		if !math.IsInf(v, 0) && !math.IsNaN(v) {
			d.from, d.to = math.Min(d.from, v), math.Max(d.to, v)
		}
	}
	for i := range p.At {
		o := &p.At[i]
		take(o.Limits.Low)
		take(o.Limits.High)
		if math.IsInf(o.Limits.Low, -1) && p.Check.Method != "size" && p.Check.Method != "derived" {
			take(0) // of what cannot be negative
		}
		if o.Take != nil {
			take(o.Take.Take.Result - o.Take.Take.U95)
			take(o.Take.Take.Result + o.Take.Take.U95)
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

func (d domain) at(v float64) float64 {
	return math.Min(1, math.Max(0, (v-d.from)/(d.to-d.from)))
}

// scale draws one stage's outcome.
func (d domain) scale(o *Outcome) Scale {
	s := Scale{
		Low: d.at(o.Limits.Low), High: d.at(o.Limits.High),
		OpenLow: math.IsInf(o.Limits.Low, -1), OpenHigh: math.IsInf(o.Limits.High, 1),
	}
	if s.OpenLow {
		s.Low = 0
	}
	if s.OpenHigh {
		s.High = 1
	}
	if t := o.Take; t != nil {
		s.HasValue, s.Bound = true, t.Take.Bound
		s.Value = d.at(t.Take.Result)
		s.From, s.To = d.at(t.Take.Result-t.Take.U95), d.at(t.Take.Result+t.Take.U95)
		if s.Bound {
			s.From, s.To = d.at(0), s.Value
		}
	}
	return s
}

// Scale is the drawing of an outcome of this place.
func (p *Place) Scale(o *Outcome) Scale { return domainOf(p).scale(o) }
