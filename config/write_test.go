//go:build unix

package config

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"thouwright/internal/method"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

var sameJob = cmp.Options{cmpopts.IgnoreUnexported(Job{}), cmpopts.IgnoreFields(Job{}, "File"), cmpopts.EquateEmpty()}

func words(t *rapid.T, label string) string {
	return rapid.StringMatching(`[A-Za-zäµΩ][ -~äµΩ·]{0,12}[a-z'"\\#]`).Draw(t, label)
}

func aRange(t *rapid.T, unit string) *quantity.Range {
	low := rapid.IntRange(1, 50).Draw(t, "low")
	high := low + rapid.IntRange(1, 50).Draw(t, "width")
	text := rapid.SampledFrom([]string{"L..H", "..H", "L.."}).Draw(t, "shape")
	dec := func(n int) string {
		return quantity.Decimal{Coef: uint64(n), Scale: 3}.String()
	}
	text = strings.NewReplacer("L", dec(low), "H", dec(high)).Replace(text) + " " + unit
	r, err := quantity.ParseRange(text)
	if err != nil {
		t.Fatal(err)
	}
	return &r
}

// aJob is any job that a sheet can hold.
func aJob(t *rapid.T) *Job {
	j := &Job{Number: rapid.StringMatching(`[A-Za-z0-9][A-Za-z0-9._-]{0,20}`).Draw(t, "number"),
		Customer: words(t, "customer"), Machine: words(t, "machine")}
	if rapid.Bool().Draw(t, "stages") {
		j.Stages = []string{"as found", "assembled"}
	}
	names := rapid.SliceOfNDistinct(rapid.Custom(func(t *rapid.T) string { return words(t, "name") }), 0, 3, rapid.ID[string]).Draw(t, "names")
	for i, n := range names {
		c := Component{Name: n}
		for k, m := range rapid.SliceOfN(rapid.SampledFrom(Methods), 0, 4).Draw(t, "methods") {
			ch := Check{Name: words(t, "check") + string(rune('a'+k)), Method: m, Source: words(t, "source")}
			if m == method.Derived {
				ch.Value = `max(a["x"], b) - 2 * c['y"z']`
			} else {
				ch.Gauge = "g"
				ch.Positions = []string{"upper", words(t, "position")}
			}
			unit := "mm"
			if m == method.Drag {
				unit = "N·m"
			}
			if rapid.Bool().Draw(t, "limits") {
				ch.Limits = aRange(t, unit)
			} else if m == method.Play {
				ch.Fit = "32 H7/g6"
			}
			if len(j.Stages) > 0 && rapid.Bool().Draw(t, "stage limits") {
				ch.StageLimits = map[string]quantity.Range{"as found": *aRange(t, unit)}
			}
			switch m {
			case method.Play, method.EndPlay:
				ch.Strokes = 2 * rapid.IntRange(2, 20).Draw(t, "strokes")
				ch.MaxStrokes = ch.Strokes + rapid.IntRange(0, 9).Draw(t, "more")
				ch.Tilt = "..3 deg"
			case method.Size:
				q, _ := quantity.ParseQuantity("30.000 mm")
				ch.Master, ch.Sense, ch.Turning = &q, "-", "least"
				m, _ := quantity.ParseMeasured("24.0 ± 0.5 °C")
				ch.Temperature, ch.MasterTemperature = &m, &m
				ch.Material, ch.MasterMaterial = material(t, "aluminium bronze"), material(t, "5.0 ± 0.5 um/m/degC")
			case method.RunOut:
				ch.Stations = 12
			case method.Drag:
				q, _ := quantity.ParseQuantity("180 mm")
				u, _ := quantity.ParseQuantity("2 mm")
				ch.Arm, ch.ArmU95, ch.Compare = &q, &u, "peak"
			}
			if m == method.EndPlay {
				ch.Adjuster = &Adjuster{TPI: 18, Hand: "left", Slots: 6, Holes: 2, Steps: []string{words(t, "step"), "measure"}}
			}
			if rapid.Bool().Draw(t, "unusual") {
				ch.Confidence, ch.Rule, ch.Advance = 0.99, metrology.Simple, AdvanceSwitch
			}
			ch.ID = "id_" + string(rune('a'+i)) + string(rune('a'+k))
			c.Checks = append(c.Checks, ch)
		}
		j.Components = append(j.Components, c)
	}
	if rapid.Bool().Draw(t, "rule") {
		j.Rules = []Rule{{When: `side == 'below'`, Say: words(t, "say"), Sound: "fail"}}
	}
	return j
}

