package metrology

import (
	"cmp"
	"math"
	"slices"
)

// Combined is the distribution of the true value about the result, convolved
// from the parts of a budget.
type Combined struct {
	U      float64 // combined standard uncertainty (JCGM 100, 5.1.2)
	U95    float64 // least h with P(|true - result| <= h) = 0.95
	DofEff float64 // Welch-Satterthwaite (JCGM 100, G.4.1), for information
	Parts  Budget  // what it was made of
	// UpperBound: the result is the value that the true one stays under with
	// 95 %, not an estimate of it.
	UpperBound bool

	groups []group
	offset float64   // of the result from the origin of the shapes
	sample []float64 // sorted true - result, where drawn by Monte Carlo
}

// group is a set of normal widths on which the bounded parts act alike.
type group struct {
	waves []wave
	steps []edge
}

// wave is one normal distribution of a mixture, with its variance. Once sorted
// into its group it knows its standard deviation too, and how far it reaches.
type wave struct{ v, weight, sd, reach float64 }

// edge is one term of a sum of iterated integrals: coef * I_order(x - at).
type edge struct {
	at, coef float64
	order    int
}

// Convolution is exact but for the mixture. The sum of rectangles and one
// normal distribution has a closed form: each rectangle of half-width a turns
// F(x) into the difference quotient of its integral over x-a..x+a, so n of them
// give 2^n n-fold integrals of the normal distribution function. Student's t is
// a normal distribution whose variance is itself spread (s^2 times dof over a
// chi-square), so t parts become a sum over normal widths, taken by the
// trapezoidal rule in the logarithm, which converges exponentially.
const (
	mixtureStep = 0.38 // largest step in log(chi-square/dof)
	mixtureTail = 21.0 // mass left out at each end: e^-21
	binWidth    = 0.15 // of log variance, when several t parts are joined
	// A rectangle narrower than this part of a normal counts as normal there:
	// the fourth cumulant it leaves out moves no probability by 1e-7.
	narrow = 0.05
	// So many widths away the normal tail is beyond a float64's last digit.
	far = 8.5
	// Beyond this many rectangles the smallest are taken as normal.
	mostRects = 10
	// Largest loss of digits allowed by the alternating sum.
	mostLoss = 1e8
	// A width below this is none: in whatever unit, nothing is so small, and its
	// square would be no full number.
	nothing = 1e-100
)

// Combine convolves the parts numerically. Its probabilities hold to 1e-6 for
// up to ten rectangles (a triangle counts as two); beyond that the smallest are
// taken as normal. Parts of no width are ignored; one whose width is not
// known (not a number, or infinite) makes the whole unknown, and decides
// nothing.
func (b Budget) Combine() Combined {
	c := Combined{Parts: b, DofEff: math.Inf(1)}
	waves := []wave{{weight: 1}}
	var normal, sumU2, satter float64
	var halves []float64
	var declining float64
	for _, p := range b {
		u := math.Abs(p.U)
		if math.IsNaN(u) || math.IsInf(u, 1) {
			return Combined{U: math.Inf(1), U95: math.Inf(1), DofEff: math.NaN(), Parts: b}
		}
		if u < nothing {
			continue
		}
		sumU2 += u * u
		if p.Dof > 0 && !math.IsInf(p.Dof, 1) {
			satter += u * u * u * u / p.Dof
		}
		switch p.Shape {
		case StudentT:
			if p.Dof > 0 && !math.IsInf(p.Dof, 1) {
				waves = joinWaves(waves, studentWaves(u*u, max(p.Dof, 1)))
			} else {
				normal += u * u
			}
		case Rectangular:
			halves = append(halves, u*math.Sqrt(3))
		case Triangular:
			half := u * math.Sqrt(6) / 2
			halves = append(halves, half, half)
		case Declining:
			declining += u * math.Sqrt(18)
			c.UpperBound = true
		default:
			normal += u * u
		}
	}
	c.U = math.Sqrt(sumU2)
	if satter > 0 {
		c.DofEff = sumU2 * sumU2 / satter
	}
	if c.U == 0 {
		return c
	}
	for i := range waves {
		waves[i].v += normal
	}
	c.groups = grouped(waves, halves, declining)
	if c.UpperBound {
		c.offset = c.quantileOf(0.95)
	}
	c.U95 = c.halfWidth(0.95)
	return c
}

