package sums

import (
	"fmt"
	"math"
	"math/big"

	"thouwright/internal/quantity"
)

// mostStates bounds the search: a pack of 20 mm in steps of 0.1 µm.
const mostStates = 200_000

// packs holds every thickness that shims of a stock can make, each with the
// fewest shims that make it. Thicknesses are counted in the sizes' greatest
// common divisor, so nothing is rounded.
type packs struct {
	stock   []shim
	unit    *big.Rat // mm
	u       float64
	fewestN []int32 // shims by thickness; none where it cannot be made
	bundles []bundle
	taken   [][]uint64 // per bundle, the thicknesses whose best pack holds it
}

// bundle is 1, 2, 4, … shims of one size: any number of them is a sum of such.
type bundle struct{ kind, n, weight int }

const none = math.MaxInt32

// newPacks searches up to a little more than most (mm), so that the next larger
// pack is known too.
func newPacks(stock []shim, most float64) (*packs, error) {
	p := &packs{stock: stock, unit: new(big.Rat)}
	largest := new(big.Rat)
	for _, s := range stock {
		p.unit = ratGCD(p.unit, s.size)
		if s.size.Cmp(largest) > 0 {
			largest = s.size
		}
	}
	p.u, _ = p.unit.Float64()
	l, _ := largest.Float64()
	states := (most + l) / p.u
	if states > mostStates {
		return nil, fmt.Errorf("the shims' thicknesses are too unlike for a pack of %s mm: give them to the same few digits", number(most, quantity.MM))
	}
	top := int(math.Ceil(states))
	for i, s := range stock {
		w := int(new(big.Rat).Quo(s.size, p.unit).Num().Int64())
		left := min(s.count, top/w)
		for k := 1; left > 0; k *= 2 {
			k = min(k, left)
			p.bundles = append(p.bundles, bundle{i, k, k * w})
			left -= k
		}
	}
	p.fewestN = make([]int32, top+1)
	for i := range p.fewestN {
		p.fewestN[i] = none
	}
	p.fewestN[0] = 0
	p.taken = make([][]uint64, len(p.bundles))
	for b, x := range p.bundles {
		p.taken[b] = make([]uint64, top/64+1)
		for s := top; s >= x.weight; s-- {
			if c := p.fewestN[s-x.weight]; c != none && c+int32(x.n) < p.fewestN[s] {
				p.fewestN[s] = c + int32(x.n)
				p.taken[b][s/64] |= 1 << (s % 64)
			}
		}
	}
	return p, nil
}

// window is least..most (mm) in units, ends included to a hair.
func (p *packs) window(least, most float64) (bottom, top int) {
	const hair = 1e-9
	return int(math.Ceil(least/p.u - hair)), min(int(math.Floor(most/p.u+hair)), len(p.fewestN)-1)
}

// fewest is the thickness within least..most that the fewest shims make, and of
// those the nearest to best; ok is false where there is none.
func (p *packs) fewest(least, most, best float64) (at int, ok bool) {
	bottom, top := p.window(least, most)
	found := int32(none)
	off := func(s int) float64 { return math.Abs(float64(s)*p.u - best) }
	for s := bottom; s <= top; s++ {
		if c := p.fewestN[s]; c < found || c == found && c != none && off(s) < off(at) {
			at, found = s, c
		}
	}
	return at, found != none
}

// nearest are the thicknesses next below and next above least..most.
func (p *packs) nearest(least, most float64) (near []int) {
	bottom, top := p.window(least, most)
	for s := min(bottom-1, len(p.fewestN)-1); s >= 0; s-- {
		if p.fewestN[s] != none {
			near = append(near, s)
			break
		}
	}
	for s := max(top+1, 0); s < len(p.fewestN); s++ {
		if p.fewestN[s] != none {
			near = append(near, s)
			break
		}
	}
	return near
}

// pick is the pack that makes a thickness.
func (p *packs) pick(at int) []shim {
	n := make([]int, len(p.stock))
	for b := len(p.bundles) - 1; b >= 0; b-- {
		if p.taken[b][at/64]&(1<<(at%64)) != 0 {
			n[p.bundles[b].kind] += p.bundles[b].n
			at -= p.bundles[b].weight
		}
	}
	var chosen []shim
	for i, s := range p.stock {
		if n[i] > 0 {
			chosen = append(chosen, shim{s.size, s.text, n[i]})
		}
	}
	return chosen
}

// mm is a thickness in mm.
func (p *packs) mm(at int) float64 {
	t, _ := new(big.Rat).Mul(p.unit, big.NewRat(int64(at), 1)).Float64()
	return t
}

// ratGCD is the greatest common divisor of two positive fractions; of zero and
// one, that one.
func ratGCD(a, b *big.Rat) *big.Rat {
	if a.Sign() == 0 {
		return b
	}
	x := new(big.Int).Mul(a.Num(), b.Denom())
	y := new(big.Int).Mul(b.Num(), a.Denom())
	return new(big.Rat).SetFrac(x.GCD(nil, nil, x, y), new(big.Int).Mul(a.Denom(), b.Denom()))
}
