// Command proving runs the statistical proof in depth and prints its table.
package main

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"

	"thouwright/internal/proving"
)

func main() {
	n := flag.Int("n", 400, "takes per cell")
	seed := flag.Uint64("seed", 1, "seed")
	flag.Parse()
	for _, d := range proving.Steps {
		unit := math.Max(d, 0.002)
		for _, k := range []float64{0, 0.1, 0.25, 0.5, 1, 2} {
			r := rand.New(rand.NewPCG(*seed, uint64(k*100)))
			var t proving.Tally
			for range *n {
				c := proving.Draw(r, d, k*unit)
				t.Add(c, proving.Run(c))
			}
			fmt.Printf("step %.4f noise %.2f: done %.3f in time %.3f  p50 %.2f p95 %.2f  cover %.3f  U95 %.2f\n", d, k, float64(t.Done)/float64(t.N), float64(t.InTime)/float64(t.Plain),
				proving.Quantile(t.Errors, .5)/unit, proving.Quantile(t.Errors, .95)/unit, float64(t.Covered)/float64(t.Done), proving.Quantile(t.U95, .5)/unit)
		}
	}
}