// studentWaves is t with dof degrees of freedom and scale variance v as a
// mixture of normal distributions.
func studentWaves(v, dof float64) []wave {
	h := min(mixtureStep, 0.8*math.Sqrt(2/dof))
	w := make([]wave, 0, 40)
	weight := func(y float64) float64 { return dof / 2 * (y - math.Exp(y) + 1) }
	sum := 0.0
	add := func(y float64) bool {
		l := weight(y)
		if l < -mixtureTail {
			return false
		}
		p := math.Exp(l)
		w = append(w, wave{v: v * math.Exp(-y), weight: p})
		sum += p
		return true
	}
	for y := 0.0; add(y); y += h {
	}
	slices.Reverse(w)
	for y := -h; add(y); y -= h {
	}
	for i := range w {
		w[i].weight /= sum
	}
	return w
}

// joinWaves adds two independent mixtures, and thins the product: within each
// narrow bin of log variance two widths that keep the first three moments stand
// for all (Gauss quadrature), so the error is of the fourth order in the bin.
func joinWaves(a, b []wave) []wave {
	if len(a) == 1 {
		a, b = b, a
	}
	if len(b) == 1 && b[0].v == 0 && b[0].weight == 1 {
		return a
	}
	all := make([]wave, 0, len(a)*len(b))
	for _, p := range a {
		for _, q := range b {
			all = append(all, wave{v: p.v + q.v, weight: p.weight * q.weight})
		}
	}
	if len(b) == 1 {
		return all
	}
	slices.SortFunc(all, func(p, q wave) int { return cmp.Compare(p.v, q.v) })
	out := all[:0:0]
	for i := 0; i < len(all); {
		j := i
		var m0, m1 float64
		for ; j < len(all) && all[j].v <= all[i].v*math.Exp(binWidth); j++ {
			m0 += all[j].weight
			m1 += all[j].weight * math.Log(all[j].v)
		}
		m1 /= m0
		var m2, m3 float64
		for _, p := range all[i:j] {
			d := math.Log(p.v) - m1
			m2 += p.weight * d * d
			m3 += p.weight * d * d * d
		}
		m2, m3 = m2/m0, m3/m0
		i = j
		if m2 < 1e-12 {
			out = append(out, wave{v: math.Exp(m1), weight: m0})
			continue
		}
		// The nodes are the zeros of x^2 - (m3/m2) x - m2 about the mean.
		r := m3 / m2 / 2
		root := math.Sqrt(r*r + m2)
		lo, hi := r-root, r+root
		pl := hi / (hi - lo)
		out = append(out, wave{v: math.Exp(m1 + lo), weight: m0 * pl}, wave{v: math.Exp(m1 + hi), weight: m0 * (1 - pl)})
	}
	return out
}

// grouped sorts the waves by how many of the rectangles stand out against
// their width; the narrower ones add their variance to the wave's. (Against a
// wide wave a narrow rectangle's difference quotient would only lose digits.)
func grouped(waves []wave, halves []float64, declining float64) []group {
	slices.SortFunc(halves, func(p, q float64) int { return cmp.Compare(q, p) })
	var count [mostRects + 1]int
	kept := make([]int8, len(waves))
	for i := range waves {
		w := &waves[i]
		sd := math.Sqrt(w.v)
		keep := min(len(halves), mostRects)
		for keep > 0 && (halves[keep-1] <= narrow*sd || loss(halves[:keep], sd) >= mostLoss) {
			keep--
		}
		for _, a := range halves[keep:] {
			w.v += a * a / 3
		}
		w.sd = math.Sqrt(w.v)
		w.reach = far * w.sd
		kept[i] = int8(keep)
		count[keep]++
	}
	sorted := make([]wave, 0, len(waves))
	groups := make([]group, 0, len(halves)+1)
	for keep, n := range count {
		if n == 0 {
			continue
		}
		from := len(sorted)
		for i, k := range kept {
			if int(k) == keep {
				sorted = append(sorted, waves[i])
			}
		}
		groups = append(groups, group{sorted[from:], edges(halves[:keep], declining)})
	}
	return groups
}

