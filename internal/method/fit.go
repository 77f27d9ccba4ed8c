package method

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// point is one rest of a series: its time, side and level.
type point struct {
	t, y  float64
	side  float64
	level int // from 0; points are in the order of their levels
	used  bool
}

// line is the least-squares fit y = a_level + b t + side P/2.
type line struct {
	play   float64 // P
	drift  float64 // b, per second
	factor float64 // standard uncertainty of P per standard deviation of y: the design factor
	rss    float64
	dof    int
	sd     float64 // of a rest, with sdDof degrees of freedom
	sdDof  int
	ok     bool

	cross [3]float64 // inverse of the normal matrix: PP, Pb, bb
	ends  []mean     // per level: means of t, y and side
}

type mean struct{ n, t, y, side float64 }

// fitPlay solves the play model over the used points. Levels are taken out
// exactly by centring within each (Frisch and Waugh 1933), which leaves two
// unknowns, P and b. ok is false where they cannot be told apart. The slice
// ends is reused.
func fitPlay(points []point, ends []mean) line {
	l := line{ends: ends[:0]}
	t0 := 0.0
	if len(points) > 0 {
		t0 = points[0].t
	}
	for _, q := range points {
		for len(l.ends) <= q.level {
			l.ends = append(l.ends, mean{})
		}
		if q.used {
			m := &l.ends[q.level]
			m.n++
			m.t += q.t - t0
			m.y += q.y - points[0].y
			m.side += q.side
		}
	}
	n, levels := 0, 0
	for i := range l.ends {
		m := &l.ends[i]
		if m.n == 0 {
			continue
		}
		levels++
		n += int(m.n)
		m.t, m.y, m.side = t0+m.t/m.n, points[0].y+m.y/m.n, m.side/m.n
	}
	var ss, st, tt, sy, ty, yy float64
	for _, q := range points {
		if !q.used {
			continue
		}
		m := &l.ends[q.level]
		s, t, y := (q.side-m.side)/2, q.t-m.t, q.y-m.y
		ss += s * s
		st += s * t
		tt += t * t
		sy += s * y
		ty += t * y
		yy += y * y
	}
	l.dof = n - levels - 2
	det := ss*tt - st*st
	if l.dof < 1 || ss == 0 || det <= 1e-6*ss*tt {
		return l
	}
	l.cross = [3]float64{tt / det, -st / det, ss / det}
	l.play = (tt*sy - st*ty) / det
	l.drift = (ss*ty - st*sy) / det
	for _, q := range points {
		if q.used {
			r := l.residual(q)
			l.rss += r * r
		}
	}
	l.factor = math.Sqrt(l.cross[0])
	l.ok = true
	// Where the drift is nothing that the scatter could not have made, its
	// degree of freedom tells of the scatter too: one more is worth having where
	// there are few. It counts for no more than twice the variance, which chance seldom
	// exceeds: the rest is drift. P itself keeps the drift taken out, so this never
	// biases it.
	ofDrift := l.drift * l.drift / l.cross[2]
	l.sd, l.sdDof = math.Sqrt(l.rss/float64(l.dof)), l.dof
	if l.dof < fewDof && ofDrift <= 10*l.sd*l.sd {
		l.sdDof = l.dof + 1
		l.sd = math.Sqrt((l.rss + min(ofDrift, 2*l.sd*l.sd)) / float64(l.sdDof))
	}
	return l
}

// fewDof: with fewer the drift's is added.
const fewDof = 7

// residual is a point's distance from the fit, whether it was used or not.
func (l *line) residual(q point) float64 {
	m := l.ends[q.level]
	return q.y - m.y - l.play*(q.side-m.side)/2 - l.drift*(q.t-m.t)
}

// leverage is how much wider the residual of an unused point is than a rest:
// the square root of 1 plus the variance of the fit there.
func (l *line) leverage(q point) float64 {
	m := l.ends[q.level]
	s, t := (q.side-m.side)/2, q.t-m.t
	return math.Sqrt(1 + 1/m.n + s*s*l.cross[0] + 2*s*t*l.cross[1] + t*t*l.cross[2])
}

// student999 is the 99.9 % quantile of Student's t for 1, 2, … degrees of
// freedom; chi99 the 99 % quantile of chi-square.
var student999, chi99 = func() (s, c [64]float64) {
	for i := range s {
		dof := float64(max(1, i))
		s[i] = distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.Quantile(0.999)
		c[i] = distuv.ChiSquared{K: dof}.Quantile(0.99)
	}
	return s, c
}()

func quantileOf(table *[64]float64, dof int) float64 { return table[min(max(dof, 1), len(table)-1)] }
