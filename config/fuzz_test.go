package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thouwright/drivers"
	"thouwright/internal/method"
)

// The seeds are the example and every file of mistakes.
func addSeeds(f *testing.F, kind string, more ...string) {
	files, err := filepath.Glob("testdata/mistakes/" + kind + "*.toml")
	if err != nil || len(files) < 4 {
		f.Fatalf("%d seeds of %s, %v", len(files), kind, err)
	}
	for _, name := range append(files, more...) {
		text, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(text))
	}
}

func clear(t *testing.T, ps []Problem) {
	t.Helper()
	for _, p := range ps {
		if p.Text == "" || p.File == "" || len(p.Text) > 4000 || strings.ContainsAny(p.String(), "\n\r\x00") {
			t.Fatalf("no clear line: %q", p)
		}
	}
}

// Whatever a job sheet holds: clear lines, and one that passes all checks is
// fit for work: every Spec can be made, and it can be written and read again.
func FuzzJob(f *testing.F) {
	addSeeds(f, "job", "example/jobs/2026-041.toml")
	b, ps := LoadBench("example/bench.toml")
	if b == nil {
		f.Fatal(ps)
	}
	cat := drivers.BuiltIn()
	f.Fuzz(func(t *testing.T, text string) {
		j, ps := ParseJob("j", []byte(text))
		clear(t, ps)
		if j == nil {
			if !Refused(ps) {
				t.Fatal("refused without a word")
			}
			return
		}
		vs := Validate(b, j, cat)
		clear(t, vs)
		again, ps := ParseJob("j", WriteJob(j))
		if again == nil {
			t.Fatalf("written, it is refused: %v\n%s", ps, WriteJob(j))
		}
		if Refused(vs) {
			return
		}
		for i := range j.Components {
			for k := range j.Components[i].Checks {
				for _, stage := range append([]string{""}, j.Stages...) {
					s, err := Spec(b, j, i, k, stage)
					if err != nil {
						t.Fatalf("clean, but no spec: %v\n%s", err, text)
					}
					if s.Method != method.Derived && !(s.Limits.Low <= s.Limits.High && s.Gauge.RangeLow < s.Gauge.RangeHigh && s.Confidence > 0.5) {
						t.Fatalf("clean, but a spec like %+v", s)
					}
				}
			}
		}
	})
}

func FuzzBench(f *testing.F) {
	addSeeds(f, "bench", "example/bench.toml")
	j, ps := LoadJob("example/jobs/2026-041.toml")
	if j == nil {
		f.Fatal(ps)
	}
	cat := drivers.BuiltIn()
	f.Fuzz(func(t *testing.T, text string) {
		b, ps := ParseBench("b", []byte(text))
		clear(t, ps)
		if b == nil {
			if !Refused(ps) {
				t.Fatal("refused without a word")
			}
			return
		}
		vs := Validate(b, j, cat)
		clear(t, vs)
		if Refused(vs) {
			return
		}
		for i := range j.Components {
			for k := range j.Components[i].Checks {
				if _, err := Spec(b, j, i, k, ""); err != nil {
					t.Fatalf("clean, but no spec: %v\n%s", err, text)
				}
			}
		}
	})
}
