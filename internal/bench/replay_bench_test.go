package bench

import (
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

// rockingTape writes a tape of n readings of a hub that is rocked without end,
// a reading a chunk, and the bench and job files to measure it: end play that
// never passes, so that take follows take.
func rockingTape(tb testing.TB, n int) (dir string) {
	tb.Helper()
	dir = tb.TempDir()
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			tb.Fatal(err)
		}
	}
	write("bench.toml", "[[gauge]]\nname = \"dial-1\"\nport = \"tape:dial-1.tape\"\ndriver = \"signed-decimal\"\nunit = \"mm\"\nerror_local = \"0.001 mm over 1 mm\"\n")
	write("job.toml", "number = \"B-1\"\n[[component]]\nname = \"hub\"\n[[component.check]]\nname = \"end play\"\nmethod = \"end-play\"\ngauge = \"dial-1\"\nlimits = \"..0.05 mm\"\n")
	r := rand.New(rand.NewPCG(1, 1))
	var p simulate.Path
	hand := simulate.Hand{Hold: [2]float64{0.6, 1}, Stroke: [2]float64{0.3, 0.5}, Noise: 0.002}
	for p.End() < float64(n)/10 {
		hand.Rock(&p, r, 5, 0.2, 1000)
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
// tape alone.
func BenchmarkReplay(b *testing.B) {
	const n = 500_000
	dir := rockingTape(b, n)
	b.Run("whole", func(b *testing.B) {
		for i := 0; b.Loop(); i++ {
			r := Replay{
				BenchFile: filepath.Join(dir, "bench.toml"), Job: filepath.Join(dir, "job.toml"), Log: zerolog.Nop(),
				Tapes: map[string]string{"dial-1": filepath.Join(dir, "dial-1.tape")}, Dir: filepath.Join(dir, fmt.Sprint("out", i)),
			}
			if _, err := r.Run(context.Background()); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
	})
	b.Run("floor", func(b *testing.B) {
		for b.Loop() {
			f, err := os.Open(filepath.Join(dir, "dial-1.tape"))
			if err != nil {
				b.Fatal(err)
			}
			t := tape.NewReader("dial-1.tape", f)
			for err == nil {
				_, _, err = t.Next()
			}
			f.Close()
		}
		b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
	})
}
