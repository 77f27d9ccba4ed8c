// Command proving runs the statistical proof in depth and prints its table.
package main

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"

	"thouwright/internal/method"
	"thouwright/internal/proving"
)

func main() {
	n := flag.Int("n", 400, "takes per cell")
	seed := flag.Uint64("seed", 1, "seed")
	hours := flag.Float64("hours", 0, "hours of handling")
	table := flag.Bool("table", false, "")
	which := flag.String("steps", "0.0254,0.01,0.001", "of the table, mm")
	noise := flag.String("noise", "0,0.1,0.15,0.2,0.25,0.35,0.5,0.75,1", "of the table, in units")
	foe := flag.Bool("foe", false, "")
	byPlay := flag.Bool("byplay", false, "")
	flag.Parse()
	if *table {
		fmt.Println(proving.Header)
		var steps, noises []float64
		for _, x := range strings.Split(*which, ",") {
			if v, err := strconv.ParseFloat(x, 64); err == nil {
				steps = append(steps, v)
			}
		}
		for _, x := range strings.Split(*noise, ",") {
			if v, err := strconv.ParseFloat(x, 64); err == nil {
				noises = append(noises, v)
			}
		}
		for i, c := range proving.Cells(steps, noises) {
			fmt.Println(c.Run(rand.New(rand.NewPCG(*seed, uint64(i+1))), *n))
		}
		return
	}
	if *foe {
		for i, x := range proving.Texts {
			for _, k := range []float64{0.1, 0.5, 1} {
				r := rand.New(rand.NewPCG(*seed, uint64(i)))
				var t proving.Tally
				unit := math.Max(x.MM(), 0.002)
				for range *n {
					f := proving.DrawFoe(r, x, 3+27*r.Float64(), k*unit)
					o := f.Run()
					o.Error /= unit
					o.U95 /= unit
					t.Add(proving.Case{Strokes: f.Strokes}, o)
				}
				fmt.Printf("%v noise %.1f: %s\n", x, k, &t)
			}
		}
		return
	}
	if *byPlay {
		for _, k := range []float64{0, 0.25, 0.5, 1, 2} {
			var t [6]proving.Tally
			for i, d := range proving.Steps {
				unit := math.Max(d, 0.002)
				r := rand.New(rand.NewPCG(*seed, uint64(k*100)+uint64(i)))
				for range *n {
					c := proving.Draw(r, d, k*unit)
					o := proving.Run(c)
					o.Error /= unit
					o.U95 /= unit
					b := 0
					for _, x := range []float64{2, 3, 5, 8, 15} {
						if c.Play/unit > x {
							b++
						}
					}
					t[b].Add(c, o)
				}
			}
			for b := range t {
				fmt.Printf("noise %.2f class %d: %s\n", k, b, t[b].String())
			}
		}
		return
	}
	if *hours > 0 {
		k := proving.FalseTakes(rand.New(rand.NewPCG(*seed, 5)), *hours, func(unit float64, r *method.Result) {
			fmt.Printf("false take: play %.1f units, %.4f strokes %d left out %d note %q %s\n", r.Value/unit, r.Value, r.Strokes, r.LeftOut, r.Note, r.NoVerdict)
			for _, x := range r.Rests {
				fmt.Printf("   %.2f %s %d %.4f %v %s\n", x.T, x.Side, x.Level, x.Value, x.Used, x.Reason)
			}
		})
		fmt.Println(k, "false takes")
		return
	}
	for i, d := range proving.Steps {
		unit := math.Max(d, 0.002)
		for _, k := range []float64{0, 0.1, 0.25, 0.5, 1, 2} {
			r := rand.New(rand.NewPCG(*seed, uint64(k*100)+uint64(i)))
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