func material(t *rapid.T, text string) *Material {
	m := new(Material)
	if err := m.UnmarshalText([]byte(text)); err != nil {
		t.Fatal(err)
	}
	return m
}

// A written sheet read again is the same job, and written again the same text.
func TestWrittenJobReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := aJob(t)
		text := WriteJob(j)
		got, ps := ParseJob("j.toml", text)
		if got == nil {
			t.Fatalf("%v\n%s", lines(ps), text)
		}
		again := WriteJob(got)
		j.Fill()
		if d := cmp.Diff(j, got, sameJob); d != "" {
			t.Fatalf("changed by writing (-was +read):\n%s\n%s", d, text)
		}
		if d := cmp.Diff(string(text), string(again)); d != "" {
			t.Fatalf("the second writing differs:\n%s", d)
		}
	})
}

func TestExampleJobSurvivesWriting(t *testing.T) {
	_, j := example(t)
	got, ps := ParseJob("j.toml", WriteJob(j))
	if got == nil {
		t.Fatal(lines(ps))
	}
	if d := cmp.Diff(j, got, sameJob); d != "" {
		t.Error(d)
	}
}

func TestEditKeepsCommentsAndLayout(t *testing.T) {
	text, err := os.ReadFile("example/bench.toml")
	if err != nil {
		t.Fatal(err)
	}
	out, err := Edit(text, "dial-1", "error_local", "0.0002 in over 0.020 in")
	if err != nil {
		t.Fatal(err)
	}
	if want := strings.Replace(string(text), `"0.0001 in over 0.010 in"`, `"0.0002 in over 0.020 in"`, 1); string(out) != want {
		t.Error(cmp.Diff(want, string(out)))
	}
	out, err = Edit(text, "pull-1", "repeatability", "0.2 N")
	if err != nil {
		t.Fatal(err)
	}
	b, ps := ParseBench("b", out)
	if b == nil {
		t.Fatal(lines(ps))
	}
	if g := b.Gauge("pull-1"); g.Repeatability == nil || g.Repeatability.String() != "0.2 N" {
		t.Errorf("repeatability = %v", g.Repeatability)
	}
	if got := strings.Replace(string(out), "repeatability = \"0.2 N\"\n", "", 1); got != string(text) {
		t.Error("more than one line changed", cmp.Diff(string(text), got))
	}
	for _, bad := range [][3]string{
		{"dial-9", "step", "0.001 in"}, {"dial-1", "step", "0.001 N"}, {"dial-1", "stepp", "0.001 in"}, {"dial-1", "step", "0.001 in\"\nx = \"1"},
	} {
		if out, err := Edit(text, bad[0], bad[1], bad[2]); err == nil || out != nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("Edit%v: %v", bad, err)
		}
	}
}

func TestJobsAreFoundByNumberOrPath(t *testing.T) {
	dir := t.TempDir()
	b := &Bench{JobDir: dir}
	write := func(name, text string) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := FindJob(b, "1"); err == nil || !strings.Contains(err.Error(), "no job sheets") {
		t.Errorf("empty folder: %v", err)
	}
	write("2026-041.toml", "number = \"2026-041\"\nmachine = \"T28\"\n")
	write("gate.toml", "number = \"2026-042\"\n")
	write("broken.toml", "number = \n")
	write("notes.txt", "x")
	for in, want := range map[string]string{
		"2026-041": "2026-041.toml", "2026-042": "gate.toml", "broken": "broken.toml",
	} {
		if got, err := FindJob(b, in); err != nil || got != filepath.Join(dir, want) {
			t.Errorf("FindJob(%q) = %q, %v", in, got, err)
		}
	}
	for _, in := range []string{"x/1", `x\1`, "none.toml"} {
		if got, err := FindJob(b, in); err != nil || got != in {
			t.Errorf("FindJob(%q) = %q, %v, want the path itself", in, got, err)
		}
	}
	for _, in := range []string{"", "..", ".hidden", "a b", "2026-043", strings.Repeat("x", 65)} {
		if got, err := FindJob(b, in); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("FindJob(%q) = %q, %v", in, got, err)
		}
	}
	jobs, err := ListJobs(dir)
	if err != nil || len(jobs) != 3 {
		t.Fatalf("%d jobs, %v", len(jobs), err)
	}
	if jobs[0].Number != "2026-041" || jobs[0].Machine != "T28" || jobs[2].Number != "broken" || len(jobs[2].Problems) == 0 {
		t.Errorf("%+v", jobs)
	}
}

