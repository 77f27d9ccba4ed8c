package method

import (
	"math"

	"thouwright/internal/metrology"
)

// Parts of a budget that only methods know; the others are metrology's.
const (
	PartNoiseBias = "noise bias" // of a total indicated run-out
	PartSetting   = "setting"    // setting the gauge to its master
	PartClosure   = "closure"    // the zero looked at again
	PartArm       = metrology.PartArm
	PartTurning   = "turning"          // a rocked gauge may turn between two readings
	PartStations  = "between stations" // of a run-out
)

var inf = math.Inf(1)

// scaled multiplies a part's effect on the result.
func scaled(p metrology.Part, by float64) metrology.Part {
	p.U *= by
	if p.U > 0 {
		p.Divisor = p.Value / p.U
	}
	return p
}

// LocalError is what error_local says of a difference of two readings that lie move
// apart. Beyond its span the errors of one span after another add up at worst, which
// counts where the whole travel's error is not given; ok is false where it says nothing.
func (g Gauge) LocalError(move float64) (most float64, ok bool) {
	switch {
	case !g.HasErrorLocal:
		return 0, false
	case g.ErrorSpan <= 0 || math.Abs(move) <= g.ErrorSpan:
		return g.ErrorLocal, true
	case g.HasError:
		return 0, false
	}
	return g.ErrorLocal * math.Ceil(math.Abs(move)/g.ErrorSpan-1e-9), true
}

// differenceError is what a gauge's own error does to a difference of two of
// its readings that lie move apart. A certificate's bound of a short movement
// applies where the movement is within its span; a bound of each reading
// counts for both of them. Where nothing is given one step is charged, and
// says so: a gauge of unknown error is never errorless.
func differenceError(g Gauge, move, step float64) metrology.Part {
	local, known := g.LocalError(move)
	switch {
	case known:
		return metrology.Rect(metrology.PartError, local)
	case g.HasError:
		return metrology.Tri(metrology.PartError, 2*g.Error)
	default:
		return metrology.Rect(metrology.PartErrorAssumed, step)
	}
}

// angles gives the factor from what the gauge shows to the truth, and the
// half-width of what bounded angles leave open: shown = true cos(direction) /
// cos(tilt).
func (s Spec) angles() (factor, half float64) {
	const deg = math.Pi / 180
	factor = math.Cos(s.TiltDeg*deg) / math.Cos(s.DirectionDeg*deg)
	if s.TiltMax == 0 && s.DirectionMax == 0 {
		return factor, 0
	}
	low, high := math.Cos(s.TiltMax*deg), 1/math.Cos(s.DirectionMax*deg)
	return factor * (low + high) / 2, factor * (high - low) / 2
}

// angled corrects a result and its budget for the angles.
func (s Spec) angled(value float64, b metrology.Budget) (float64, metrology.Budget) {
	factor, half := s.angles()
	if factor != 1 {
		for i := range b {
			b[i] = scaled(b[i], factor)
		}
	}
	if half > 0 {
		b = append(b, metrology.Rect(metrology.PartAngles, math.Abs(value)*half))
	}
	return value * factor, b
}

// withoutZeros drops parts that contribute nothing, or only the last bits of their
// arithmetic, so that the budget lists what counts.
func withoutZeros(b metrology.Budget) metrology.Budget {
	most := 0.0
	for _, p := range b {
		most = math.Max(most, p.U)
	}
	out := b[:0]
	for _, p := range b {
		if p.U > 1e-9*most {
			out = append(out, p)
		}
	}
	return out
}

// SetUp is what of a result's uncertainty is known before anything is measured,
// besides what comes from the gauge itself: the master's, what temperatures, angles and
// the arm leave open, and all of a second gauge. value is about what will be measured.
func (s Spec) SetUp(value float64) metrology.Budget {
	_, b := s.At20(value)
	if s.HasMaster {
		b = append(b, metrology.FromU95(metrology.PartMaster, s.MasterU95))
	}
	if factor, half := s.angles(); !s.HasMaster { // a master's size is not read along the gauge
		b = append(b, metrology.Rect(metrology.PartAngles, math.Abs(value)*half/factor))
	}
	if s.Arm > 0 {
		b = append(b, metrology.FromU95(PartArm, math.Abs(value)*s.ArmU95/s.Arm))
	}
	if g := s.Minus; g != nil {
		if s.Method == Size {
			b = append(b, metrology.Rect(metrology.PartStep, g.Step/2), readingError(*g, g.Step))
		} else {
			b = append(b, metrology.Tri(metrology.PartStep, g.Step), differenceError(*g, value, g.Step))
		}
		b = append(b, metrology.Rect(metrology.PartHysteresis, g.Hysteresis))
	}
	return withoutZeros(b)
}
