package metrology

import (
	"fmt"
	"math"
	"sort"

	"thouwright/internal/quantity"
)

// Ask is a gauge about to be used on a check, before anything is measured. All
// lengths in one unit; zero means not given.
type Ask struct {
	Step       float64 // least change the gauge can show
	ErrorKnown bool    // an error was given, so that 0 means none
	ErrorLocal float64 // largest error of a difference (where the movement is within its span)
	Error      float64 // largest error of a reading, over the whole travel
	Hysteresis float64
	Other      Budget // repeatability, angles, master: what else is known beforehand
	Difference bool   // the result is a difference of readings (play, run-out), not one reading
	Master     bool   // a master to compare with would make it one
	Limits     Limits // with OpenLow already applied where the method calls for it
	Confidence float64
	Rule       Rule
}

// Zone is what a gauge could ever say of the limits. It is at best: the scatter
// of the strokes comes on top.
type Zone struct {
	Low, High  float64 // results between these would pass; open ends are infinite
	Empty      bool    // no result could ever pass
	Share      float64 // of the limits' width (from 0 where the lower end is open) that can pass
	U          float64 // standard uncertainty expected at best
	FinestHigh float64 // least upper limit (one-sided) or width (two-sided) that leaves a zone
	StepNeeded float64 // a step that would leave half of the limits; 0: no step alone would
	Budget     Budget
	Assumed    bool // the gauge's error was not given: one step assumed
	Confidence float64
	Simple     bool // the result alone is compared, whatever the gauge
	limits     Limits
	ask        Ask
}

// DecisionZone finds the zone. With a normal uncertainty u and limits T apart
// there is none below T/u = 3.92 at 95 %.
func DecisionZone(a Ask) Zone {
	b, assumed := a.budget(a.Step)
	c := b.Combine()
	z := Zone{Budget: b, U: c.U, Assumed: assumed, Confidence: a.Confidence, limits: a.Limits}
	if a.Rule == Simple {
		z.Low, z.High, z.Share, z.Simple = a.Limits.Low, a.Limits.High, 1, true
		return z
	}
	z.Low, z.High, z.Empty = passing(c, a.Limits, a.Confidence)
	z.Share = share(z.Low, z.High, z.Empty, a.Limits)
	z.FinestHigh = finest(c, a.Limits, a.Confidence)
	z.StepNeeded = a.stepNeeded(1)
	z.ask = a
	return z
}

// budget is what a single take has at best with a gauge of this step.
func (a Ask) budget(step float64) (b Budget, assumed bool) {
	if a.Difference {
		b = append(b, Tri(PartStep, step))
	} else {
		b = append(b, Rect(PartStep, step/2))
	}
	switch {
	case a.ErrorLocal > 0 && a.Difference:
		b = append(b, Rect(PartError, a.ErrorLocal))
	case a.Error > 0 && a.Difference: // the difference of two rectangles
		b = append(b, Tri(PartError, 2*a.Error))
	case a.Error > 0:
		b = append(b, Rect(PartError, a.Error))
	case a.ErrorLocal > 0:
		b = append(b, Rect(PartError, a.ErrorLocal))
	case a.ErrorKnown:
	default:
		b, assumed = append(b, Rect(PartErrorAssumed, step)), true
	}
	if a.Hysteresis > 0 {
		b = append(b, Rect(PartHysteresis, a.Hysteresis))
	}
	return append(b, a.Other...), assumed
}

// passing is the interval of results whose p_in reaches the confidence.
func passing(c Combined, lim Limits, conf float64) (low, high float64, empty bool) {
	if lim.None() {
		return lim.Low, lim.High, false
	}
	guard := c.Quantile(conf) // one tail
	switch {
	case math.IsInf(lim.Low, -1):
		return lim.Low, lim.High - guard, false
	case math.IsInf(lim.High, 1):
		return lim.Low + guard, lim.High, false
	}
	// By symmetry about the middle one side is enough. Beyond the inner end
	// p_in falls, so this is a quantile of its own.
	w := lim.Width()
	in := func(x float64) (p, density float64) { // x: from the middle outward
		F, f := c.density(w/2 - x)
		G, g := c.density(-w/2 - x)
		return F - G, g - f
	}
	if p, _ := in(0); p < conf {
		return math.NaN(), math.NaN(), true
	}
	mid := (lim.Low + lim.High) / 2
	lo, hi := 0.0, w/2
	x := max(0, w/2-guard)
	for range 60 {
		p, d := in(x)
		if p >= conf {
			lo = x
		} else {
			hi = x
		}
		if hi-lo < 1e-9*w {
			break
		}
		next := x - (p-conf)/d
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if math.Abs(next-x) < 1e-10*w { // Newton has arrived; stay on the passing side
			break
		}
		x = next
	}
	return mid - x, mid + x, false
}

