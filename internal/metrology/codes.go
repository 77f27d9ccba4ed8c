package metrology

import "math"

// Shown is one stop as a gauge with a step shows it: where the stop truly was
// lies between Low and High, for Span seconds about T. Side is 0 or 1; a knock begins a
// new Level.
type Shown struct {
	T, Span     float64
	Low, High   float64
	Side, Level int
}

// at is where the stop was at T, if it drifts by b a second: what moves stays between
// the code's edges all the time. A drift that would take it across them is left as
// narrow a place.
func (x *Shown) at(b float64) (low, high float64) {
	half := min(math.Abs(b)*x.Span/2, codeSpan*(x.High-x.Low))
	return x.Low + half, x.High - half
}

// Apart is what the codes of two stops tell of the distance between them: the
// mean and the standard deviation of its distribution, and the half-width about
// the mean that holds 95 % of it.
type Apart struct{ Mean, SD, U95 float64 }

// Nodes of the quadrature. The stops' own standard deviation has a prior that is
// even in its logarithm (Jeffreys), where it leads to Student's t. It begins at
// codeLeast steps: a dozen codes do not tell a smaller scatter from that, but where
// chance has them agree as if they did, U95 would cover 91 % (scripts/proving -table).
const (
	codeGrid  = 16   // places a step, at least …
	codeFine  = 3    // … and a standard deviation, at least
	codeLeast = 0.12 // of a step: the least standard deviation …
	codeRatio = 1.6  // … each is so many times the one before …
	codeMost  = 8    // … and there are so many
	codeDrift = 2    // nodes on either side of the fitted drift …
	codeReach = 2.2  // … as far out as so many of its standard uncertainties
	codeMoves = 3.0  // steps: the prior of the drift over the whole series is flat that wide, against none at all
	codeSpan  = 0.45 // of a code: the most that a drift within a stop takes off each edge
	codeStill = 0.7  // of a step: a scatter this large hides the drift
)

// Codes works out what rounded readings of two stops tell of their distance, by
// the likelihood of the codes themselves: a stop at level a + b t + e, with e
// normal of standard deviation s, shows its code with the probability that it
// lies between the code's edges. The levels have flat priors; s, the drift b
// (none, or near the fitted one, whose standard uncertainty is driftSD; 0 where
// it is none) and the levels are integrated out on a grid, so that what is not
// known widens the answer. Least squares with Student's t is its limit for s
// above half a step. ok is false where a side is empty.
func Codes(shown []Shown, step, drift, driftSD float64) (a Apart, ok bool) {
	if len(shown) == 0 || !(step > 0) {
		return a, false
	}
	g := coded{h: step / codeGrid, shown: shown}
	if !g.prepare() {
		return a, false
	}
	s := codeLeast * step
	for range codeMost {
		g.thin = max(1, int(s/codeFine/g.h))
		g.add(s, 0, 1)
		if driftSD > 0 && s < codeStill*step {
			apart := driftSD * codeReach / codeDrift
			for k := -codeDrift; k <= codeDrift; k++ {
				g.add(s, drift+apart*float64(k), apart*g.span/(codeMoves*step))
			}
		}
		s *= codeRatio
	}
	return g.apart()
}

// coded is one integration. Places are counted in grid steps from the first stop.
type coded struct {
	h      float64
	thin   int // this node's grid has every so many places
	shown  []Shown
	t0, y0 float64
	span   float64 // of the times
	levels int

	side  [2][]float64 // density of each side's level, on the thinned grid from first
	first [2]int       // in thinned places
	one   []float64    // of one stretch: density of the distance
	both  []float64    // of all stretches up to now, where there are several
	sum   []float64    // over all nodes, from start, on the full grid
	start int
}

func (g *coded) prepare() bool {
	var n [2]int
	for i, x := range g.shown {
		n[x.Side]++
		g.t0 += (x.T - g.t0) / float64(i+1)
		g.levels = max(g.levels, x.Level+1)
	}
	g.y0 = g.shown[0].Low
	g.span = g.shown[len(g.shown)-1].T - g.shown[0].T
	return n[0] > 0 && n[1] > 0
}

// level fills the density of a side's level in one stretch between knocks.
func (g *coded) level(side, level int, s, b float64) bool {
	low, high, n := math.Inf(1), math.Inf(-1), 0
	for _, x := range g.shown {
		if x.Side == side && x.Level == level {
			d := b*(x.T-g.t0) + g.y0
			bottom, top := x.at(b)
			// The level lies above the highest lower edge and below the lowest upper
			// edge, but for the scatter; where these cross, between them.
			low, high = math.Min(low, top-d), math.Max(high, bottom-d)
			n++
		}
	}
	if n == 0 {
		return false
	}
	low, high = math.Min(low, high), math.Max(low, high)
	h := g.h * float64(g.thin)
	reach := 4*s/math.Sqrt(float64(n)) + h
	from, to := int(math.Floor((low-reach)/h)), int(math.Ceil((high+reach)/h))
	g.first[side] = from
	p := g.side[side][:0]
	for range to - from + 1 {
		p = append(p, 1)
	}
	g.side[side] = p
	for _, x := range g.shown {
		if x.Side != side || x.Level != level {
			continue
		}
		d := b*(x.T-g.t0) + g.y0
		bottom, top := x.at(b)
		z, w, dz := ((top-d)-float64(from)*h)/s, (top-bottom)/s, h/s
		for i := range p {
			p[i] *= phi(z) - phi(z-w)
			z -= dz
		}
	}
	return true
}

