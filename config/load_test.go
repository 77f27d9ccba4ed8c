package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func lines(ps []Problem) []string {
	var out []string
	for _, p := range ps {
		out = append(out, p.String())
	}
	return out
}

func TestExampleLoadsClean(t *testing.T) {
	b, ps := LoadBench("example/bench.toml")
	if len(ps) > 0 {
		t.Fatalf("bench: %s", strings.Join(lines(ps), "\n"))
	}
	if got := b.JobDir; got != filepath.Join("example", "jobs") {
		t.Errorf("job_dir = %q, want it beside the bench file", got)
	}
	j, ps := LoadJob("example/jobs/2026-041.toml")
	if len(ps) > 0 {
		t.Fatalf("job: %s", strings.Join(lines(ps), "\n"))
	}
	if n := len(j.Components); n != 3 {
		t.Errorf("%d components", n)
	}
	if got := j.Components[1].Checks[0]; got.Strokes != 6 || got.MaxStrokes != 12 || got.Confidence != 0.95 || got.Advance != "pause" {
		t.Errorf("defaults not filled in: %+v", got)
	}
}

// Each case is a whole file and every line that must be said of it: all
// mistakes at once, each on the line where it stands.
func TestMistakesAreNamedOnTheirLines(t *testing.T) {
	dir := "testdata/mistakes"
	files, err := filepath.Glob(dir + "/*.toml")
	if err != nil || len(files) < 8 {
		t.Fatalf("%d files in %s, %v", len(files), dir, err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			var want []string
			for _, l := range strings.Split(string(text), "\n") {
				if w, ok := strings.CutPrefix(l, "#! "); ok {
					want = append(want, strings.TrimRight(w, "\r"))
				}
			}
			var ps []Problem
			if strings.HasPrefix(filepath.Base(file), "bench") {
				_, ps = ParseBench("f", text)
			} else {
				_, ps = ParseJob("f", text)
			}
			if d := cmp.Diff(want, lines(ps)); d != "" {
				t.Errorf("problems (-want +got):\n%s", d)
			}
		})
	}
}
