package method

import (
	"math"

	"thouwright/internal/metrology"
)

// A side of one code beside a side of several: its level lies within this part
// of half a step; and of seven stops and their fit, those of one side alone
// make so much of the variance. Both were found by simulation (scripts/proving).
const (
	besideScatter = 0.6
	besideFactor  = 0.72
)

// stepParts charges the gauge's step, per side. A side that always shows one
// code teaches nothing by being repeated: its level lies within half a step. On
// a side that shows two codes the level lies between them, the nearer to the
// middle the more even they are. Three codes and more average the step out, and
// the scatter holds it.
func (m *play) stepParts(step float64, scatter *metrology.Part) (b metrology.Budget) {
	s := m.now
	var halves [2]float64
	var varies [2]bool
	for k, side := range []float64{-1, 1} {
		var sum, weight float64
		for level := range s.fit.ends {
			low, high, total, n := inf, -inf, 0.0, 0.0
			for _, p := range s.points {
				if p.used && p.side == side && p.level == level {
					low, high = min(low, p.y), max(high, p.y)
					total += p.y
					n++
				}
			}
			if n == 0 {
				continue
			}
			code := math.Floor(low/step+1e-6) * step
			h := 0.0
			if high-code <= step*(1+1e-6) {
				share := (total/n - code) / step
				h = step / 2 * math.Abs(1-2*share) * max(0, 1-2*(high-low)/step)
			}
			varies[k] = varies[k] || high-low >= step/2
			sum += n * h
			weight += n
		}
		if weight > 0 {
			halves[k] = sum / weight
		}
	}
	for k := range halves {
		if varies[1-k] && !varies[k] && halves[k] > 0 {
			// The other side shows that stops scatter by a good part of a step, so
			// that a level near the edge of its code would have shown the next one
			// too; and all the scatter is the other side's.
			halves[k] *= besideScatter
			if f := math.Sqrt(besideFactor); scatter.U > 0 {
				scatter.U *= f
				scatter.Divisor /= f
			}
		}
	}
	if halves[0] < 1e-3*step && halves[1] < 1e-3*step {
		if floor := step / math.Sqrt(12) * s.fit.factor; scatter.U < floor {
			*scatter = metrology.Part{Name: metrology.PartScatter, Value: step / math.Sqrt(12), Shape: metrology.Normal, Divisor: 1 / s.fit.factor, U: floor, Dof: inf}
		}
		return nil
	}
	if math.Abs(halves[0]-halves[1]) < 1e-3*step {
		return metrology.Budget{metrology.Tri(metrology.PartStep, halves[0]+halves[1])}
	}
	return metrology.Budget{metrology.Rect(metrology.PartStep, halves[0]), metrology.Rect(metrology.PartStep, halves[1])}
}

func (m *play) budget() metrology.Budget {
	f := m.now.fit
	sd := f.sd * m.early()
	scatter := metrology.Part{Name: metrology.PartScatter, Value: sd, Shape: metrology.StudentT, Divisor: 1 / f.factor, U: sd * f.factor, Dof: float64(f.sdDof)}
	step, step2 := m.claimSteps()
	steps := m.stepParts(step+step2, &scatter)
	b := append(metrology.Budget{scatter}, steps...)
	b = append(b, metrology.Rect(metrology.PartCreep, m.creep()))
	move := math.Abs(f.play)
	b = append(b, differenceError(m.spec.Gauge, move, step))
	b = append(b, metrology.Rect(metrology.PartHysteresis, m.spec.Gauge.Hysteresis), metrology.Gauss(metrology.PartRepeatability, m.spec.Gauge.Repeatability))
	if g := m.spec.Minus; g != nil {
		b = append(b, differenceError(*g, move, step2), metrology.Rect(metrology.PartHysteresis, g.Hysteresis))
	}
	return withoutZeros(b)
}

// creep is what the rests moved while they were used, each side by itself: what
// creeps out on one side does not make good what gives way on the other. The
// first third, where most of it happens, is not seen, so what is seen counts
// whole, and inward as well as outward: a hand that gives way makes the play too
// small, which is the unsafe side.
func (m *play) creep() float64 {
	var sum, n [2]float64
	for i, t := range m.now.turns {
		if m.now.points[i].used && t.Used >= 4 {
			k := 0
			if t.side > 0 {
				k = 1
			}
			sum[k] += t.Creep
			n[k]++
		}
	}
	var c float64
	for k := range n {
		if n[k] >= 2 {
			c += 2 * math.Abs(sum[k]/n[k])
		}
	}
	return c
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