func TestFilesThatCannotBeRead(t *testing.T) {
	dir := t.TempDir()
	pipe := filepath.Join(dir, "pipe.toml")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	for file, want := range map[string]string{
		pipe:                            "found no plain file",
		filepath.Join(dir, "none.toml"): "there is no such bench file: check the path",
		dir:                             "found a folder, expected a bench file: name a plain file",
		"/dev/null":                     "found no plain file",
	} {
		b, ps := LoadBench(file)
		if b != nil || len(ps) != 1 || !strings.Contains(ps[0].String(), want) || ps[0].File != file {
			t.Errorf("%s: %v", file, lines(ps))
		}
	}
}

// Every template, filled in with the gauges it asks for, is a job without
// mistakes, also a second time in the same job.
func TestTemplatesMakeSoundJobs(t *testing.T) {
	b, _ := example(t)
	gauges := map[string]string{"dial": "dial-2", "outer": "mic-1", "bore": "bore-1", "force": "pull-1"}
	b.Gauges = append(b.Gauges, Gauge{Name: "twist-1", Driver: "signed-decimal", Unit: quantity.NM, Error: &quantity.Quantity{Value: quantity.Decimal{Coef: 1, Scale: 1}, Unit: quantity.NM}})
	gauges["torque"] = "twist-1"
	j := &Job{Number: "1"}
	for _, tp := range Templates() {
		if _, err := tp.Component(j, "", nil, nil); err == nil {
			t.Errorf("%s: made without gauges", tp.ID)
		}
		for _, name := range []string{tp.ID, tp.ID + " again"} {
			c, err := tp.Component(j, name, nil, gauges)
			if err != nil {
				t.Fatal(err)
			}
			for i := range c.Checks {
				if c.Checks[i].Method == method.Drag && tp.ID == "drag-force" {
					r, _ := quantity.ParseRange("..30 N")
					c.Checks[i].Limits = &r
				}
			}
			j.Components = append(j.Components, c)
		}
	}
	b.JobDir = t.TempDir()
	file, ps := SaveSheet(b, j.Number, WriteJob(j), someDrivers, false)
	if len(ps) > 0 {
		t.Fatalf("%s\n%s", strings.Join(lines(ps), "\n"), WriteJob(j))
	}
	if _, ps := LoadJob(file); len(ps) > 0 {
		t.Error(lines(ps))
	}
	if _, ps := SaveSheet(b, j.Number, WriteJob(j), someDrivers, false); len(ps) != 1 || !strings.Contains(ps[0].Text, "there already") {
		t.Errorf("saved over a job: %v", lines(ps))
	}
	// An edited one replaces it, also where its file has another name.
	if err := os.Rename(file, filepath.Join(b.JobDir, "gate.toml")); err != nil {
		t.Fatal(err)
	}
	j.Machine = "T28"
	if file, ps := SaveSheet(b, j.Number, WriteJob(j), someDrivers, true); len(ps) > 0 || filepath.Base(file) != "gate.toml" {
		t.Errorf("not replaced: %s %v", file, lines(ps))
	}
	for _, bad := range [][2]string{{"../x", `number = "../x"`}, {"2", `number = "3"`}, {"4", "number = \"4\"\n[[component]]\n"}} {
		if _, ps := SaveSheet(b, bad[0], []byte(bad[1]), someDrivers, true); !Refused(ps) {
			t.Errorf("saved %q as %q", bad[1], bad[0])
		}
	}
	left, _ := os.ReadDir(b.JobDir)
	if len(left) != 1 {
		t.Errorf("the folder holds %v", left)
	}
}