// loss is how far the terms of the alternating sum exceed its result.
func loss(halves []float64, sd float64) float64 {
	reach := sd
	for _, a := range halves {
		reach += a
	}
	l := 1.0
	for i, a := range halves {
		l *= reach / (2 * a) / float64(i+1)
	}
	return l
}

// edges expands the bounded parts into terms.
func edges(halves []float64, declining float64) []edge {
	t := []edge{{0, 1, 0}}
	if d := declining; d > 0 {
		t = []edge{{0, 2 / d, 1}, {0, -2 / (d * d), 2}, {d, 2 / (d * d), 2}}
	}
	for _, a := range halves {
		next := make([]edge, 0, 2*len(t))
		for _, e := range t {
			k := e.coef / (2 * a)
			next = append(next, edge{e.at - a, k, e.order + 1}, edge{e.at + a, -k, e.order + 1})
		}
		t = gather(next)
	}
	return t
}

// gather adds up terms at one place: equal rectangles meet in the middle.
func gather(t []edge) []edge {
	slices.SortFunc(t, func(p, q edge) int {
		return cmp.Or(cmp.Compare(p.order, q.order), cmp.Compare(p.at, q.at))
	})
	out := t[:1]
	for _, e := range t[1:] {
		last := &out[len(out)-1]
		if e.order == last.order && e.at == last.at {
			last.coef += e.coef
			continue
		}
		out = append(out, e)
	}
	return out
}

const invSqrt2Pi = 1 / (math.Sqrt2 * math.SqrtPi)

// at is the distribution function and the density at x on the shapes' own
// scale (before the offset of an upper bound).
func (c *Combined) at(x float64) (F, f float64) {
	if x > 0 && !c.UpperBound { // the lower tail loses no digits
		F, f = c.at(-x)
		return 1 - F, f
	}
	for i := range c.groups {
		grp := &c.groups[i]
		for k := range grp.waves {
			w := &grp.waves[k]
			var G, g float64
			for _, e := range grp.steps {
				z := x - e.at
				if z < -w.reach {
					continue // nothing of it reaches so far
				}
				hi, lo := w.iterated(z, e.order)
				G += e.coef * hi
				g += e.coef * lo
			}
			F += w.weight * G
			f += w.weight * g
		}
	}
	return min(max(F, 0), 1), max(f, 0)
}

// iterated is the n-fold integral of the wave's distribution function, and the
// (n-1)-fold: I_n(z) = (z I_{n-1}(z) + I_{n-2}(z))/n, scaled. x is no further
// below than the wave reaches.
func (w *wave) iterated(x float64, n int) (hi, lo float64) {
	sd := w.sd
	if sd == 0 || x > w.reach {
		if x < 0 || x == 0 && n > 0 {
			return 0, 0
		}
		if n == 0 {
			return 1, 0
		}
		// Far above the normal's width the integrals are polynomials in x; the
		// recurrence below says the same, without the underflowing exponential.
		b, a := 1.0, 0.0
		for k := 1; k <= n; k++ {
			b, a = (x*b+sd*sd*a)/float64(k), b
		}
		return b, a
	}
	z := x / sd
	a := invSqrt2Pi * math.Exp(-z*z/2) / sd
	b := math.Erfc(-z/math.Sqrt2) / 2
	v := sd * sd
	switch n { // what most budgets have, without a division by what is known
	case 0:
		return b, a
	case 1:
		return x*b + v*a, b
	case 2:
		a, b = b, x*b+v*a
		return (x*b + v*a) / 2, b
	}
	for k := 1; k <= n; k++ {
		b, a = (x*b+v*a)/float64(k), b
	}
	return b, a
}

// density is CDF with its derivative, for what is not drawn by Monte Carlo.
func (c *Combined) density(x float64) (F, f float64) {
	if c.U == 0 || math.IsInf(c.U, 1) {
		return c.CDF(x), 0
	}
	return c.at(x + c.offset)
}

