package config

import (
	"fmt"
	"math"

	"thouwright/internal/method"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// Spec is one check of a job as package method needs it at a stage ("" where
// the job has none): every number in one unit, that of the limits where there
// are any, else that of the gauge. What only the gauge's driver knows (Sends)
// is left to the caller.
func Spec(b *Bench, j *Job, component, check int, stage string) (method.Spec, error) {
	c := j.Components[component].Checks[check]
	c.fill()
	s := method.Spec{
		Method: c.Method, Strokes: c.Strokes, MaxStrokes: c.MaxStrokes,
		Confidence: c.Confidence, Rule: c.Rule,
		Sense: 1, Turning: c.Turning, Stations: c.Stations, Compare: c.Compare,
		ExpectLow: math.Inf(-1), ExpectHigh: math.Inf(1),
	}
	if c.Sense == "-" {
		s.Sense = -1
	}
	wrong := func(key string, err error) (method.Spec, error) {
		return method.Spec{}, fmt.Errorf("%s, %s: %w", checkName(j, component, check), key, err)
	}
	var g *Gauge
	if c.Method != method.Derived {
		if g = b.Gauge(c.Gauge); g == nil {
			return wrong("gauge", fmt.Errorf("the bench has no gauge %q", c.Gauge))
		}
	}
	var err error
	if s.Unit, s.Limits, err = limitsAt(b, &c, g, stage); err != nil {
		return wrong("limits", err)
	}
	if g != nil {
		if s.Gauge, err = gaugeIn(g, s.Unit, c.Arm); err != nil {
			return wrong("gauge", err)
		}
		s.RestSeconds, s.RestCount = g.RestSeconds, g.RestReadings
	}
	if c.Minus != "" {
		m := b.Gauge(c.Minus)
		if m == nil {
			return wrong("minus", fmt.Errorf("the bench has no gauge %q", c.Minus))
		}
		mg, err := gaugeIn(m, s.Unit, nil)
		if err != nil {
			return wrong("minus", err)
		}
		s.Minus = &mg
	}
	if s.TiltDeg, s.TiltMax, err = ParseAngle(c.Tilt); err != nil {
		return wrong("tilt", err)
	}
	if s.DirectionDeg, s.DirectionMax, err = ParseAngle(c.Direction); err != nil {
		return wrong("direction", err)
	}
	if c.Master != nil {
		s.HasMaster = true
		if s.Master, err = c.Master.In(s.Unit); err != nil {
			return wrong("master", err)
		}
	}
	if c.MasterU95 != nil {
		if s.MasterU95, err = c.MasterU95.In(s.Unit); err != nil {
			return wrong("master_u95", err)
		}
	}
	if c.Expect != nil {
		if s.ExpectLow, s.ExpectHigh, err = c.Expect.In(s.Unit); err != nil {
			return wrong("expect", err)
		}
	}
	if s.Warmth, err = warmth(j, &j.Components[component], &c, g); err != nil {
		return wrong("temperature", err)
	}
	if c.Arm != nil {
		s.Arm, s.ArmUnit = c.Arm.Value.Float(), c.Arm.Unit
		if c.ArmU95 != nil && g != nil && gaugeUnit(g).Kind() != s.Unit.Kind() { // the arm turns a force into a torque
			if s.ArmU95, err = c.ArmU95.In(s.ArmUnit); err != nil {
				return wrong("arm_u95", err)
			}
		}
	}
	return s, nil
}

func checkName(j *Job, component, check int) string {
	c := &j.Components[component]
	return fmt.Sprintf("component %q, check %q", c.Name, c.Checks[check].Name)
}

// limitsAt is the unit a check is judged in and its limits at a stage, open
// ends infinite.
func limitsAt(b *Bench, c *Check, g *Gauge, stage string) (quantity.Unit, metrology.Limits, error) {
	lim := metrology.Limits{Low: math.Inf(-1), High: math.Inf(1)}
	unit := quantity.None
	r := c.Limits
	if sr, ok := c.StageLimits[stage]; ok {
		r = &sr
	}
	var err error
	switch {
	case r != nil:
		unit = r.Unit
		if lim.Low, lim.High, err = r.In(unit); err != nil {
			return unit, lim, err
		}
	case c.Fit != "":
		unit = quantity.MM
		if lim, err = fitLimits(c); err != nil {
			return unit, lim, err
		}
	default:
		unit = unitWithoutLimits(b, c, g)
	}
	if positive[c.Method] && lim.Low <= 0 {
		lim.Low = math.Inf(-1)
	}
	return unit, lim, nil
}

// unitWithoutLimits is the unit of a check that has no limits at this stage:
// that of its other limits, of its gauge (at an arm a torque), or the bench's own.
func unitWithoutLimits(b *Bench, c *Check, g *Gauge) quantity.Unit {
	for _, r := range c.StageLimits {
		if r.Unit.Kind() != quantity.Bare {
			return baseOrSame(c.StageLimits, r.Unit)
		}
	}
	if g != nil {
		switch u := gaugeUnit(g); {
		case c.Arm != nil && u == quantity.Lbf:
			return quantity.LbfIn
		case c.Arm != nil && u.Kind() == quantity.Force:
			return quantity.NM
		case u != quantity.None:
			return u
		}
	}
	if u, err := quantity.ParseUnit(b.DisplayUnit); err == nil && c.Method != method.Drag && c.Method != method.Derived {
		return u
	}
	return quantity.None
}

// baseOrSame is u where all stages share it, else the unit they have in common.
func baseOrSame(rs map[string]quantity.Range, u quantity.Unit) quantity.Unit {
	for _, r := range rs {
		if r.Unit != u {
			return baseOf(u.Kind())
		}
	}
	return u
}

// gaugeUnit is the unit a gauge reads in as far as the bench file says.
func gaugeUnit(g *Gauge) quantity.Unit {
	if g.Unit != quantity.None {
		return g.Unit
	}
	for _, q := range []*quantity.Quantity{g.Step, g.Error, g.Hysteresis, g.Repeatability} {
		if q != nil && q.Unit != quantity.None {
			return q.Unit
		}
	}
	if g.ErrorLocal != nil && g.ErrorLocal.Error.Unit != quantity.None {
		return g.ErrorLocal.Error.Unit
	}
	if g.Range != nil {
		return g.Range.Unit
	}
	return quantity.None
}

// Scale is the factor from a reading in unit from to unit to, through an arm
// where a force is turned into a torque (arm nil: none).
func Scale(from, to quantity.Unit, arm *quantity.Quantity) (float64, error) {
	if from == to {
		return 1, nil
	}
	if from.Kind() == quantity.Force && to.Kind() == quantity.Torque {
		if arm == nil {
			return 0, fmt.Errorf("the gauge reads a force (%s) but the limits are a torque (%s): add arm = \"…\", the distance from the axis at which it pulls", from, to)
		}
		m, err := arm.In(quantity.M)
		if err != nil {
			return 0, err
		}
		n, err := quantity.Convert(1, from, quantity.N)
		if err != nil {
			return 0, err
		}
		return quantity.Convert(n*m, quantity.NM, to)
	}
	return quantity.Convert(1, from, to)
}

// gaugeIn is a gauge's numbers in unit u.
func gaugeIn(g *Gauge, u quantity.Unit, arm *quantity.Quantity) (method.Gauge, error) {
	m := method.Gauge{Name: g.Name, RangeLow: math.Inf(-1), RangeHigh: math.Inf(1),
		HasError: g.Error != nil, HasErrorLocal: g.ErrorLocal != nil}
	own := gaugeUnit(g)
	if own != quantity.None && u != quantity.None {
		if _, err := Scale(own, u, arm); err != nil {
			return m, err
		}
	}
	scale := func(q *quantity.Quantity) (v float64, err error) {
		if q == nil {
			return 0, nil
		}
		from := q.Unit
		if from == quantity.None {
			from = g.Unit
		}
		k, err := Scale(from, u, arm)
		if err != nil {
			return 0, err
		}
		// Division by 25.4 and the like is exact where multiplying by an
		// inverse is not.
		if v, err := quantity.Convert(q.Value.Float(), from, u); err == nil {
			return v, nil
		}
		return q.Value.Float() * k, nil
	}
	var err error
	for _, x := range []struct {
		to *float64
		q  *quantity.Quantity
	}{{&m.Step, g.Step}, {&m.Error, g.Error}, {&m.Hysteresis, g.Hysteresis}, {&m.Repeatability, g.Repeatability}} {
		if *x.to, err = scale(x.q); err != nil {
			return m, err
		}
	}
	if e := g.ErrorLocal; e != nil {
		if m.ErrorLocal, err = scale(&e.Error); err != nil {
			return m, err
		}
		if m.ErrorSpan, err = scale(&e.Over); err != nil {
			return m, err
		}
	}
	if r := g.Range; r != nil {
		if m.RangeLow, err = scale(&quantity.Quantity{Value: r.Low, Unit: r.Unit}); err != nil {
			return m, err
		}
		if m.RangeHigh, err = scale(&quantity.Quantity{Value: r.High, Unit: r.Unit}); err != nil {
			return m, err
		}
	}
	return m, nil
}
