package method

import "math"

const reasonChanged = "the play has changed: what was before does not count"

// changed is the first turning point of a run from which on the play is another one
// (somebody turned the adjuster in between, or the hand now reaches the stop), 0 where
// it is the same all along: for each place the plays before and after it, freed of the
// drift, compared by Student's t with the scatter of the rests about the two. What is
// less than floor is the grid, or a hand.
func (s *series) changed(floor, step float64) (from int) {
	n := len(s.points)
	most := 1.0
	for k := changeLeast; k <= n-changeLeast; k++ {
		var cell [2][2]tail // before and after, low and high
		for i, p := range s.points {
			if p.level != 0 {
				return 0 // a knock has levels of its own
			}
			if p.used {
				part := 0
				if i >= k {
					part = 1
				}
				cell[part][sideOf(p.side)].add(s.fit.residual(p), 0)
			}
		}
		var by, rss, wide, used float64
		for part, sign := range [2]float64{-1, 1} {
			for side, c := range cell[part] {
				if c.n == 0 {
					return 0
				}
				mean := c.sum / c.n
				by += sign * float64(2*side-1) * mean
				rss += c.sq - c.sum*mean
				wide += 1 / c.n
				used += c.n
			}
		}
		dof := used - 5 // four stops and the drift
		if dof < 1 || math.Abs(by) <= floor {
			continue
		}
		sd := math.Sqrt(max(rss/dof, step*step/12))
		if t := math.Abs(by) / (sd * math.Sqrt(wide)) / quantileOf(&student999, int(dof)); t > most {
			most, from = t, k
		}
	}
	return from
}

// changeLeast: turning points on either side of a change, so that one of them is no
// stroke that stopped short.
const changeLeast = 3
