package motion

import "math"

// noise follows the standard deviation of single readings at rest by second
// differences, which neither a steady drift nor the rest's own level touches:
// for independent readings the variance of v0 - 2 v1 + v2 is six times theirs.
type noise struct {
	v    [2]float64
	n    int
	q    float64 // running median of |second difference|
	seen int
}

const (
	// medianToSigma: the median of |x| is 0.6745 standard deviations, and a
	// second difference has sqrt(6) times that of a reading.
	medianToSigma = 1 / (0.6744897501960817 * 2.449489742783178)
	noiseReach    = 8 // readings that spread more are a movement
)

func (n *noise) reading(v, step, floor float64) {
	a, b := n.v[0], n.v[1]
	n.v[0], n.v[1] = b, v
	if n.n < 2 {
		n.n++
		return
	}
	low, high := min(a, b, v), max(a, b, v)
	sigma := n.sigma()
	if high-low > windowSteps*step+floor+noiseReach*max(sigma, (step+floor/2)/4) {
		return
	}
	d := math.Abs(a - 2*b + v)
	n.seen++
	// A running median: the move shrinks as readings come, so that it settles
	// in a few seconds and then hardly wanders.
	move := (step + floor/2) * max(0.02, 1/float64(n.seen+4))
	if d > n.q {
		n.q += move
	} else {
		n.q = max(0, n.q-move)
	}
}

func (n *noise) sigma() float64 {
	if n.seen < 8 {
		return 0
	}
	return n.q * medianToSigma
}
