// Command proving runs the statistical proof in depth and prints its tables.
package main

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"

	"thouwright/internal/method"
	"thouwright/internal/proving"
)

var (
	n      = flag.Int("n", 400, "takes per row")
	seed   = flag.Uint64("seed", 1, "seed of all chance")
	hours  = flag.Float64("hours", 0, "hours of mere handling, of each model; lists every false take")
	aims   = flag.Bool("aims", false, "takes by model, step and noise, then 100 hours (or -hours) of mere handling of each model")
	byPlay = flag.Bool("byplay", false, "takes by model, noise and size of the play: where small plays need more strokes")
	table  = flag.Bool("table", false, "takes beside an oracle that knows the noise, and the verdicts about a limit")
	steps  = flag.String("steps", "0.0254,0.01,0.001", "of -table, mm")
	noises = flag.String("noise", "0,0.1,0.15,0.2,0.25,0.35,0.5,0.75,1", "of -table, in units")
	only   = flag.String("model", "", "one model alone: glides, forces or events")
)

func main() {
	flag.Parse()
	switch {
	case *table:
		oracle()
	case *byPlay:
		fmt.Println(proving.TallyHeader("model", "noise", "play"))
		each(small)
	case *aims:
		fmt.Println(proving.TallyHeader("model", "step mm", "noise"))
		each(takes)
		if *hours == 0 {
			*hours = 100
		}
		each(handling)
	case *hours > 0:
		each(handling)
	default:
		flag.Usage()
		os.Exit(2)
	}
}

func each(do func(m proving.Model)) {
	for _, m := range proving.Models {
		if *only == "" || *only == m.Name {
			do(m)
		}
	}
}

// handling counts the takes made of mere handling.
func handling(m proving.Model) {
	k := proving.FalseTakes(m, rand.New(rand.NewPCG(*seed, 5)), *hours, func(c proving.Case, r *method.Result) {
		fmt.Printf("a false take: %.1f units of %.4f mm, %d strokes, %d left out, %.0f s to %.0f s, %.1f readings/s, on change %v; %s\n",
			r.Value/c.Unit(), c.Unit(), r.Strokes, r.LeftOut, r.Rests[0].T, r.T, c.Rate, c.OnChange, r.Note)
		if !*aims {
			for _, x := range r.Rests {
				fmt.Printf("   %.2f s %s %.1f units %v %s\n", x.T, x.Side, (x.Value-r.Rests[0].Value)/c.Unit(), x.Used, x.Reason)
			}
		}
	})
	fmt.Printf("%s: %d takes in %.0f hours of mere handling\n", m.Name, k, *hours)
}

// takes prints a row for each step and noise, and what they come to where the
// noise of a stop is at most half a unit.
func takes(m proving.Model) {
	var all proving.Tally
	for i, d := range proving.Steps {
		for k, noise := range []float64{0, 0.1, 0.25, 0.5, 1} {
			var t proving.Tally
			r := rand.New(rand.NewPCG(*seed, uint64(10*i+k)))
			for range *n {
				c := m.Draw(r, d, noise)
				o := proving.Run(c)
				t.Add(c, o)
				if noise <= 0.5 {
					all.Add(c, o)
				}
			}
			fmt.Printf("| %s | %.4f | %.2f | %s\n", m.Name, d, noise, &t)
		}
	}
	fmt.Printf("| %s | all | ≤ 0.50 | %s\n", m.Name, &all)
}

// small prints a row for each noise and size of the play.
func small(m proving.Model) {
	edges := []float64{2, 3, 4, 6, 10}
	names := []string{"1 to 2", "2 to 3", "3 to 4", "4 to 6", "6 to 10", "10 to 31"}
	for k, noise := range []float64{0, 0.25, 0.5, 1} {
		var t [6]proving.Tally
		for i, d := range proving.Steps {
			r := rand.New(rand.NewPCG(*seed, uint64(10*i+k)))
			for range *n {
				c := m.Draw(r, d, noise)
				b := 0
				for _, e := range edges {
					if c.Play/c.Unit() > e {
						b++
					}
				}
				t[b].Add(c, proving.Run(c))
			}
		}
		for b := range t {
			fmt.Printf("| %s | %.2f | %s | %s\n", m.Name, noise, names[b], &t[b])
		}
	}
}

func oracle() {
	fmt.Println(proving.Header)
	for i, c := range proving.Cells(numbers(*steps), numbers(*noises)) {
		fmt.Println(c.Run(rand.New(rand.NewPCG(*seed, uint64(i+1))), *n))
	}
}

func numbers(list string) (out []float64) {
	for _, x := range strings.Split(list, ",") {
		v, err := strconv.ParseFloat(x, 64)
		if err != nil {
			fmt.Fprintf(os.Stderr, "%q is no number\n", x)
			os.Exit(2)
		}
		out = append(out, v)
	}
	return out
}
