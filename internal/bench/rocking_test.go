package bench

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/rs/zerolog"

	"thouwright/internal/journal"
	"thouwright/internal/ledger"
	"thouwright/internal/proving"
)

// sight is what a gauge sees of the shaft and sends.
type sight struct {
	step, rate float64
	in         float64 // mm in one of the unit sent: 1 or 25.4
	places     int
	unit       string
}

func (g sight) tape(s *proving.Shaft) []byte {
	var b bytes.Buffer
	offset, drift := s.In(-6, 6), 3e-5*s.R.NormFloat64()
	hiss := 0.25 * math.Max(g.step, 0.002) * math.Pow(s.R.Float64(), 3)
	lost, wild := s.In(0, 0.04), s.In(0, 0.004)
	for t := 0.0; t < s.Now()-0.002; t += s.In(0.8, 1.2) / g.rate {
		v := s.At(t) + offset + drift*t + hiss*s.R.NormFloat64()
		if s.R.Float64() < wild {
			v += s.In(-10, 10)
		}
		if s.R.Float64() < lost {
			continue
		}
		line := fmt.Sprintf("%+.*f\r\n", g.places, math.Round(v/g.step)*g.step/g.in)
		fmt.Fprintf(&b, "%.6f\t%x\n", t, line)
	}
	return b.Bytes()
}

// run replays a tape through the whole program and gives its takes.
func (g sight) run(t *testing.T, tape []byte, positions string) []ledger.Take {
	t.Helper()
	dir := t.TempDir()
	for name, text := range map[string]string{
		"g.tape":     string(tape),
		"bench.toml": fmt.Sprintf("log_dir = 'logs'\n[[gauge]]\nname = 'g'\nport = 'tape:g.tape'\ndriver = 'signed-decimal'\nunit = %q\nerror = '0 mm'\nerror_local = '0 mm over 10 mm'\n", g.unit),
		"job.toml":   "number = 'J'\n[[component]]\nname = 'pin'\n[[component.check]]\nname = 'play'\nmethod = 'play'\ngauge = 'g'\nlimits = '..0.1 mm'\npositions = " + positions + "\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	out, err := Replay{BenchFile: filepath.Join(dir, "bench.toml"), Job: filepath.Join(dir, "job.toml"), Dir: filepath.Join(dir, "out"),
		Tapes: map[string]string{"g": filepath.Join(dir, "g.tape")}, Log: zerolog.Nop()}.Run(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	f, err := journal.Load(out)
	if err != nil {
		t.Fatal(err)
	}
	return f.Takes
}

var sights = []sight{
	{0.0254, 0, 25.4, 3, "in"}, {0.0254, 0, 1, 4, "mm"}, {0.0127, 0, 25.4, 5, "in"}, {0.0127, 0, 1, 3, "mm"},
	{0.01, 0, 1, 2, "mm"}, {0.01, 0, 25.4, 5, "in"}, {0.001, 0, 1, 3, "mm"}, {0.0005, 0, 1, 4, "mm"},
}

// What is owed for tapes that nothing was tuned to: nearly all takes complete,
// their uncertainty covers the truth, and none of them is grossly wrong.
func TestTakesOfAnotherModel(t *testing.T) {
	const n = 30 // of each gauge
	done, covered, missing := 0, 0, 0
	var errs, u95 []float64
	for i := range n * len(sights) {
		g := sights[i%len(sights)]
		s := proving.NewShaft(rand.New(rand.NewPCG(uint64(i), 8417)))
		g.rate = 2.2 * math.Pow(9, s.R.Float64())
		unit := math.Max(g.step, 0.002)
		play := unit * s.In(2, 30)
		s.SetUp()
		s.Rock(play, unit, unit*s.In(0.05, 0.5), g.rate, 24)
		takes := g.run(t, g.tape(s), "['left lock']")
		if len(takes) == 0 {
			if play > 4*unit {
				t.Logf("tape %d: no take of a play of %.1f steps, %.1f readings a second", i, play/unit, g.rate)
				missing++
			}
			continue
		}
		done++
		x := takes[0]
		e := math.Abs(x.Result - play)
		if e <= x.U95 {
			covered++
		} else if e > 4*math.Max(x.U95, 0.3*unit) {
			t.Errorf("tape %d: %.5f ± %.5f mm, the truth is %.5f", i, x.Result, x.U95, play)
		}
		errs, u95 = append(errs, e/unit), append(u95, x.U95/unit)
	}
	slices.Sort(errs)
	slices.Sort(u95)
	p95, wide := errs[len(errs)*95/100], u95[len(u95)/2]
	t.Logf("%d of %d takes, %d covered, 95 %% of the errors below %.2f steps, median U95 %.2f steps", done, n*len(sights), covered, p95, wide)
	if done < n*len(sights)*98/100 || missing > n*len(sights)/100 || covered < done*94/100 || p95 > 0.9 || wide > 1.3 {
		t.Errorf("%d of %d takes, %d covered, 95 %% of the errors below %.2f steps, median U95 %.2f steps", done, n*len(sights), covered, p95, wide)
	}
}

// A person who rocks on after the sound, then moves to the next place, gets a
// take for every place and none that was measured elsewhere.
func TestRockingOnOfAnotherModel(t *testing.T) {
	for i := range 40 {
		g := sights[i%len(sights)]
		s := proving.NewShaft(rand.New(rand.NewPCG(uint64(i), 9)))
		g.rate = s.In(4, 20)
		unit := math.Max(g.step, 0.002)
		s.SetUp()
		var plays []float64
		for range 3 {
			play := unit * s.In(5, 20)
			plays = append(plays, play)
			s.Rock(play, unit, 0.1*unit, g.rate, 26)
			s.Stroke(s.Last()+math.Copysign(s.In(2, 4), -s.Last()), 0.8, 0)
			s.Hold(1, 0, 0)
		}
		takes := g.run(t, g.tape(s), "['a', 'b', 'c']")
		if len(takes) != 3 {
			t.Errorf("tape %d: %d takes, expected 3", i, len(takes))
			continue
		}
		for k, x := range takes {
			if math.Abs(x.Result-plays[k]) > 2*x.U95+0.3*unit {
				t.Errorf("tape %d, place %d: %.5f ± %.5f mm, the truth is %.5f of %.5f", i, k, x.Result, x.U95, plays[k], plays)
			}
		}
	}
}
