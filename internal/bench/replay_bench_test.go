package bench

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"thouwright/internal/simulate"
	"thouwright/internal/tape"
)

// rockingTape writes a tape of n readings of a hub, a reading a chunk, and the
// bench and job files to measure it: end play that never passes, so that take
// follows take. The hub is rocked without end, which makes a take every 80
// readings and no person does; or, at work, the hand turns to the nut and sets
// the gauge up between two takes, some 600 readings apart.
func rockingTape(tb testing.TB, n int, atWork bool) (dir string) {
	tb.Helper()
	dir = tb.TempDir()
	fileIn(tb, dir, "bench.toml", "[[gauge]]\nname = \"dial-1\"\nport = \"tape:dial-1.tape\"\ndriver = \"signed-decimal\"\nunit = \"mm\"\nerror_local = \"0.001 mm over 1 mm\"\n")
	fileIn(tb, dir, "job.toml", "number = \"B-1\"\n[[component]]\nname = \"hub\"\n[[component.check]]\nname = \"end play\"\nmethod = \"end-play\"\ngauge = \"dial-1\"\nlimits = \"..0.05 mm\"\n")
	r := rand.New(rand.NewPCG(1, 1))
	var p simulate.Path
	hand := simulate.Hand{Hold: [2]float64{0.6, 1}, Stroke: [2]float64{0.3, 0.5}, Noise: 0.002}
	for p.End() < float64(n)/10 {
		if !atWork {
			hand.Rock(&p, r, 5, 0.2, 1000)
			continue
		}
		hand.SetUp(&p, r, 3, 12)
		p.Glide(5, 1)
		p.Hold(38, 0, 0)
		hand.Rock(&p, r, 5, 0.2, 8)
	}
	f, err := os.Create(filepath.Join(dir, "dial-1.tape"))
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	w, err := tape.NewWriter(f, time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC))
	if err != nil {
		tb.Fatal(err)
	}
	g := simulate.Gauge{Step: 0.001, Rate: 10, Jitter: 0.1, Noise: 0.0003}
	for i, v := range g.Read(&p, r) {
		if i == n {
			break
		}
		if err := w.Chunk(int64(v.T*1e6), fmt.Appendf(nil, "%+.3f\r\n", v.Value)); err != nil {
			tb.Fatal(err)
		}
	}
	return dir
}

// BenchmarkReplay plays 500,000 readings from their tape through decoding,
// motion, method, rules and journal; its floor, in the same run, is reading the
// tape alone. Readings per second of processor time are what one core does
// where others use the machine, too, the journal's own goroutine included.
func BenchmarkReplay(b *testing.B) {
	b.Run("at-work", func(b *testing.B) { benchmarkReplay(b, true) })
	b.Run("take-upon-take", func(b *testing.B) { benchmarkReplay(b, false) })
}

func benchmarkReplay(b *testing.B, atWork bool) {
	const n = 500_000
	dir := rockingTape(b, n, atWork)
	measured := func(b *testing.B, f func(i int)) {
		began := cpuTime()
		for i := 0; b.Loop(); i++ {
			f(i)
		}
		all := float64(n) * float64(b.N)
		b.ReportMetric(all/b.Elapsed().Seconds(), "readings/s")
		if used := (cpuTime() - began).Seconds(); used > 0 {
			b.ReportMetric(all/used, "readings/cpu-s")
		}
	}
	b.Run("whole", func(b *testing.B) {
		takes := 0
		measured(b, func(i int) {
			r := Replay{
				BenchFile: filepath.Join(dir, "bench.toml"), Job: filepath.Join(dir, "job.toml"), Log: zerolog.Nop(),
				Tapes: map[string]string{"dial-1": filepath.Join(dir, "dial-1.tape")}, Dir: filepath.Join(dir, fmt.Sprint("out", i)),
			}
			out, err := r.Run(context.Background())
			if err != nil {
				b.Fatal(err)
			}
			b.StopTimer()
			text, err := os.ReadFile(filepath.Join(out, "takes.csv"))
			if err != nil {
				b.Fatal(err)
			}
			takes = bytes.Count(text, []byte{'\n'}) - 1
			os.RemoveAll(out)
			b.StartTimer()
		})
		if takes == 0 {
			b.Fatal("no take was made")
		}
		b.ReportMetric(float64(n)/float64(takes), "readings/take")
	})
	b.Run("floor", func(b *testing.B) {
		measured(b, func(int) {
			f, err := os.Open(filepath.Join(dir, "dial-1.tape"))
			if err != nil {
				b.Fatal(err)
			}
			t := tape.NewReader("dial-1.tape", f)
			for err == nil {
				_, _, err = t.Next()
			}
			f.Close()
		})
	})
}
