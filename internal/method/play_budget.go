package method

import (
	"math"

	"thouwright/internal/metrology"
)

func (m *play) stepParts(step float64, scatter *metrology.Part) (b metrology.Budget) {
	s := m.now
	var halves [2]float64
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
				h = step / 2 * math.Abs(1-2*share)
			}
			sum += n * h
			weight += n
		}
		if weight > 0 {
			halves[k] = sum / weight
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

func (m *play) creep() float64 {
	var sum, sq float64
	n := 0.0
	for i, t := range m.now.turns {
		if m.now.points[i].used && t.Used >= 4 {
			c := t.Creep * t.side
			sum += c
			sq += c * c
			n++
		}
	}
	if n < 3 {
		return 0
	}
	return max(0, 2*sum/n)
}

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
