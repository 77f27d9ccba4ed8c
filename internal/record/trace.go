package record

import (
	"math"
	"slices"

	"thouwright/config"
	"thouwright/internal/ledger"
	"thouwright/internal/method"
	"thouwright/internal/quantity"
)

// point is a reading in a take's unit at a time in seconds.
type point struct{ t, v float64 }

// mostBuckets bounds what is kept of a trace: as many as a plot can show apart.
const mostBuckets = 500

// trace is what a take's gauge read, thinned as it comes: each bucket keeps the
// least and the largest of as many readings as all others, so no peak is lost and
// a take of a million readings costs no more than one of a thousand.
type trace struct {
	take    *ledger.Take
	arm     *quantity.Quantity
	minus   string
	toValue func(float64) float64 // of comparative gauging: from reading to size

	each int // readings a bucket
	n    int // readings in the last one
	b    []bucket
	less float64 // the second gauge's latest reading
	has  bool

	unit   quantity.Unit // the latest reading's, and its factor
	factor float64
	fits   bool
	minusU quantity.Unit
	minusF float64
}

type bucket struct{ low, high point }

func (t *trace) add(p point) {
	if t.n == 0 || t.n == t.each {
		if len(t.b) == 2*mostBuckets {
			t.halve()
		}
		t.b, t.n = append(t.b, bucket{p, p}), 1
		return
	}
	t.n++
	last := &t.b[len(t.b)-1]
	if p.v < last.low.v {
		last.low = p
	}
	if p.v > last.high.v {
		last.high = p
	}
}

// halve joins neighbouring buckets.
func (t *trace) halve() {
	half := t.b[:0]
	for i := 0; i+1 < len(t.b); i += 2 {
		a, b := t.b[i], t.b[i+1]
		if b.low.v < a.low.v {
			a.low = b.low
		}
		if b.high.v > a.high.v {
			a.high = b.high
		}
		half = append(half, a)
	}
	t.b = half
	t.n = 2 * t.each // the next reading begins a bucket
	t.each *= 2
}

// points are the trace in order of time.
func (t *trace) points() []point {
	out := make([]point, 0, 2*len(t.b))
	for _, b := range t.b {
		first, second := b.low, b.high
		if second.t < first.t {
			first, second = second, first
		}
		out = append(out, first)
		if second != first {
			out = append(out, second)
		}
	}
	return out
}

// reading takes one of the gauge's readings, or one of the gauge that is
// subtracted.
func (t *trace) reading(r *ledger.Reading) {
	if !r.HasVal || r.Fault != ledger.NoFault {
		return
	}
	switch r.Gauge {
	case t.minus:
		if r.Unit != t.minusU || t.minusF == 0 {
			f, err := config.Scale(r.Unit, t.take.Unit, nil)
			if err != nil {
				return
			}
			t.minusU, t.minusF = r.Unit, f
		}
		t.less, t.has = r.Value.Float()*t.minusF, true
	case t.take.Gauge:
		if r.Unit != t.unit || t.factor == 0 {
			f, err := config.Scale(r.Unit, t.take.Unit, t.arm)
			t.unit, t.factor, t.fits = r.Unit, f, err == nil
		}
		if !t.fits || t.minus != "" && !t.has {
			return // not to be drawn on this take's axis
		}
		v := r.Value.Float()*t.factor - t.less
		if t.toValue != nil {
			v = t.toValue(v)
		}
		t.add(point{r.At.Seconds(), v})
	}
}

// traces are those of all takes, gathered in one pass over the readings.
func (r *Record) traces() map[*ledger.Take]*trace {
	if r.drawn != nil {
		return r.drawn
	}
	r.drawn = map[*ledger.Take]*trace{}
	var waiting []*trace
	last := uint64(0)
	for i := range r.folder.Takes {
		t := &r.folder.Takes[i]
		if t.Method == method.Derived || t.FirstSeq == 0 || t.LastSeq < t.FirstSeq {
			continue
		}
		x := r.newTrace(t)
		r.drawn[t] = x
		waiting = append(waiting, x)
		last = max(last, t.LastSeq)
	}
	if len(waiting) == 0 {
		return r.drawn
	}
	slices.SortStableFunc(waiting, func(a, b *trace) int {
		switch {
		case a.take.FirstSeq < b.take.FirstSeq:
			return -1
		case a.take.FirstSeq > b.take.FirstSeq:
			return 1
		}
		return 0
	})
	var open []*trace
	for rd, err := range r.folder.ReadingsBetween(waiting[0].take.FirstSeq, last) {
		if err != nil {
			continue // a damaged row; the proof says which
		}
		for len(waiting) > 0 && waiting[0].take.FirstSeq <= rd.Seq {
			open, waiting = append(open, waiting[0]), waiting[1:]
		}
		for i := 0; i < len(open); {
			if open[i].take.LastSeq < rd.Seq {
				open = slices.Delete(open, i, i+1)
				continue
			}
			open[i].reading(&rd)
			i++
		}
	}
	return r.drawn
}

func (r *Record) newTrace(t *ledger.Take) *trace {
	x := &trace{take: t, each: 1}
	if spec, c, ok := r.sheets.spec(t); ok {
		x.arm, x.minus = c.Arm, c.Minus
		if spec.HasMaster {
			sense := float64(spec.Sense)
			x.toValue = func(v float64) float64 { return spec.Master + sense*v }
		}
	}
	return x
}

// span is the least and the largest of a trace's values.
func span(pts []point) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, p := range pts {
		low, high = math.Min(low, p.v), math.Max(high, p.v)
	}
	return low, high
}
