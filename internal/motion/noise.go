package motion

import "math"

// noise follows the standard deviation of single readings at rest by second
// differences, which neither a steady drift nor the rest's own level touches:
// for independent readings the variance of v0 - 2 v1 + v2 is six times theirs.
// The mean of their amounts is used, clipped: a median would jump between
// whole steps on a coarse gauge.
type noise struct {
	mean float64 // of |second difference|
	seen float64
}

const (
	// meanToSigma: the mean of |x| is sqrt(2/pi) standard deviations, and a
	// second difference has sqrt(6) times that of a reading.
	meanToSigma = 1 / (0.7978845608028654 * 2.449489742783178)
	noiseClip   = 4   // a second difference counts no more than this many means
	noiseMemory = 200 // second differences remembered
	noiseLeast  = 8   // before that many nothing is known
	// flickerShare of a step is what the flicker of a still part between two codes
	// looks like: |second difference| is one step on average of evenly mixed
	// codes. The window has room for two codes anyway.
	flickerShare = meanToSigma
)

// agreeing takes three readings in a row that lie within the window. Others
// are a movement: a short stroke of a slow gauge must not pass for noise.
func (n *noise) agreeing(a, b, c, unit, step float64, onChange bool) {
	d := math.Abs(a - 2*b + c)
	if onChange {
		// No value comes twice, so the least there is are two steps; they say
		// nothing of noise.
		d = max(0, d-2*step)
	}
	if n.seen >= noiseLeast {
		d = min(d, max(noiseClip*n.mean, unit))
	}
	n.seen = min(n.seen+1, noiseMemory)
	n.mean += (d - n.mean) / n.seen
}

func (n *noise) sigma(step float64) float64 {
	if n.seen < noiseLeast {
		return 0
	}
	s, q := n.mean*meanToSigma, flickerShare*step
	return math.Sqrt(max(0, s*s-q*q))
}
