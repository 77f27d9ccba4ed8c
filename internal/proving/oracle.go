package proving

import (
	"math"
	"slices"

	"thouwright/internal/ledger"
	"thouwright/internal/method"
	"thouwright/internal/simulate"
)

// oracle is the best estimator there can be with full knowledge of the
// simulator's noise, for the very stops that the machine used. What it knows and
// what it does not is what makes the comparison fair:
//
//   - It knows the step, how the gauge rounds, and the standard deviation of a
//     stop, and sees the code at the beginning and at the end of each: of the
//     readings that a rest's value is made of, without those left out for settling
//     and leaving, and of the last stop no more than the machine had seen of it.
//     What the hand did before the first stop it knows for what it was.
//   - It does not know the play, nor where the stops lie: both levels have a flat
//     prior. It has to find out the drift as the machine has to: it takes three
//     stands of four to have none and the others one that is anywhere within ± most (mm/s; twice what the
//     drifting cells have). It is not told which cell it is in. (One that is told
//     that there is no drift knows more than the noise; one whose prior is flat
//     alone takes equal codes for a proof of more than they are where nothing
//     drifts, and covers less than 95 % there.)
//   - A take of a cell has no knocks, and neither reckons with any.
//
// It gives the mean of the play's posterior and the half-width about it that
// holds 95 %; the table has how often it covers.
func oracle(stops []stop, res *method.Result, take Case, most float64) (value, u95 float64) {
	var seen [2][]shown
	for _, x := range res.Rests {
		if i := slices.IndexFunc(stops, func(s stop) bool { return x.T >= s.from && x.T <= s.to }); x.Used && i >= 0 {
			k := 0
			if stops[i].side > 0 {
				k = 1
			}
			seen[k] = append(seen[k], take.shown(x, stops[i]))
		}
	}
	h, nodes := math.Max(take.Noise, take.Step)/16, 5
	if take.Noise < 0.3*take.Step { // codes that scatter so little tell a drift sharply
		h, nodes = take.Step/20, 40
	}
	t0 := (seen[0][0].when[0] + seen[1][len(seen[1])-1].when[1]) / 2
	var density []float64 // by place of the distance in h, from start
	start := 0
	for k := -nodes; k <= nodes; k++ {
		first, low := posterior(seen[0], take, h, most*float64(k)/float64(nodes), t0)
		begin, high := posterior(seen[1], take, h, most*float64(k)/float64(nodes), t0)
		if len(low) == 0 || len(high) == 0 {
			continue
		}
		weight := (1 - still) / float64(2*nodes+1)
		if k == 0 {
			weight += still
		}
		at := begin - first - len(low) + 1
		if n := len(low) + len(high); density == nil {
			start, density = at, make([]float64, n)
		} else if from, to := min(at, start), max(at+n, start+len(density)); to-from > len(density) {
			density = append(make([]float64, start-from, to-from), density...)[:to-from]
			start = from
		}
		for i, p := range low {
			if p == 0 {
				continue
			}
			row := density[at-start+len(low)-1-i:]
			for j, q := range high {
				row[j] += weight * p * q
			}
		}
	}
	var sum float64
	for k, p := range density {
		sum += p
		value += p * float64(k)
	}
	value /= sum
	// Each place's mass is spread evenly over its cell.
	inside := func(w float64) (mass float64) {
		for k, p := range density {
			x := float64(k) - value
			mass += p * math.Max(0, math.Min(x+0.5, w)-math.Max(x-0.5, -w))
		}
		return mass
	}
	low, high := 0.0, float64(len(density))
	for range 30 {
		if w := (low + high) / 2; inside(w) < 0.95*sum {
			low = w
		} else {
			high = w
		}
	}
	return (float64(start) + value) * h, high * h
}

// shown is what the gauge showed of a stop: the codes of the first and of the last
// reading that a rest's value is made of.
type shown struct{ when, code [2]float64 }

func (c Case) shown(x ledger.Rest, of stop) (s shown) {
	first, last := int(x.FirstSeq)-1, int(x.LastSeq)-1 // Feed counts from 1
	for ; c.Readings[first].T < of.from; first++ {
	}
	first += (last + 1 - first) / 3
	for last > first && c.Readings[last].T > of.to-leaving {
		last--
	}
	for i, r := range []simulate.Reading{c.Readings[first], c.Readings[last]} {
		s.when[i], s.code[i] = r.T, r.Value
	}
	return s
}

// leaving is how long before a stop's end the machine may think that it has begun, s.
const leaving = 0.1

// still is the part of stands that do not drift, for the oracle.
const still = 0.75

// posterior of a level given the codes of stops that scatter by noise about it
// and drift by b a second, on the grid of width h; first is where it begins. It
// is empty where no level explains the codes.
func posterior(stops []shown, take Case, h, b, t0 float64) (first int, density []float64) {
	low, high := make([]float64, len(stops)), make([]float64, len(stops))
	least, most := math.Inf(1), math.Inf(-1)
	for i, s := range stops {
		half, at := b*(s.when[1]-s.when[0])/2, b*((s.when[0]+s.when[1])/2-t0)
		low[i] = math.Max(s.code[0]+half, s.code[1]-half) - take.Step/2 - at
		high[i] = math.Min(s.code[0]+half, s.code[1]-half) + take.Step/2 - at
		if low[i] >= high[i] {
			return 0, nil
		}
		least, most = math.Min(least, low[i]), math.Max(most, high[i])
	}
	reach := 5*take.Noise/math.Sqrt(float64(len(stops))) + 2*h
	first = int(math.Floor((least - reach) / h))
	density = make([]float64, int((most+reach)/h)-first+1)
	phi := func(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }
	var sum float64
	for i := range density {
		mu := (float64(first+i) + 0.5) * h
		p := 1.0
		for k := range stops {
			if take.Noise == 0 {
				// The part of the place that lies between the edges.
				p *= math.Max(0, math.Min(high[k], mu+h/2)-math.Max(low[k], mu-h/2)) / h
				continue
			}
			p *= phi((high[k]-mu)/take.Noise) - phi((low[k]-mu)/take.Noise)
		}
		density[i] = p
		sum += p
	}
	if sum == 0 {
		return 0, nil
	}
	return first, density
}
