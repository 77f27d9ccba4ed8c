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
)

// shaft is a model of its own of a rocked shaft, made of events and of nothing
// that package simulate is made of: a stroke is a sigmoid of random skew, the
// contact rebounds like a dropped ball, a held part creeps by relaxation.
type shaft struct {
	r  *rand.Rand
	at []float64 // place, mm, every dt
}

const dt = 0.002

func (s *shaft) now() float64  { return float64(len(s.at)) * dt }
func (s *shaft) last() float64 { return s.at[len(s.at)-1] }
func (s *shaft) in(low, high float64) float64 {
	return low + (high-low)*s.r.Float64()
}

func (s *shaft) stroke(to, seconds, rebound float64) {
	from, a, b := s.last(), s.in(1.3, 3.5), s.in(1.3, 3.5)
	for n, i := int(seconds/dt), 1; i <= n; i++ {
		u := float64(i) / float64(n)
		x := math.Pow(u, a)
		s.at = append(s.at, from+(to-from)*x/(x+math.Pow(1-u, b)))
	}
	back := math.Copysign(rebound, from-to)
	for t := s.in(0.03, 0.08); t > 3*dt; t *= 0.6 {
		for u := 0.0; u < 1; u += dt / t {
			s.at = append(s.at, to+back*4*u*(1-u))
		}
		back *= 0.35
	}
	s.at = append(s.at, to)
}

func (s *shaft) hold(seconds, creep float64) {
	from, tau := s.last(), s.in(0.25, 0.55)
	for t := dt; t < seconds; t += dt {
		s.at = append(s.at, from+creep*(1-math.Exp(-t/tau)))
	}
}

// rock moves from stop to stop; some pushes stop short, some knock the stand.
func (s *shaft) rock(play, unit, noise, rate float64, strokes int) {
	low, side := s.last()-play/2, 1.0
	least := math.Max(0.4, 3.6/rate)
	var hold, creep, rebound, pace [2]float64 // seldom alike on both sides
	for k := range hold {
		hold[k] = s.in(least, math.Max(1.4, 1.2*least))
		creep[k] = 0.08 * unit * s.r.NormFloat64()
		rebound[k] = play * s.in(0, 0.2)
		pace[k] = s.in(0.1, 0.5)
	}
	short, knock := 0.0, 0.0
	if s.r.Float64() < 0.25 {
		short, knock = 0.1, 0.03
	}
	for range strokes {
		k := int(side+1) / 2
		to := low + float64(k)*play + noise*s.r.NormFloat64()
		if s.r.Float64() < short {
			to -= side * play * s.in(0.25, 0.75)
		}
		s.stroke(to, pace[k]*s.in(0.8, 1.3), rebound[k])
		s.hold(hold[k]*s.in(1, 1.3), creep[k])
		s.at = append(s.at, to)
		if s.r.Float64() < knock {
			low += 0.7 * play * s.r.NormFloat64()
		}
		side = -side
	}
}

// setUp moves the gauge about before the first stroke.
func (s *shaft) setUp() {
	for end := s.in(2, 8); s.now() < end; {
		s.stroke(s.in(-2, 2), s.in(0.15, 0.9), 0)
		s.hold(s.in(0.05, 1), 0)
	}
}

// sight is what a gauge sees of the shaft and sends.
type sight struct {
	step, rate float64
	in         float64 // mm in one of the unit sent: 1 or 25.4
	places     int
	unit       string
}

func (g sight) tape(s *shaft) []byte {
	var b bytes.Buffer
	offset, drift := s.in(-6, 6), 3e-5*s.r.NormFloat64()
	hiss := 0.25 * math.Max(g.step, 0.002) * math.Pow(s.r.Float64(), 3)
	lost, wild := s.in(0, 0.04), s.in(0, 0.004)
	for t := 0.0; t < s.now()-dt; t += s.in(0.8, 1.2) / g.rate {
		v := s.at[int(t/dt)] + offset + drift*t + hiss*s.r.NormFloat64()
		if s.r.Float64() < wild {
			v += s.in(-10, 10)
		}
		if s.r.Float64() < lost {
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
	done, covered := 0, 0
	var errs, u95 []float64
	for i := range n * len(sights) {
		g := sights[i%len(sights)]
		s := &shaft{r: rand.New(rand.NewPCG(uint64(i), 8417)), at: []float64{0}}
		g.rate = 2.2 * math.Pow(9, s.r.Float64())
		unit := math.Max(g.step, 0.002)
		play := unit * s.in(2, 30)
		s.setUp()
		s.rock(play, unit, unit*s.in(0.05, 0.5), g.rate, 24)
		takes := g.run(t, g.tape(s), "['left lock']")
		if len(takes) == 0 {
			if play > 4*unit {
				t.Errorf("tape %d: no take of a play of %.1f steps, %.1f readings a second", i, play/unit, g.rate)
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
	if done < n*len(sights)*96/100 || covered < done*92/100 || p95 > 0.9 || wide > 1.3 {
		t.Errorf("%d of %d takes, %d covered, 95 %% of the errors below %.2f steps, median U95 %.2f steps", done, n*len(sights), covered, p95, wide)
	}
}

// A person who rocks on after the sound, then moves to the next place, gets a
// take for every place and none that was measured elsewhere.
func TestRockingOnOfAnotherModel(t *testing.T) {
	for i := range 40 {
		g := sights[i%len(sights)]
		s := &shaft{r: rand.New(rand.NewPCG(uint64(i), 9)), at: []float64{0}}
		g.rate = s.in(4, 20)
		unit := math.Max(g.step, 0.002)
		s.setUp()
		var plays []float64
		for range 3 {
			play := unit * s.in(5, 20)
			plays = append(plays, play)
			s.rock(play, unit, 0.1*unit, g.rate, 26)
			s.stroke(s.last()+math.Copysign(s.in(2, 4), -s.last()), 0.8, 0)
			s.hold(1, 0)
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
