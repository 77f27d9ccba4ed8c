package method

import (
	"math"
	"slices"
)

// verdict of one turning point within a series of strokes.
type placed struct {
	used   bool
	level  int
	reason string
}

// series is a run of turning points sorted into good ones and others.
type series struct {
	from    int // first turning point of the run
	placed  []placed
	levels  int
	strokes int // good strokes: both ends used, on one level
	leftOut int
	typical float64 // median stroke
}

// madToSigma turns a median absolute deviation into a standard deviation.
const madToSigma = 1.4826

// sortStrokes finds short strokes and knocks by the median and the median
// absolute deviation of the strokes' lengths, with a floor. It reports ok
// false where too few strokes agree for this to be a series at all.
func sortStrokes(turns []turn, floor float64) (s series, ok bool) {
	n := len(turns)
	if n < 3 {
		return s, false
	}
	lengths := make([]float64, n-1)
	for k := range lengths {
		lengths[k] = math.Abs(turns[k+1].Value - turns[k].Value)
	}
	s.typical = median(lengths)
	devs := make([]float64, n-1)
	for k, l := range lengths {
		devs[k] = math.Abs(l - s.typical)
	}
	limit := math.Max(floor, math.Min(5*madToSigma*median(devs), 0.25*s.typical))
	good := make([]bool, n-1)
	agreeing := 0
	for k := range good {
		good[k] = math.Abs(lengths[k]-s.typical) <= limit
		if good[k] {
			agreeing++
		}
	}
	if !good[0] || agreeing*10 < 6*(n-1) {
		return s, false
	}
	s.placed = make([]placed, n)
	level := 0
	s.placed[0] = placed{used: true}
	for k := 1; k < n; k++ {
		p := &s.placed[k]
		p.used, p.level = true, level
		if good[k-1] {
			continue
		}
		if k < n-1 && !good[k] && s.placed[k-1].used {
			// Both strokes of this rest are off: the rest itself is.
			p.used = false
			p.reason = "stopped short"
			if lengths[k-1] > s.typical {
				p.reason = "went further than the others"
			}
			continue
		}
		if !s.placed[k-1].used {
			// The way back from a rest that was off; is this one on the old level?
			if k >= 2 && math.Abs(turns[k].Value-turns[k-2].Value) <= limit {
				continue
			}
		}
		if k == n-1 {
			p.used = false
			p.reason = "stopped short"
			if lengths[k-1] > s.typical {
				p.reason = "went further than the others"
			}
			continue
		}
		level++
		p.level = level
	}
	s.levels = level + 1
	for k := 1; k < n; k++ {
		a, b := s.placed[k-1], s.placed[k]
		switch {
		case a.used && b.used && a.level == b.level:
			s.strokes++
		default:
			s.leftOut++
		}
	}
	return s, true
}

func median(v []float64) float64 {
	c := slices.Clone(v)
	slices.Sort(c)
	if n := len(c); n%2 == 0 {
		return (c[n/2-1] + c[n/2]) / 2
	}
	return c[len(c)/2]
}
