package proving

import (
	"math"

	"thouwright/internal/method"
)

// oracle is the best estimator there can be with full knowledge of the
// simulator's noise: for the very stops that the machine used, the posterior of
// each side's level given the codes shown, a flat prior, the drift and the
// stops' standard deviation; the play's is that of their difference. It gives
// the posterior mean and the half-width that holds 95 %.
func oracle(stops []stop, res *method.Result, take Case) (value, u95 float64) {
	var low, high []float64
	for _, x := range res.Rests {
		if !x.Used {
			continue
		}
		for _, s := range stops {
			if x.T >= s.from-0.2 && x.T <= s.to+0.2 {
				if s.side > 0 {
					high = append(high, s.code)
				} else {
					low = append(low, s.code)
				}
				break
			}
		}
	}
	h := math.Max(take.Noise, take.Step) / 40
	a0, a := posterior(low, take.Step, take.Noise, h)
	b0, b := posterior(high, take.Step, take.Noise, h)
	diff := make([]float64, len(a)+len(b)-1)
	for i, p := range a {
		if p == 0 {
			continue
		}
		for j, q := range b {
			diff[j-i+len(a)-1] += p * q
		}
	}
	at := func(k int) float64 { return b0 - a0 + float64(k-len(a)+1)*h }
	var sum float64
	for k, p := range diff {
		sum += p
		value += p * at(k)
	}
	value /= sum
	middle := int(math.Round((value-at(0))/h + 0))
	inside := 0.0
	for k := 0; ; k++ {
		if i := middle - k; i >= 0 && i < len(diff) {
			inside += diff[i]
		}
		if i := middle + k; k > 0 && i >= 0 && i < len(diff) {
			inside += diff[i]
		}
		if inside >= 0.95*sum {
			return value, (float64(k) + 0.5) * h
		}
		if k > len(diff) {
			return value, math.NaN()
		}
	}
}

// posterior of a level given codes of stops that scatter by noise about it, on a
// grid of width h from the returned origin.
func posterior(codes []float64, step, noise, h float64) (origin float64, density []float64) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, c := range codes {
		low, high = math.Min(low, c), math.Max(high, c)
	}
	reach := step/2 + 5*noise/math.Sqrt(float64(len(codes))) + 2*h
	low, high = low-reach, high+reach
	n := int((high-low)/h) + 1
	density = make([]float64, n)
	phi := func(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }
	for i := range density {
		mu := low + (float64(i)+0.5)*h
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
	return low, density
}