// share is the part of the limits that a result can pass in. An open lower end
// counts from 0, the least a play can be.
func share(low, high float64, empty bool, lim Limits) float64 {
	switch {
	case empty:
		return 0
	case math.IsInf(lim.High, 1) || lim.None():
		return 1
	case math.IsInf(lim.Low, -1):
		if lim.High <= 0 {
			return 1
		}
		return max(0, high/lim.High)
	}
	return (high - low) / lim.Width()
}

// finest is the least upper limit, or the least width between two limits, that
// leaves any zone.
func finest(c Combined, lim Limits, conf float64) float64 {
	if math.IsInf(lim.Low, -1) || math.IsInf(lim.High, 1) {
		return c.Quantile(conf)
	}
	return 2 * c.halfWidth(conf)
}

// enough is the share of the limits that a gauge which 'would do' leaves.
const enough = 0.5

// stepNeeded is the coarsest step of the 1-2-5 row, counted in a unit of so
// many of the limits' own, that leaves enough; an assumed error shrinks with
// the step, a given one stays.
func (a Ask) stepNeeded(unit float64) float64 {
	ok := func(step float64) bool {
		b, _ := a.budget(step)
		low, high, empty := passing(b.Combine(), a.Limits, a.Confidence)
		return share(low, high, empty, a.Limits) >= enough
	}
	width := a.Limits.Width()
	if math.IsInf(width, 1) {
		width = math.Abs(a.Limits.High)
	}
	if math.IsInf(width, 1) || width == 0 || a.Limits.None() || !ok(0) {
		return 0
	}
	// A step as wide as the limits never leaves half of them; nine decades
	// below, any error left is not the step's.
	top := 3 * int(math.Ceil(math.Log10(width/unit)))
	row := func(i int) float64 { // i falls by one from step to finer step
		return unit * [...]float64{1, 2, 5}[((i%3)+3)%3] * math.Pow10(int(math.Floor(float64(i)/3)))
	}
	n := sort.Search(27, func(k int) bool { return ok(row(top - k)) })
	if n == 27 {
		return 0
	}
	return row(top - n)
}

// In says it in one line for people, given the limits' unit and the one to show.
func (z Zone) In(from, to quantity.Unit) string {
	say := speaker(from, to, z.U)
	if z.limits.None() {
		return "no limits are set"
	}
	if z.Simple {
		return "the result alone is compared (simple rule): nothing is left for the gauge's uncertainty, which is " + say.full(z.Budget.Combine().U95) + " at best"
	}
	// A width that is just too small must not read as if it were enough.
	fine := say
	fine.places++
	finest := fine.full(z.FinestHigh)
	assumed := ""
	if z.Assumed {
		assumed = "; its error is not given, one step is assumed"
	}
	remedy := ""
	if f, err := quantity.Convert(1, to, from); z.Share < enough && err == nil && to != from {
		z.StepNeeded = z.ask.stepNeeded(f) // a round one where it is read
	}
	switch {
	case z.Share >= enough:
	case z.StepNeeded > 0:
		remedy = fmt.Sprintf("; a gauge with a step of %s would do", z.step(say))
	default:
		remedy = "; a finer step alone would not do: " + z.ask.remedy()
	}
	switch {
	case z.Empty:
		return "this gauge can never say pass here: the limits would have to be " + finest + " apart" + remedy + assumed
	case math.IsInf(z.limits.Low, -1) && z.High <= 0 && z.limits.High > 0:
		return "this gauge can never say pass here: the limit would have to be " + finest + " or more" + remedy + assumed
	case math.IsInf(z.Low, -1):
		return "can pass up to " + say.named(say.most(z.High)) + ", and serve limits down to " + finest + remedy + assumed
	case math.IsInf(z.High, 1):
		return "can pass from " + say.named(say.least(z.Low)) + " up" + remedy + assumed
	}
	return "can pass from " + say.least(z.Low) + " to " + say.named(say.most(z.High)) + ", and serve limits down to " + finest + " apart" + remedy + assumed
}

// remedy is what helps where the gauge's error does not leave enough.
func (a Ask) remedy() string {
	switch {
	case a.Difference && a.ErrorLocal == 0:
		return "prove the gauge's error over a short movement, or use a better gauge"
	case a.Master:
		return "compare with a master of about this size, or use a better gauge"
	}
	return "use a better gauge"
}

func (z Zone) step(say speech) string {
	s := plain(say.in(z.StepNeeded), 2)
	if u := say.to.String(); u != "" {
		s += " " + u
	}
	return s
}
