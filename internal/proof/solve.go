package proof

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"

	"thouwright/internal/metrology"
)

// Standard is what the gauge is stepped over, in the gauge's unit: blocks of
// known size, or the marks of a screw of known pitch.
type Standard struct {
	Sizes []float64 // blocks, two or more
	Mark  float64   // screw: movement from one mark to the next
	U95   float64   // expanded uncertainty of each size (of each mark's place)
}

// Bound is an estimate with its uncertainty, and what it stays under with 95 %.
type Bound struct {
	Value float64
	U95   float64
	Most  float64 // |true| stays under it with 95 %
}

// Position is one known size as the gauge reads it.
type Position struct {
	Known float64 // from the smallest
	Shown float64 // from the smallest, by the gauge
	Error float64 // Shown - Known
	Below int     // rests reached from smaller readings
	Above int     // and from larger ones
	Rests int
}

// Result is what a proof found, in the gauge's unit.
type Result struct {
	Error      Bound // of a difference, over the whole of Over
	Over       float64
	Hysteresis *Bound // nil: no size was reached from both sides
	Positions  []Position
	Drift      float64 // per minute
	SD         float64 // of a rest
	Dof        int
	Sense      int // -1: the gauge counts down as the sizes grow
	Step       float64
	LeftOut    []LeftOut
	Budget     metrology.Budget
	Notes      []string
}

// LeftOut is a rest that does not count, and why.
type LeftOut struct {
	Rest   Rest
	Reason string
}

// Least degrees of freedom, and the part of the spacing within which a rest
// belongs to a size.
const (
	leastDof = 3
	near     = 0.4
)

// placed is a rest with the number of its size.
type placed struct {
	Rest
	at int
}

// Solve fits rests to the standard: one level for each size, a drift in time,
// and, where sizes are reached from both sides, a hysteresis.
func Solve(rests []Rest, std Standard, step float64) (*Result, error) {
	r := &Result{Step: step}
	var used []placed
	var known []float64
	var err error
	if std.Mark > 0 {
		used, known, err = r.onScrew(rests, std.Mark)
	} else {
		used, known, err = r.onBlocks(rests, std.Sizes)
	}
	if err != nil {
		return nil, err
	}
	used, fit, hasHyst, err := r.fitAll(used, len(known))
	if err != nil {
		return nil, err
	}
	r.SD, r.Dof = fit.SD, fit.Dof
	r.Drift = fit.Coef[len(known)] * 60
	r.positions(used, known, fit)
	r.largest(known, fit, std)
	r.Over = known[len(known)-1] - known[0]
	if hasHyst {
		h := len(known) + 1
		b := metrology.Budget{metrology.Student(metrology.PartScatter, 2*fit.SE[h], float64(fit.Dof))}
		hyst := r.bound(2*fit.Coef[h], r.withStep(b))
		hyst.Value = math.Abs(hyst.Value)
		r.Hysteresis = &hyst
	} else {
		r.Notes = append(r.Notes, r.unseen())
	}
	if r.SD < step/2 && r.Error.Most > step {
		r.Notes = append(r.Notes, "the gauge's step is the most of it: a proof cannot show less than about one step")
	}
	return r, nil
}

// unseen says where the hysteresis is that could not be told apart.
func (r *Result) unseen() string {
	below, above, both := 0, 0, 0
	for _, p := range r.Positions {
		below += p.Below
		above += p.Above
		both += min(p.Below, p.Above)
	}
	const more = "; step over three or more sizes, up and down, to see it"
	if min(below, above) <= 1 { // one may be the set-up
		return "every rest was reached from the same side, so the hysteresis is not in these figures" + more
	}
	if both > 1 {
		return "there are too few rests to tell the hysteresis from the error: step over the sizes once more, up and down"
	}
	return "each size was reached from one side only, so the hysteresis is part of the error and not told apart" + more
}

