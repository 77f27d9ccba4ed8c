package method

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// point is one good rest: its time, side and level.
type point struct {
	t, y  float64
	side  float64
	level int // from 0
}

// line is the least-squares fit y = a_level + b t + side P/2.
type line struct {
	play   float64 // P
	drift  float64 // b, per second
	factor float64 // standard uncertainty of P per standard deviation of y: the design factor
	rss    float64
	dof    int
	resid  []float64
	ok     bool
}

// fitPlay solves the play model. With too few points, or all on one side, ok
// is false.
func fitPlay(points []point, levels int) line {
	n, p := len(points), levels+2
	if n < p {
		return line{}
	}
	t0 := points[0].t
	scale := math.Max(1, points[n-1].t-t0)
	a := mat.NewDense(n, p, nil)
	y := mat.NewVecDense(n, nil)
	y0 := points[0].y
	for i, q := range points {
		a.Set(i, 0, q.side/2)
		a.Set(i, 1, (q.t-t0)/scale)
		a.Set(i, 2+q.level, 1)
		y.SetVec(i, q.y-y0)
	}
	var qr mat.QR
	qr.Factorize(a)
	if qr.Cond() > 1e8 {
		return line{}
	}
	var x mat.VecDense
	if err := qr.SolveVecTo(&x, false, y); err != nil {
		return line{}
	}
	l := line{play: x.AtVec(0), drift: x.AtVec(1) / scale, dof: n - p, ok: true, resid: make([]float64, n)}
	for i, q := range points {
		r := y.AtVec(i) - x.AtVec(0)*q.side/2 - x.AtVec(1)*(q.t-t0)/scale - x.AtVec(2+q.level)
		l.resid[i] = r
		l.rss += r * r
	}
	// The design factor: (A'A)^-1 at P, by solving A'A z = e_P through R.
	e := mat.NewVecDense(n, nil)
	var sum float64
	for i := range n {
		e.Zero()
		e.SetVec(i, 1)
		var z mat.VecDense
		if err := qr.SolveVecTo(&z, false, e); err != nil {
			return line{}
		}
		sum += z.AtVec(0) * z.AtVec(0)
	}
	l.factor = math.Sqrt(sum)
	return l
}