// CDF is the probability that the true value exceeds the result by less than x.
func (c *Combined) CDF(x float64) float64 {
	if math.IsInf(x, 0) {
		if x < 0 {
			return 0
		}
		return 1
	}
	if math.IsInf(c.U, 1) {
		return 0.5
	}
	if c.sample != nil {
		i, _ := slices.BinarySearch(c.sample, x)
		return float64(i) / float64(len(c.sample))
	}
	if len(c.groups) == 0 { // the zero Combined: no uncertainty
		if x < 0 {
			return 0
		}
		return 1
	}
	F, _ := c.at(x + c.offset)
	return F
}

// Quantile is the x under which true - result lies with probability p.
func (c *Combined) Quantile(p float64) float64 {
	switch {
	case c.U == 0:
		return 0
	case math.IsInf(c.U, 1) && p != 0.5:
		return math.Copysign(c.U, p-0.5)
	case math.IsInf(c.U, 1):
		return 0
	}
	if n := len(c.sample); n > 0 {
		i := int(math.Ceil(p*float64(n))) - 1
		return c.sample[min(max(i, 0), n-1)]
	}
	return c.quantileOf(p) - c.offset
}

// quantileOf solves at(x) = p on the shapes' own scale.
func (c *Combined) quantileOf(p float64) float64 {
	return solve(p, c.U, func(x float64) (float64, float64) { return c.at(x) })
}

// halfWidth is the least h with P(|true - result| <= h) = p.
func (c *Combined) halfWidth(p float64) float64 {
	if c.U == 0 || math.IsInf(c.U, 1) {
		return c.U
	}
	if !c.UpperBound { // symmetrical: one tail is enough
		return c.quantileOf((1 + p) / 2)
	}
	return solve(p, c.U, func(h float64) (float64, float64) {
		if h < 0 {
			return 0, 0
		}
		F, f := c.at(c.offset + h)
		G, g := c.at(c.offset - h)
		return F - G, f + g
	})
}

// solve finds x with F(x) = p by Newton's method from where a normal
// distribution has it, inside the bracket that the values so far leave.
func solve(p, u float64, at func(float64) (F, f float64)) float64 {
	lo, hi := math.Inf(-1), math.Inf(1)
	x := u * math.Sqrt2 * math.Erfinv(2*p-1)
	most := 2 * u // the longest step out of an open bracket; a heavy tail lies far out
	for range 100 {
		F, f := at(x)
		d := F - p
		if math.Abs(d) < 1e-11 {
			return x
		}
		if d > 0 {
			hi = x
		} else {
			lo = x
		}
		next := x - min(max(d/f, -most), most)
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		most *= 2
		// Newton's error is squared by each step, so after one this small there
		// is nothing left of it.
		if math.Abs(next-x) <= 1e-9*u {
			return next
		}
		x = next
	}
	return x
}

// Prob is the probability that the true value lies below low, within low..high
// and above high, given the result. Infinite ends are open.
func (c *Combined) Prob(value, low, high float64) (below, in, above float64) {
	if !math.IsInf(low, -1) {
		below = c.CDF(low - value)
		if c.U == 0 && value == low {
			below = 0
		}
	}
	if !math.IsInf(high, 1) {
		above = 1 - c.CDF(high-value)
	}
	return below, max(0, 1-below-above), above
}

// Bounded is an upper bound with its distribution.
type Bounded struct {
	Value    float64 // under which the play lies with 95 %: 0.78 step where nothing widens it
	Mean     float64 // step/3
	Budget   Budget  // for Result.Budget: its Combine gives Combined again
	Combined Combined
}

// Bound is what a play under one step leaves to say: a gauge that shows the
// same code at both stops. One uninformative phase gives the density
// 2 (1 - P/step)/step on [0, step]; widen holds hysteresis, error and what else
// makes it wider. All in one unit.
func Bound(step float64, widen Budget) Bounded {
	b := append(Budget{{PartStep, step, Declining, math.Sqrt(18), step / math.Sqrt(18), math.Inf(1)}}, widen...)
	c := b.Combine()
	return Bounded{Value: c.offset, Mean: step / 3, Budget: b, Combined: c}
}
