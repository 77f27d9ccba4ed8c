package bench

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rs/zerolog"

	"thouwright/config"
	"thouwright/drivers"
	"thouwright/internal/journal"
)

// fuzzBench has a gauge that streams and one that sends on change.
const fuzzBench = `
driver_dir = "drivers"
[[gauge]]
name = "a"
port = "/dev/zero"
driver = "signed-decimal"
unit = "mm"
[[gauge]]
name = "b"
port = "/dev/one"
driver = "on-change"
unit = "mm"
error_local = "0.002 mm over 0.5 mm"
range = "-12..12 mm"
`

const fuzzJob = `
number = "R-1"
stages = ["as found", "assembled"]
[[component]]
name = "pin"
[[component.check]]
id = "first"
name = "first"
method = "METHOD"
gauge = "a"
EXTRA
[[component.check]]
name = "second"
method = "derived"
value = 'first / (first - 1)'
[[rule]]
when = "side == 'below'"
say = "too little"
`

const fuzzChange = `
sends = "change"
pattern = "{value}[{unit}]"
[[example]]
bytes = "1.5<CR>"
gives = ["1.5"]
`

// rockedTape is a hand at a gauge: n strokes of a play, a moment's hold at each
// stop. A gauge that sends on change says nothing meanwhile.
func rockedTape(n int, play float64, onChange bool) string {
	var b strings.Builder
	b.WriteString("# started 2026-11-25T08:00:00Z\n")
	t, last := 0.1, math.NaN()
	for i := range n * 20 {
		where := math.Min(1, float64(i%20)/5) * play
		if i/20%2 == 1 {
			where = play - where
		}
		if !onChange || where != last {
			fmt.Fprintf(&b, "%.6f\t%x\n", t, fmt.Sprintf("%.3f\r", where))
		}
		t, last = t+0.1, where
	}
	return b.String()
}

// FuzzReplay: whatever bench file, job sheet, tapes and commands say together,
// the loop takes it in or refuses it with a word, comes to an end, and what it
// wrote holds. Tapes and sheets may come from anywhere: verify plays those of a
// bundle that somebody sent.
func FuzzReplay(f *testing.F) {
	tape, silent := rockedTape(10, 0.1, false), rockedTape(1, 0.1, true)
	commands := "# started 2026-11-25T08:00:00Z\n0.0\t{\"do\":\"link\",\"gauge\":\"a\",\"text\":\"opened\"}\n3.0\t{\"do\":\"note\",\"text\":\"dry\"}\n5.0\t{\"do\":\"restart\"}\n"
	for _, m := range []struct{ method, extra string }{
		{"play", "limits = \"0.02..0.15 mm\""},
		{"play", "minus = \"b\"\nlimits = \"..0.15 mm\""},
		{"end-play", "minus = \"b\"\nlimits = \"0.02..0.15 mm\"\n[component.check.adjuster]\npitch = \"1.5 mm\"\nslots = 6"},
		{"run-out", "stations = 4\ntilt = \"..3 deg\""},
		{"size", "master = \"30 mm\"\nturning = \"least\"\nlimits = \"29.9..30.1 mm\""},
		{"drag", "limits = \"..5 N\""},
	} {
		job := strings.NewReplacer("METHOD", m.method, "EXTRA", m.extra).Replace(fuzzJob)
		bench := fuzzBench
		if m.method == "drag" {
			bench = strings.Replace(bench, `"mm"`, `"N"`, 1)
		}
		f.Add(bench, job, tape, silent, commands)
		f.Add(bench, job, rockedTape(10, 0.1, true), tape, "")
	}
	f.Add(fuzzBench, "", tape, silent, "")
	cat := drivers.BuiltIn()
	change, err := drivers.Parse("on-change.toml", []byte(fuzzChange))
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, bench, job, a, b, commands string) {
		if len(a)+len(b) > 1<<16 {
			return
		}
		// As verify reads a folder's files: nobody has checked them against each other.
		loaded := &files{benchText: []byte(bench), cat: cat.With(change)}
		if loaded.bench, _ = config.ParseBench("bench.toml", loaded.benchText); loaded.bench == nil {
			return
		}
		if job != "" {
			loaded.jobText = []byte(job)
			if loaded.job, _ = config.ParseJob("job.toml", loaded.jobText); loaded.job == nil {
				return
			}
		}
		dir := t.TempDir()
		r := Replay{loaded: loaded, Dir: filepath.Join(dir, "out"), Log: zerolog.Nop(), Tapes: map[string]string{"a": fileIn(t, dir, "a.tape", a), "b": fileIn(t, dir, "b.tape", b)}}
		if commands != "" {
			r.Commands = fileIn(t, dir, "commands.tape", commands)
		}
		out, err := r.Run(context.Background())
		if err != nil && (err.Error() == "" || len(err.Error()) > 4000) {
			t.Fatalf("no clear word: %q", err)
		}
		if out == "" {
			return
		}
		report, err := journal.Verify(out)
		if err != nil || !report.Holds {
			t.Fatalf("what it wrote does not hold: %v %+v", err, report)
		}
	})
}
