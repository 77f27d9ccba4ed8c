package capture

import (
	"math"

	"thouwright/internal/method"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// Decides is zoneLine for a gauge that has not been seen: it knows the step only where
// the bench file gives one.
func Decides(s method.Spec, show quantity.Unit) string {
	if limitsOf(s).None() || s.Method == method.Derived {
		return ""
	}
	if s.Gauge.Step <= 0 || s.Minus != nil && s.Minus.Step <= 0 {
		return "what its gauge can decide is known once its step is: it shows as the gauge moves, or give step in the bench file"
	}
	if show.Kind() != s.Unit.Kind() {
		show = s.Unit
	}
	return zoneLine(s, s.Gauge.Step, show)
}

// zoneLine says, before anything is measured, what a check's gauge could ever
// decide of its limits, in the unit the person reads.
func zoneLine(s method.Spec, step float64, show quantity.Unit) string {
	lim := limitsOf(s)
	if lim.None() || s.Unit == quantity.None || s.Method == method.Derived {
		return ""
	}
	if step <= 0 {
		return "" // the step shows itself once the gauge moves
	}
	local := s.Gauge.ErrorLocal
	if ofDifference(s) {
		local, _ = s.Gauge.LocalError(furthest(s, lim))
	}
	ask := metrology.Ask{
		Step:       step,
		ErrorKnown: s.Gauge.HasError || s.Gauge.HasErrorLocal,
		ErrorLocal: local,
		Error:      s.Gauge.Error,
		Hysteresis: s.Gauge.Hysteresis,
		Difference: ofDifference(s),
		Master:     s.Method == method.Size && !s.HasMaster,
		Limits:     lim,
		Confidence: s.Confidence,
		Rule:       s.Rule,
	}
	if r := s.Gauge.Repeatability; r > 0 {
		ask.Other = metrology.Budget{metrology.Gauss(metrology.PartRepeatability, r)}
	}
	ask.Other = append(ask.Other, s.SetUp(nearLimits(lim))...)
	return metrology.DecisionZone(ask).In(s.Unit, show)
}

// ofDifference tells whether a result is a difference of its gauge's readings.
func ofDifference(s method.Spec) bool {
	return s.Method != method.Size && s.Method != method.Drag || s.HasMaster
}

// furthest is how far apart the readings may lie whose difference is judged.
func furthest(s method.Spec, lim metrology.Limits) float64 {
	if !s.HasMaster {
		if math.IsInf(lim.High, 1) {
			return lim.Low // about which it is asked
		}
		return lim.High
	}
	far := 0.0
	for _, l := range [2]float64{lim.Low, lim.High} {
		if !math.IsInf(l, 0) {
			far = math.Max(far, math.Abs(l-s.Master))
		}
	}
	return far
}

// nearLimits is a size about which a check is asked.
func nearLimits(lim metrology.Limits) float64 {
	switch {
	case math.IsInf(lim.Low, -1):
		return lim.High
	case math.IsInf(lim.High, 1):
		return lim.Low
	}
	return (lim.Low + lim.High) / 2
}
