package metrology

import (
	"math"
	"math/big"

	"gonum.org/v1/gonum/stat"

	"thouwright/internal/quantity"
)

// FromFirst is what the values differ by from the first, subtracted in exact
// decimals. A row of 1000000000000.3 and .5 keeps all its digits this way,
// where a float64 has lost half of them before any statistics begin; so
// everything that only asks for differences starts here.
func FromFirst(values []quantity.Decimal) (first float64, rest []float64) {
	if len(values) == 0 {
		return 0, nil
	}
	scale := values[0].Scale
	for _, d := range values {
		scale = max(scale, d.Scale)
	}
	whole := func(d quantity.Decimal) *big.Int {
		n := new(big.Int).SetUint64(d.Coef)
		n.Mul(n, new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(scale)-int64(d.Scale)), nil))
		if d.Neg {
			n.Neg(n)
		}
		return n
	}
	base := whole(values[0])
	unit := new(big.Rat).SetFrac(big.NewInt(1), big.NewInt(1))
	if scale >= 0 {
		unit.SetFrac(big.NewInt(1), new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(scale)), nil))
	} else {
		unit.SetInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(-int64(scale)), nil))
	}
	rest = make([]float64, len(values))
	for i, d := range values {
		r := new(big.Rat).SetInt(new(big.Int).Sub(whole(d), base))
		rest[i], _ = r.Mul(r, unit).Float64()
	}
	return values[0].Float(), rest
}

// Sample is the plain statistics of a row of values.
type Sample struct {
	N    int
	Mean float64
	SD   float64 // NaN below two values
	R1   float64 // lag-1 autocorrelation; NaN where nothing varies
}

// Describe gives the statistics of values in the order they were measured.
func Describe(values []quantity.Decimal) Sample {
	first, d := FromFirst(values)
	s := Sample{N: len(d), Mean: math.NaN(), SD: math.NaN(), R1: math.NaN()}
	if s.N == 0 {
		return s
	}
	mean := stat.Mean(d, nil)
	s.Mean = first + mean
	if s.N < 2 {
		return s
	}
	s.SD = stat.StdDev(d, nil)
	var num, den float64
	for i := range d {
		den += (d[i] - mean) * (d[i] - mean)
		if i > 0 {
			num += (d[i] - mean) * (d[i-1] - mean)
		}
	}
	s.R1 = num / den
	return s
}
