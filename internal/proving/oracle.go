package proving

import (
	"math"

	"thouwright/internal/method"
)

// oracle is the best estimator there can be with full knowledge of the
// simulator's noise: for the very stops that the machine used, the posterior of
// each side's level given the codes shown, a flat prior and the stops' standard
// deviation; the play's is that of their difference. A drift it does not know, as
// nobody would, but only that it is no more than most (mm/s, with a flat prior).
// It gives the posterior mean and the half-width that holds 95 %.
func oracle(stops []stop, res *method.Result, take Case, most float64) (value, u95 float64) {
	var seen [2][]stop
	for _, x := range res.Rests {
		if !x.Used {
			continue
		}
		for _, s := range stops {
			if x.T >= s.from-0.2 && x.T <= s.to+0.2 {
				k := 0
				if s.side > 0 {
					k = 1
				}
				seen[k] = append(seen[k], s)
				break
			}
		}
	}
	h := math.Max(take.Noise, take.Step) / 40
	drifts := []float64{0}
	if most > 0 {
		h *= 2
		drifts = nil
		nodes := 10
		if take.Noise < 0.3*take.Step { // codes that scatter so little tell a drift sharply
			nodes = 40
		}
		for k := -nodes; k <= nodes; k++ {
			drifts = append(drifts, most*float64(k)/float64(nodes))
		}
	}
	t0 := (seen[0][0].from + seen[1][len(seen[1])-1].to) / 2
	var density []float64 // by place of the distance in h, from start
	start := 0
	for k, b := range drifts {
		first, low := posterior(seen[0], take.Step, take.Noise, h, b, t0)
		begin, high := posterior(seen[1], take.Step, take.Noise, h, b, t0)
		at := begin - first - len(low) + 1
		if k == 0 {
			// Other drifts move the levels by less than this.
			room := len(low) + len(high)
			start, density = at-room, make([]float64, 3*room)
		}
		for i, p := range low {
			if p == 0 {
				continue
			}
			row := density[at-start+len(low)-1-i:]
			for j, q := range high {
				row[j] += p * q
			}
		}
	}
	var sum float64
	for k, p := range density {
		sum += p
		value += p * float64(k)
	}
	value /= sum
	middle := int(math.Round(value))
	inside := density[middle]
	k := 0
	for ; inside < 0.95*sum; k++ {
		inside += density[middle-k-1] + density[middle+k+1]
	}
	return (float64(start) + value) * h, (float64(k) + 0.5) * h
}

// posterior of a level given the codes of stops that scatter by noise about it
// and drift by b a second, on the grid of width h; first is where it begins.
func posterior(stops []stop, step, noise, h, b, t0 float64) (first int, density []float64) {
	low, high := math.Inf(1), math.Inf(-1)
	codes := make([]float64, len(stops))
	for i, s := range stops {
		codes[i] = s.code - b*((s.from+s.to)/2-t0)
		low, high = math.Min(low, codes[i]), math.Max(high, codes[i])
	}
	reach := step/2 + 5*noise/math.Sqrt(float64(len(codes))) + 2*h
	first = int(math.Floor((low - reach) / h))
	density = make([]float64, int((high+reach)/h)-first+1)
	phi := func(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }
	for i := range density {
		mu := (float64(first+i) + 0.5) * h
		p := 1.0
		for _, c := range codes {
			if noise == 0 {
				if math.Abs(c-mu) > step/2 {
					p = 0
				}
				continue
			}
			p *= phi((c+step/2-mu)/noise) - phi((c-step/2-mu)/noise)
		}
		density[i] = p
	}
	return first, density
}
