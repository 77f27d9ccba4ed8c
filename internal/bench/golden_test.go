package bench

import (
	"context"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/rs/zerolog"

	"thouwright/internal/journal"
)

// Every tape of testdata/tapes once went wrong; its first line says how. Beside
// it lie the bench file, the job sheet and the truth: one play per position,
// which each position's only take must cover.
func TestGoldenTapes(t *testing.T) {
	dirs, _ := filepath.Glob("../../testdata/tapes/*")
	if len(dirs) < 4 {
		t.Fatalf("%d golden tapes in testdata/tapes; expected 4 and more", len(dirs))
	}
	for _, dir := range dirs {
		t.Run(filepath.Base(dir), func(t *testing.T) {
			truth := truthOf(t, filepath.Join(dir, "truth.csv"))
			out, err := Replay{BenchFile: filepath.Join(dir, "bench.toml"), Job: filepath.Join(dir, "job.toml"), Dir: t.TempDir(),
				Tapes: map[string]string{"g": filepath.Join(dir, "g.tape")}, Log: zerolog.Nop()}.Run(context.Background())
			if err != nil {
				t.Fatal(err)
			}
			f, err := journal.Load(out)
			if err != nil {
				t.Fatal(err)
			}
			if len(f.Takes) != len(truth) {
				t.Errorf("%d takes, expected %d", len(f.Takes), len(truth))
			}
			for _, x := range f.Takes {
				play, ok := truth[x.Tag.Position]
				if !ok || math.Abs(x.Result-play) > x.U95 {
					t.Errorf("position %q: %.5f ± %.5f mm, the truth is %.5f", x.Tag.Position, x.Result, x.U95, play)
				}
			}
		})
	}
}

func truthOf(t *testing.T, file string) map[string]float64 {
	t.Helper()
	in, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	rows, err := csv.NewReader(in).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s: %v, %d rows", file, err, len(rows))
	}
	truth := map[string]float64{}
	for _, r := range rows[1:] {
		if truth[r[0]], err = strconv.ParseFloat(r[1], 64); err != nil {
			t.Fatal(err)
		}
	}
	return truth
}