// add adds one node with its weight: the product over the stretches of each one's density.
func (g *coded) add(s, b, weight float64) {
	var total []float64
	from, seen := 0, 0
	for l := range g.levels {
		if !g.level(0, l, s, b) || !g.level(1, l, s, b) {
			continue // one side alone tells nothing
		}
		at := g.distance()
		one := g.one
		switch seen++; {
		case seen == 1 && g.levels == 1:
			total, from = one, at
		case seen == 1:
			g.both = append(g.both[:0], one...)
			total, from = g.both, at
		default:
			// Where both are: from the later beginning to the earlier end.
			begin, end := max(from, at), min(from+len(total), at+len(one))
			if begin >= end {
				return
			}
			total = total[begin-from : end-from]
			for i := range total {
				total[i] *= one[begin-at+i]
			}
			from = begin
		}
	}
	g.gather(total, from, weight*math.Pow(float64(g.thin), float64(seen)))
}

// distance folds the two levels' densities into that of their distance and tells
// where it begins.
func (g *coded) distance() int {
	p, q := g.side[0], g.side[1]
	n := len(p) + len(q) - 1
	one := g.one[:0]
	for range n {
		one = append(one, 0)
	}
	g.one = one
	for i, x := range p {
		if x > 1e-9 {
			row := one[len(p)-1-i:][:len(q)]
			for j, y := range q {
				row[j] += x * y
			}
		}
	}
	return g.first[1] - g.first[0] - (len(p) - 1)
}

// gather adds a node's density to the sum, straight from one thinned place to the
// next.
func (g *coded) gather(p []float64, from int, weight float64) {
	if len(p) == 0 {
		return
	}
	at, n := from*g.thin, (len(p)-1)*g.thin+1
	if len(g.sum) == 0 {
		g.start = at
	}
	if at < g.start {
		g.sum = append(make([]float64, g.start-at, g.start-at+len(g.sum)+n), g.sum...)
		g.start = at
	}
	for len(g.sum) < at-g.start+n {
		g.sum = append(g.sum, 0)
	}
	sum := g.sum[at-g.start:]
	for i, x := range p {
		x *= weight
		sum[i*g.thin] += x
		for k := 1; k < g.thin && i+1 < len(p); k++ {
			sum[i*g.thin+k] += x + (p[i+1]*weight-x)*float64(k)/float64(g.thin)
		}
	}
}

func (g *coded) apart() (a Apart, ok bool) {
	var m, m1, m2 float64
	for i, p := range g.sum {
		x := float64(i)
		m += p
		m1 += p * x
		m2 += p * x * x
	}
	if !(m > 0) {
		return a, false
	}
	m1 /= m
	v := m2/m - m1*m1
	a.Mean = (float64(g.start) + m1) * g.h
	a.SD = math.Sqrt(max(v, 0)) * g.h
	// The mass within m1 ± w, each place spread evenly over its cell.
	inside := func(w float64) (sum float64) {
		for i, p := range g.sum {
			x := float64(i) - m1
			sum += p * max(0, min(x+0.5, w)-max(x-0.5, -w))
		}
		return sum / m
	}
	lo, hi := 0.0, float64(len(g.sum))
	for range 30 {
		if w := (lo + hi) / 2; inside(w) < 0.95 {
			lo = w
		} else {
			hi = w
		}
	}
	a.U95 = hi * g.h
	return a, true
}

// phi is the normal distribution function from a table: to 1e-5.
func phi(z float64) float64 {
	x := (z + phiReach) * phiNodes
	if x <= 0 {
		return 0
	}
	i := int(x)
	if i >= len(phiTable)-1 {
		return 1
	}
	return phiTable[i] + (x-float64(i))*(phiTable[i+1]-phiTable[i])
}

const (
	phiReach = 6.0
	phiNodes = 64.0 // a unit
)

var phiTable = func() (t [2*phiReach*phiNodes + 1]float64) {
	for i := range t {
		t[i] = math.Erfc(-(float64(i)/phiNodes-phiReach)/math.Sqrt2) / 2
	}
	return t
}()

// Parts gives two parts that together have the distribution's standard
// deviation and its 95 %: a rectangle, for what the step leaves open, and a
// normal scatter.
func (a Apart) Parts() Budget {
	r := a.U95 / a.SD
	n := len(flatness) - 1
	if !(r < flatness[0]) {
		return Budget{Gauss(PartScatter, a.U95/flatness[0])}
	}
	for k := range n {
		if r >= flatness[k+1] || k == n-1 {
			q := (float64(k) + min(1, (flatness[k]-r)/(flatness[k]-flatness[k+1]))) / float64(n)
			return Budget{Gauss(PartScatter, a.SD*math.Sqrt(1-q)), Rect(PartStep, a.SD*math.Sqrt(3*q))}
		}
	}
	return nil
}

// flatness is U95/SD of a rectangle that holds 0, 1/10, … of the variance
// beside a normal distribution that holds the rest.
var flatness = func() (t [11]float64) {
	for k := range t {
		q := float64(k) / float64(len(t)-1)
		t[k] = Budget{Gauss("", math.Sqrt(1-q)), Rect("", math.Sqrt(3*q))}.Combine().U95
	}
	return t
}()
