package method

import (
	"math"
	"slices"

	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
)

// coarse: stops that scatter by less than this part of a step are judged by the
// likelihood of the codes they show; beyond it the codes average the step out and
// least squares with Student's t is all there is to know.
const coarse = 0.5

// The run that is measured is, among those that could begin a little earlier or
// later, the one that agrees best, and a take is complete as soon as its strokes
// agree well enough to be no handling: both make the scatter come out a little
// small. (Waiting for strokes that agree by luck would cover 83 to 92 %.) By
// simulation (scripts/proving -table) Student's t takes so much to cover 94 to 95 %.
const chosen = 1.1

// outcome is the play with the parts of its budget that come from the stops and
// the gauge's step.
func (m *play) outcome() (value float64, b metrology.Budget) {
	f := &m.now.fit
	step, step2 := m.claimSteps()
	if step2 > 0 {
		// Two grids: their codes together hold no likelihood worth the name.
		scatter := m.scatter()
		return f.play, append(metrology.Budget{scatter}, m.stepParts(step+step2)...)
	}
	switch {
	case m.allAlike(step):
		// The same two codes over and over: each level lies anywhere within half a
		// step (JCGM 100, F.2.2.1), and no number of strokes makes that less.
		return f.play, metrology.Budget{metrology.Tri(metrology.PartStep, step)}
	case math.Sqrt(f.rss/float64(f.dof)) < coarse*step:
		// A drift that the scatter itself makes look like one is not worth its trouble.
		driftSD := max(f.sd, step/math.Sqrt(12)) * math.Sqrt(f.cross[2])
		if math.Abs(f.drift) < driftSD {
			driftSD = 0
		}
		if a, ok := metrology.Codes(m.shown(step), step, f.drift, driftSD); ok {
			return a.Mean, a.Parts()
		}
	}
	scatter := m.scatter()
	if floor := step / math.Sqrt(12) * f.factor; scatter.U < floor {
		scatter = metrology.Part{Name: metrology.PartScatter, Value: step / math.Sqrt(12), Shape: metrology.Normal, Divisor: 1 / f.factor, U: floor, Dof: inf}
	}
	return f.play, metrology.Budget{scatter}
}

// selected is how much wider a scatter is than it came out, because it is one that
// was let through. Of presses all were meant, and none was chosen.
func (m *play) selected() float64 {
	if m.spec.Gauge.Sends == ledger.OnPress {
		return 1
	}
	return chosen
}

func (m *play) scatter() metrology.Part {
	f := &m.now.fit
	sd := f.sd * m.selected()
	return metrology.Part{Name: metrology.PartScatter, Value: sd, Shape: metrology.StudentT, Divisor: 1 / f.factor, U: sd * f.factor, Dof: float64(f.sdDof)}
}

// allAlike tells whether each side shows one code and nothing else.
func (m *play) allAlike(step float64) bool {
	if len(m.now.fit.ends) > 1 {
		return false
	}
	for _, side := range []float64{-1, 1} {
		low, high := inf, -inf
		for i, p := range m.now.points {
			if p.used && p.side == side {
				low, high = min(low, m.now.turns[i].Low), max(high, m.now.turns[i].High)
			}
		}
		if high-low >= step/2 {
			return false
		}
	}
	return true
}

// shown is what the gauge showed of the used stops. A rest that shows one code shows it
// from its beginning to its end, however the gauge drifts meanwhile. One that shows two
// stands near the edge between them: on it, where it drifts or creeps across, and
// towards the code shown more often, where its readings flicker.
func (m *play) shown(step float64) []metrology.Shown {
	list := make([]metrology.Shown, 0, len(m.now.points))
	for i, p := range m.now.points {
		if !p.used {
			continue
		}
		t := &m.now.turns[i]
		x := metrology.Shown{T: p.t, Low: p.y - step/2, High: p.y + step/2, Level: p.level}
		if p.side > 0 {
			x.Side = 1
		}
		if d := t.High - t.Low; d < step/2 {
			x.Span = settled * (t.End - t.Start)
		} else if d < 1.5*step {
			edge := (t.Low + t.High) / 2
			x.Low, x.High = min(p.y, edge)-step/8, max(p.y, edge)+step/8
		}
		list = append(list, x)
	}
	return list
}