// onBlocks finds which block each rest stands on: the offset and the sense
// that leave the least over.
func (r *Result) onBlocks(rests []Rest, sizes []float64) ([]placed, []float64, error) {
	known := slices.Clone(sizes)
	sort.Float64s(known)
	known = slices.Compact(known)
	if len(known) < 2 {
		return nil, nil, fmt.Errorf("two or more different sizes are needed")
	}
	gap := math.Inf(1)
	for i := 1; i < len(known); i++ {
		gap = min(gap, known[i]-known[i-1])
	}
	if gap < 2*r.Step {
		return nil, nil, fmt.Errorf("the sizes lie %.4g apart, less than two steps of %.4g: take sizes further apart", gap, r.Step)
	}
	best, offset := math.Inf(1), 0.0
	for _, sense := range []int{+1, -1} { // a tie goes to +1
		for _, rest := range rests {
			for _, x := range known {
				o := rest.Value - float64(sense)*x
				if c := cost(rests, known, o, sense, gap); c < best*(1-1e-9) {
					best, offset, r.Sense = c, o, sense
				}
			}
		}
	}
	var used []placed
	found := map[int]bool{}
	for _, rest := range rests {
		i, d := nearest(known, float64(r.Sense)*(rest.Value-offset))
		if d > near*gap {
			r.LeftOut = append(r.LeftOut, LeftOut{rest, "on none of the sizes"})
			continue
		}
		used = append(used, placed{rest, i})
		found[i] = true
	}
	if len(found) < 2 {
		return nil, nil, fmt.Errorf("only one of the sizes was found in %d rests: the differences between rests fit no two sizes", len(rests))
	}
	// Sizes that were never rested on are not part of the proof.
	var kept []float64
	index := map[int]int{}
	for i, x := range known {
		if found[i] {
			index[i] = len(kept)
			kept = append(kept, x)
		} else {
			r.Notes = append(r.Notes, fmt.Sprintf("no rest on %.6g", x))
		}
	}
	for i := range used {
		used[i].at = index[used[i].at]
	}
	return used, kept, nil
}

// cost is how far rests lie from their nearest sizes, each counted no higher
// than a rest on none of them.
func cost(rests []Rest, known []float64, offset float64, sense int, gap float64) float64 {
	c := 0.0
	for _, rest := range rests {
		_, d := nearest(known, float64(sense)*(rest.Value-offset))
		c += min(d, near*gap)
	}
	return c
}

func nearest(known []float64, x float64) (at int, d float64) {
	d = math.Inf(1)
	for i, k := range known {
		if e := math.Abs(x - k); e < d {
			at, d = i, e
		}
	}
	return at, d
}

// onScrew counts marks from rest to rest: only the error within one move has to be
// less than a mark's share, not what has gathered since the first. A rest that does
// not fit the first one leaves that out instead, which may have been the set-up.
func (r *Result) onScrew(rests []Rest, mark float64) ([]placed, []float64, error) {
	if mark < 2*r.Step {
		return nil, nil, fmt.Errorf("the marks lie %.4g apart, less than two steps of %.4g: turn by more at a time (--marks)", mark, r.Step)
	}
	r.Sense = +1
	var used []placed
	for _, rest := range rests {
		if len(used) == 0 {
			used = append(used, placed{rest, 0})
			continue
		}
		last := used[len(used)-1]
		moved := (rest.Value - last.Value) / mark
		n := math.Round(moved)
		switch {
		case math.Abs(moved-n) <= near:
			used = append(used, placed{rest, last.at + int(n)})
		case len(used) == 1:
			r.LeftOut = append(r.LeftOut, LeftOut{last.Rest, "between two marks"})
			used[0] = placed{rest, 0}
		default:
			r.LeftOut = append(r.LeftOut, LeftOut{rest, "between two marks"})
		}
	}
	// To leave out whatever does not fit would leave out the error itself.
	if out := len(r.LeftOut); out > len(rests)/5 && len(used) > 1 {
		return nil, nil, fmt.Errorf("%d of %d rests lie between two marks of %.4g: stop on a mark each time, or name fewer marks on a turn (--marks) if the gauge is off by that much", out, len(rests), mark)
	}
	var places []int
	for _, u := range used {
		places = append(places, u.at)
	}
	slices.Sort(places)
	places = slices.Compact(places)
	if len(places) < 2 {
		return nil, nil, fmt.Errorf("%d rests, all on one mark: turn by at least one mark of %.4g", len(rests), mark)
	}
	known := make([]float64, len(places))
	index := map[int]int{}
	for i, n := range places {
		known[i] = float64(n) * mark
		index[n] = i
	}
	for i := range used {
		used[i].at = index[used[i].at]
	}
	return used, known, nil
}

// oddOne is the chance at which a rest among all of them is left out although
// nothing is wrong with it.
const oddOne = 0.01

// fitAll fits, and while a rest lies further from what all the others say than
// chance and one and a half steps allow, leaves the worst out (at most one in
// five).
func (r *Result) fitAll(used []placed, sizes int) ([]placed, metrology.Regression, bool, error) {
	fit, hyst, err := fitOnce(used, sizes)
	for most := len(used) / 5; err == nil && most > 0; most-- {
		worst, at := 1.0, -1
		for i := range used {
			others := slices.Delete(slices.Clone(used), i, i+1)
			f, h, err := fitOnce(others, sizes)
			if err != nil {
				continue // it can't be spared
			}
			e, u := predict(used[i], others[0].T, f, sizes, h)
			t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(f.Dof)}.Quantile(1 - oddOne/2/float64(len(used)))
			if x := math.Abs(e) / max(t*u, 1.5*r.Step); x > worst {
				worst, at = x, i
			}
		}
		if at < 0 {
			break
		}
		r.LeftOut = append(r.LeftOut, LeftOut{used[at].Rest, "far from what the other rests say"})
		used = slices.Delete(slices.Clone(used), at, at+1)
		fit, hyst, err = fitOnce(used, sizes)
	}
	return used, fit, hyst, err
}

