package quantity

import (
	"errors"
	"math/big"
)

// Rounding is the way a number is rounded.
type Rounding uint8

// The ways.
const (
	Nearest Rounding = iota // a half goes to the even digit (ISO 80000-1, Annex B, rule A)
	Down                    // towards minus infinity
	Up                      // towards plus infinity
)

// RoundRat rounds an exact value to a number of places. An error means that the
// digits do not fit.
func RoundRat(r *big.Rat, places int, how Rounding) (Decimal, error) {
	if r == nil || places < -18 || places > 40 {
		return Decimal{}, ErrRange
	}
	p := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(places, -places))), nil)
	scaled := new(big.Rat).SetInt(p)
	if places < 0 {
		scaled.Inv(scaled)
	}
	scaled.Mul(scaled, r)
	// DivMod with a positive divisor floors.
	q, m := new(big.Int).DivMod(scaled.Num(), scaled.Denom(), new(big.Int))
	up := false
	switch how {
	case Up:
		up = m.Sign() != 0
	case Nearest:
		c := m.Lsh(m, 1).Cmp(scaled.Denom())
		up = c > 0 || c == 0 && q.Bit(0) == 1
	}
	if up {
		q.Add(q, big.NewInt(1))
	}
	d := Decimal{Neg: q.Sign() < 0, Scale: int8(places)}
	if q.Abs(q); !q.IsUint64() || len(q.String()) > maxDigits {
		return Decimal{}, ErrRange
	}
	d.Coef = q.Uint64()
	return d, nil
}

// ErrNotFinite is returned for a value no decimal writes out.
var ErrNotFinite = errors.New("not a finite decimal")

// FromRat writes an exact value as the shortest decimal that is it.
func FromRat(r *big.Rat) (Decimal, error) {
	for places := 0; places <= maxDigits; places++ {
		d, err := RoundRat(r, places, Nearest)
		if err != nil {
			return Decimal{}, err
		}
		if d.Rat().Cmp(r) == 0 {
			return d, nil
		}
	}
	return Decimal{}, ErrNotFinite
}