// settled is the part of a rest that its value is made of.
const settled = 2.0 / 3

// stepParts charges the step per side, where there is no likelihood of codes: a
// side that always shows one code teaches nothing by being repeated, and its level
// lies within half a step; the scatter of one that varies holds the step.
func (m *play) stepParts(step float64) (b metrology.Budget) {
	for _, side := range []float64{-1, 1} {
		low, high := inf, -inf
		for _, p := range m.now.points {
			if p.used && p.side == side {
				low, high = min(low, p.y), max(high, p.y)
			}
		}
		if high-low < step/2 {
			b = append(b, metrology.Rect(metrology.PartStep, step/2))
		}
	}
	return b
}

// result is the play and its budget.
func (m *play) result() (float64, metrology.Budget) {
	value, b := m.outcome()
	b = slices.Grow(b, 6)
	step, step2 := m.claimSteps()
	b = append(b, metrology.Rect(metrology.PartCreep, m.creep()))
	move, move2 := m.now.fit.play, 0.0
	if m.spec.Minus != nil {
		move2 = m.trail.second(m.now.turns)
		move += move2 // each gauge is held against what it moved itself
	}
	b = append(b, differenceError(m.spec.Gauge, move, step))
	b = append(b, metrology.Rect(metrology.PartHysteresis, m.spec.Gauge.Hysteresis), metrology.Gauss(metrology.PartRepeatability, m.spec.Gauge.Repeatability))
	if g := m.spec.Minus; g != nil {
		b = append(b, differenceError(*g, move2, step2), metrology.Rect(metrology.PartHysteresis, g.Hysteresis))
	}
	return value, withoutZeros(b)
}

// creep is what the rests moved while they were held, beyond the drift, each side by
// itself: what creeps out on one side does not make good what gives way on the other.
// The very beginning, where much of it happens, is not seen, so what is seen counts twice
// (by simulation with creep that dies away in half a second, scripts/proving -aims,
// it takes that much), and inward as well as outward: a hand that gives way makes
// the play too small, which is the unsafe side.
func (m *play) creep() float64 {
	var sum, drift, n [2]float64
	for i, t := range m.now.turns {
		if m.now.points[i].used && (t.Used >= 4 || m.spec.Gauge.Sends == ledger.OnChange) { // whose codes last
			k := sideOf(t.side)
			sum[k] += t.Creep
			drift[k] += m.now.fit.drift * creepSpan * (t.End - t.Start)
			n[k]++
		}
	}
	if sum[0]*sum[1] < 0 {
		drift = [2]float64{} // which takes both sides the same way
	}
	var c float64
	for k := range n {
		if n[k] >= 2 {
			c += 2 * beyondDrift(sum[k], drift[k], m.step) / n[k]
		}
	}
	return c
}

// creepSpan is the part of a rest from the middle of the readings that its creep is
// reckoned from to the middle of those that it is reckoned to.
const creepSpan = 0.58

// beyondDrift is a creep, summed over rests, where it is more than the drift makes. A
// drift shows as a code passed in a rest now and then, so many as chance has it (Poisson):
// up to two standard deviations more than the mean is no sign of a creep.
func beyondDrift(creep, drift, step float64) float64 {
	if creep < 0 {
		creep, drift = -creep, -drift
	}
	if drift > 0 && creep <= drift+2*math.Sqrt(step*drift) {
		return 0
	}
	return creep
}

// stoodStill compares the first and the last used rest of each side beyond the
// fitted drift.
func (m *play) stoodStill() bool {
	for _, side := range []float64{-1, 1} {
		var first, last *point
		for i := range m.now.points {
			if p := &m.now.points[i]; p.used && p.side == side {
				if first == nil {
					first = p
				}
				last = p
			}
		}
		if first == nil || first.level != last.level {
			continue
		}
		gap := last.y - first.y - m.now.fit.drift*(last.t-first.t)
		if math.Abs(gap) > max(m.now.fit.play/4, 2*m.step) {
			return false
		}
	}
	return true
}
