package metrology

import (
	"errors"
	"fmt"
	"math"
	"math/big"
)

// Regression is a least-squares fit.
type Regression struct {
	Coef []float64   // the constant first, where there is one
	SE   []float64   // standard uncertainty of each
	Cov  [][]float64 // of the coefficients; NaN without degrees of freedom
	SD   float64     // residual standard deviation; NaN without degrees of freedom
	Dof  int
	// R2 and F compare with the constant alone (with nothing, where the model
	// has no constant).
	R2, F float64
}

// fitBits is the precision the normal equations are solved in. A condition
// number of 1e15 (a tenth-degree polynomial away from its middle) is squared
// there and still leaves 45 digits, so the result is as good as its inputs; the
// fits of this program are small enough that it costs nothing to speak of.
const fitBits = 256

// ErrNoFit is wrapped by the errors of the fits.
var ErrNoFit = errors.New("no fit")

// LeastSquares fits y to the columns of rows, with a constant in front where
// asked for. Inputs count as exact, and so do products of them.
func LeastSquares(rows [][]float64, y []float64, constant bool) (Regression, error) {
	x := make([][]*big.Float, len(rows))
	for i, r := range rows {
		if constant {
			x[i] = append(x[i], wide(1))
		}
		for _, v := range r {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return Regression{}, fmt.Errorf("%w: row %d holds %v", ErrNoFit, i+1, v)
			}
			x[i] = append(x[i], wide(v))
		}
	}
	return fit(x, y, constant)
}

// Polynomial fits y = c0 + c1 x + … + cn x^n.
func Polynomial(x, y []float64, degree int) (Regression, error) {
	rows := make([][]*big.Float, len(x))
	for i, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return Regression{}, fmt.Errorf("%w: x %d is %v", ErrNoFit, i+1, v)
		}
		p := wide(1)
		for k := 0; k <= degree; k++ {
			rows[i] = append(rows[i], p)
			p = wide(0).Mul(p, wide(v))
		}
	}
	return fit(rows, y, true)
}

func wide(v float64) *big.Float { return new(big.Float).SetPrec(fitBits).SetFloat64(v) }

// fit solves the normal equations by LDL^T, with y as one more column: the
// last pivot is then the residual sum of squares.
func fit(x [][]*big.Float, y []float64, constant bool) (Regression, error) {
	n := len(x)
	if n == 0 || n != len(y) {
		return Regression{}, fmt.Errorf("%w: %d rows for %d values", ErrNoFit, n, len(y))
	}
	k := len(x[0])
	if n < k {
		return Regression{}, fmt.Errorf("%w: %d values for %d unknowns", ErrNoFit, n, k)
	}
	for i := range x {
		if len(x[i]) != k {
			return Regression{}, fmt.Errorf("%w: row %d has %d columns, expected %d", ErrNoFit, i+1, len(x[i]), k)
		}
		if math.IsNaN(y[i]) || math.IsInf(y[i], 0) {
			return Regression{}, fmt.Errorf("%w: value %d is %v", ErrNoFit, i+1, y[i])
		}
	}
	a := make([][]*big.Float, k+1)
	for p := range a {
		a[p] = make([]*big.Float, k+1)
	}
	col := func(i, p int) *big.Float {
		if p == k {
			return wide(y[i])
		}
		return x[i][p]
	}
	t := wide(0)
	for p := 0; p <= k; p++ {
		for q := 0; q <= p; q++ {
			s := wide(0)
			for i := range x {
				s.Add(s, t.Mul(col(i, p), col(i, q)))
			}
			a[p][q] = s
		}
	}
	total := wide(0).Set(a[k][k]) // sum of squares that the model is to explain
	if constant && a[0][0].Sign() > 0 {
		m := wide(0).Quo(t.Mul(a[k][0], a[k][0]), a[0][0])
		total.Sub(total, m)
	}
	// LDL^T in place: a[p][q] = L below, d on the diagonal.
	for j := 0; j < k; j++ {
		scale := wide(0).Set(a[j][j])
		for q := 0; q < j; q++ {
			a[j][j].Sub(a[j][j], t.Mul(wide(0).Mul(a[j][q], a[j][q]), a[q][q]))
		}
		if limit := wide(0).Mul(scale, wide(1e-50)); a[j][j].Cmp(limit) <= 0 {
			return Regression{}, fmt.Errorf("%w: the values do not tell unknown %d apart from the others", ErrNoFit, j+1)
		}
		for p := j + 1; p <= k; p++ {
			for q := 0; q < j; q++ {
				a[p][j].Sub(a[p][j], t.Mul(wide(0).Mul(a[p][q], a[j][q]), a[q][q]))
			}
			a[p][j].Quo(a[p][j], a[j][j])
		}
	}
	for q := 0; q < k; q++ {
		a[k][k].Sub(a[k][k], t.Mul(wide(0).Mul(a[k][q], a[k][q]), a[q][q]))
	}
	rss := a[k][k]
	if rss.Sign() < 0 { // an exact fit
		rss = wide(0)
	}
	r := Regression{Coef: make([]float64, k), SE: make([]float64, k), Dof: n - k, SD: math.NaN()}
	inv := inverseLower(a, k)
	for p := 0; p < k; p++ {
		c := wide(0)
		for q := p; q < k; q++ {
			c.Add(c, t.Mul(inv[q][p], a[k][q]))
		}
		r.Coef[p], _ = c.Float64()
	}
	model := wide(0).Sub(total, rss)
	ratio := func(p, q *big.Float) float64 {
		if q.Sign() == 0 {
			return math.NaN()
		}
		f, _ := wide(0).Quo(p, q).Float64()
		return f
	}
	r.R2 = ratio(model, total)
	if r.Dof > 0 {
		ms := wide(0).Quo(rss, wide(float64(r.Dof)))
		m, _ := ms.Float64()
		r.SD = math.Sqrt(m)
		params := k
		if constant {
			params--
		}
		r.F = ratio(wide(0).Quo(model, wide(float64(max(params, 1)))), ms)
	}
	r.Cov = make([][]float64, k)
	for p := range r.Cov {
		r.Cov[p] = make([]float64, k)
		for o := range r.Cov[p] {
			v := wide(0)
			for q := max(p, o); q < k; q++ {
				v.Add(v, wide(0).Quo(t.Mul(inv[q][p], inv[q][o]), a[q][q]))
			}
			f, _ := v.Float64()
			r.Cov[p][o] = f * r.SD * r.SD
		}
		r.SE[p] = math.Sqrt(r.Cov[p][p])
	}
	return r, nil
}

// inverseLower inverts the unit lower triangle of a.
func inverseLower(a [][]*big.Float, k int) [][]*big.Float {
	inv := make([][]*big.Float, k)
	t := wide(0)
	for p := range inv {
		inv[p] = make([]*big.Float, k)
		inv[p][p] = wide(1)
		for q := 0; q < p; q++ {
			s := wide(0)
			for j := q; j < p; j++ {
				s.Sub(s, t.Mul(a[p][j], inv[j][q]))
			}
			inv[p][q] = s
		}
	}
	return inv
}