// predict is how far a rest lies from a fit of others, and the standard
// uncertainty of that.
func predict(p placed, start float64, fit metrology.Regression, sizes int, hyst bool) (e, u float64) {
	x := make([]float64, len(fit.Coef))
	x[p.at], x[sizes] = 1, p.T-start
	if hyst {
		x[sizes+1] = float64(p.From)
	}
	e, v := p.Value, fit.SD*fit.SD
	for i := range x {
		e -= x[i] * fit.Coef[i]
		for j := range x {
			v += x[i] * x[j] * fit.Cov[i][j]
		}
	}
	return e, math.Sqrt(max(0, v))
}

// fitOnce has one column for each size, one for time and, where it can be told
// apart, one for the side a rest was reached from.
func fitOnce(used []placed, sizes int) (metrology.Regression, bool, error) {
	n := make([]int, sizes)
	sides := make([][2]int, sizes)
	for _, u := range used {
		n[u.at]++
		switch u.From {
		case +1:
			sides[u.at][0]++
		case -1:
			sides[u.at][1]++
		}
	}
	both := 0 // rests of each side that have one of the other on their own size
	for i := range n {
		if n[i] == 0 {
			return metrology.Regression{}, false, fmt.Errorf("a size lost all its rests: step over it again")
		}
		both += min(sides[i][0], sides[i][1])
	}
	rows := func(hyst bool) (rows [][]float64, y []float64) {
		for _, u := range used {
			row := make([]float64, sizes, sizes+2)
			row[u.at] = 1
			row = append(row, u.T-used[0].T)
			if hyst {
				row = append(row, float64(u.From))
			}
			rows = append(rows, row)
			y = append(y, u.Value)
		}
		return rows, y
	}
	if len(used) < sizes+1+leastDof {
		return metrology.Regression{}, false, fmt.Errorf("%d good rests on %d sizes: at least %d are needed, so that drift and scatter can be told from the error", len(used), sizes, sizes+1+leastDof)
	}
	// One rest from the other side may be the set-up.
	if both > 1 && len(used) >= sizes+2+leastDof {
		x, y := rows(true)
		if fit, err := metrology.LeastSquares(x, y, false); err == nil {
			return fit, true, nil
		}
	}
	x, y := rows(false)
	fit, err := metrology.LeastSquares(x, y, false)
	if err != nil {
		return fit, false, fmt.Errorf("the rests do not tell drift from error: go back and forth between the sizes")
	}
	return fit, false, nil
}

func (r *Result) positions(used []placed, known []float64, fit metrology.Regression) {
	for i, x := range known {
		p := Position{Known: x - known[0], Shown: float64(r.Sense) * (fit.Coef[i] - fit.Coef[0])}
		p.Error = p.Shown - p.Known
		for _, u := range used {
			if u.at != i {
				continue
			}
			p.Rests++
			switch u.From {
			case +1:
				p.Below++
			case -1:
				p.Above++
			}
		}
		r.Positions = append(r.Positions, p)
	}
}

// largest is the largest error of a difference between any two sizes.
func (r *Result) largest(known []float64, fit metrology.Regression, std Standard) {
	most := -1.0
	for i := range known {
		for j := i + 1; j < len(known); j++ {
			e := r.Positions[j].Error - r.Positions[i].Error
			u := math.Sqrt(max(0, fit.Cov[i][i]+fit.Cov[j][j]-2*fit.Cov[i][j]))
			b := metrology.Budget{metrology.Student(metrology.PartScatter, u, float64(fit.Dof))}
			b = r.withStep(b)
			if std.U95 > 0 { // two sizes, each its own
				b = append(b, metrology.FromU95("standard", math.Sqrt2*std.U95))
			}
			c := r.bound(e, b)
			if c.Most > most {
				most = c.Most
				r.Error, r.Budget = c, b
				r.Error.Value = math.Abs(c.Value)
			}
		}
	}
}

// withStep adds the step of a difference of two readings where the scatter is
// too small to hold it already: rests that always show the same code teach
// nothing of what lies between codes.
func (r *Result) withStep(b metrology.Budget) metrology.Budget {
	if r.SD < r.Step/2 {
		b = append(b, metrology.Tri(metrology.PartStep, r.Step))
	}
	return b
}

// bound is an estimate with what its size stays under with 95 %.
func (r *Result) bound(value float64, b metrology.Budget) Bound {
	c := b.Combine()
	e := math.Abs(value)
	lo, hi := 0.0, e+8*c.U+c.U95
	for range 60 {
		m := (lo + hi) / 2
		if c.CDF(m-e)-c.CDF(-m-e) < 0.95 {
			lo = m
		} else {
			hi = m
		}
	}
	return Bound{Value: value, U95: c.U95, Most: hi}
}
