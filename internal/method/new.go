package method

import (
	"fmt"
	"math"

	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// Defaults of a check.
const (
	DefaultStrokes    = 6
	DefaultMaxStrokes = 12
	leastStrokes      = 6 // their seven rests leave four degrees of freedom beside play, drift and level; with four, two
	DefaultConfidence = 0.95
)

// New gives a fresh machine for one take. memory is what is known of the
// check's gauge and minusMemory of its second gauge; they may be nil, and may
// go on learning while the machine works.
func New(s Spec, memory, minusMemory *GaugeMemory) (Machine, error) {
	return Again(nil, s, memory, minusMemory)
}

// Again is New in the memory of a machine that is not used any more: take
// follows take, and what one allocated is what the next needs. It knows nothing
// of what that machine knew. spent may be nil, or of another method.
func Again(spent Machine, s Spec, memory, minusMemory *GaugeMemory) (Machine, error) {
	s, err := s.checked()
	if err != nil {
		return nil, err
	}
	if memory == nil {
		memory = new(GaugeMemory)
	}
	if minusMemory == nil && s.Minus != nil {
		minusMemory = new(GaugeMemory)
	}
	var m Machine
	switch s.Method {
	case Play, EndPlay:
		if sub, ok := spent.(*subtract); ok {
			spent = sub.Machine
		}
		old, _ := spent.(*play)
		m = newPlay(s, memory, minusMemory, old)
	case Size:
		m = newSize(s, memory, minusMemory)
	case RunOut:
		m = newRunOut(s, memory, minusMemory)
	case Drag:
		m = newDrag(s, memory, minusMemory)
	default:
		return nil, fmt.Errorf("nothing measures method %q: play, end-play, run-out, size and drag are measured, derived is worked out", s.Method)
	}
	if s.Minus != nil {
		m = newSubtract(m)
	}
	return m, nil
}

func (s Spec) checked() (Spec, error) {
	if s.Strokes <= 0 {
		s.Strokes = DefaultStrokes
	}
	s.Strokes = max(s.Strokes+s.Strokes%2, leastStrokes)
	if s.MaxStrokes <= 0 {
		s.MaxStrokes = max(DefaultMaxStrokes, 2*s.Strokes)
	}
	s.MaxStrokes = max(s.MaxStrokes+s.MaxStrokes%2, s.Strokes)
	if s.Confidence <= 0 {
		s.Confidence = DefaultConfidence
	}
	if s.Confidence >= 1 {
		return s, fmt.Errorf("confidence %g: expected a value between 0 and 1, such as 0.95", s.Confidence)
	}
	if s.Rule == "" {
		s.Rule = metrology.Guarded
	}
	if s.Sense == 0 {
		s.Sense = 1
	}
	for _, a := range []float64{s.TiltDeg, s.TiltMax, s.DirectionDeg, s.DirectionMax} {
		if math.Abs(a) >= 80 {
			return s, fmt.Errorf("an angle of %g degrees off the normal: expected less than 80", a)
		}
	}
	s.Gauge = s.Gauge.checked()
	if s.Minus != nil {
		g := s.Minus.checked()
		s.Minus = &g
	}
	if s.ExpectLow == 0 && s.ExpectHigh == 0 {
		s.ExpectLow, s.ExpectHigh = math.Inf(-1), math.Inf(1)
	}
	return s, nil
}

func (g Gauge) checked() Gauge {
	if g.RangeLow == 0 && g.RangeHigh == 0 {
		g.RangeLow, g.RangeHigh = math.Inf(-1), math.Inf(1)
	}
	g.HasError = g.HasError || g.Error > 0
	g.HasErrorLocal = g.HasErrorLocal || g.ErrorLocal > 0
	return g
}

// twoMicron is the floor of what a hand and a gauge can repeat, in the
// method's unit; 0 where the method does not measure a length.
func (s Spec) twoMicron() float64 {
	if v, err := quantity.Convert(0.002, quantity.MM, s.Unit); err == nil {
		return v
	}
	return 0
}
