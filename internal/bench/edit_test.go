//go:build !windows

package bench

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/rs/zerolog"

	"thouwright/internal/journal"
	"thouwright/internal/ledger"
)

// patient is a driver for a gauge that may pause in the middle of a line for as
// long as these tests need.
const patient = `
about = "one number a line, however slowly"
pattern = "{value}[{unit}]"
gap = "10m"
silence = "%s"
[[example]]
bytes = "1.5<CR>"
gives = ["1.5"]
`

const patientBench = `
log_dir = "logs"
job_dir = "jobs"
driver_dir = "drivers"
display_unit = "mm"
%s
[sound]
output = "none"
speech = false
[page]
listen = "127.0.0.1:0"
`

func patientGauge(name, port, unit string) string {
	return fmt.Sprintf("[[gauge]]\nname = %q\nport = %q\ndriver = \"patient\"\nunit = %q\n", name, port, unit)
}

func newPatientRig(t *testing.T, silence, gauges string) *rig {
	t.Helper()
	r := &rig{t: t, dir: t.TempDir(), given: NewClock(1)}
	r.write("drivers/patient.toml", fmt.Sprintf(patient, silence))
	r.write("bench.toml", fmt.Sprintf(patientBench, gauges))
	r.write("jobs/R-1.toml", rigJob)
	r.write("jobs/R-2.toml", strings.Replace(rigJob, "R-1", "R-2", 1))
	r.start(true)
	return r
}

// shows waits for a gauge's value, as sent.
func (r *rig) shows(gauge, value string) {
	r.t.Helper()
	r.until(gauge+" shows "+value, func(l ledger.Live) bool {
		for _, g := range l.Gauges {
			if g.Name == gauge && g.Value == value {
				return true
			}
		}
		return false
	})
}

// rows are what readings.csv says came of every gauge.
func rows(t *testing.T, dir string) (all []string) {
	t.Helper()
	f, err := journal.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	for r, err := range f.Readings() {
		if err != nil {
			t.Fatal(err)
		}
		v := ledger.ReadingFields(&r)
		all = append(all, strings.TrimSpace(strings.Join([]string{v["elapsed_s"], v["gauge"], v["raw"], v["value"], v["unit"], v["state"]}, " ")))
	}
	return all
}

// sameAgain plays what a job's folder kept and compares the readings.
func sameAgain(t *testing.T, dir string) {
	t.Helper()
	f, err := journal.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range tapeParts(f) {
		run, err := runOf(f, p.began.UnixMicro())
		if err != nil {
			t.Fatal(err)
		}
		loaded, err := filesOf(f, run.named, t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		again, err := Replay{Tapes: p.gauges, Commands: p.commands, Dir: t.TempDir(), Log: zerolog.Nop(), loaded: loaded, from: &run.from}.Run(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(rows(t, dir), rows(t, again)); diff != "" {
			t.Errorf("%s (-live +replay):\n%s", dir, diff)
		}
	}
}

// values are the rows without their times.
func valuesOf(rows []string) (v []string) {
	for _, r := range rows {
		_, rest, _ := strings.Cut(r, " ")
		v = append(v, strings.TrimSuffix(strings.TrimSuffix(rest, " idle"), " moving"))
	}
	return v
}

// A gauge is renamed and its unit changed while half a line has arrived: the
// port stays open, the line comes out whole and under the new name, and so it
// does again from the tapes.
func TestEditInTheMiddleOfALine(t *testing.T) {
	d := newDial(t)
	r := newPatientRig(t, "10m", patientGauge("dial-1", d.port, "mm"))
	r.until("up", gaugeIs("up"))
	fmt.Fprint(d.master, "5.000\r\n1.5\r\n-1.2")
	r.shows("dial-1", "1.5")
	r.write("jobs/R-1.toml", strings.ReplaceAll(rigJob, "dial-1", "plunger"))
	r.write("bench.toml", fmt.Sprintf(patientBench, patientGauge("plunger", d.port, "in")))
	r.until("the new name", func(l ledger.Live) bool { return len(l.Gauges) == 1 && l.Gauges[0].Name == "plunger" })
	fmt.Fprint(d.master, "345\r\n")
	r.shows("plunger", "-1.2345")
	r.stop()
	want := []string{"dial-1 1.5 1.5 mm", "plunger -1.2345 -1.2345 in"}
	if got := valuesOf(rows(t, r.d.JobDir())); len(got) != 3 || cmp.Diff(want, got[1:]) != "" { // the first line may have been under way
		t.Errorf("rows %q, want %q last", got, want)
	}
	sameAgain(t, r.d.JobDir())
}

// The silence of a gauge that an edit brings to an open port is timed.
func TestEditedGaugeFallsSilent(t *testing.T) {
	d := newDial(t)
	r := newPatientRig(t, "1s", patientGauge("dial-1", d.port, "mm"))
	r.until("silent", gaugeIs("silent"))
	r.write("jobs/R-1.toml", strings.ReplaceAll(rigJob, "dial-1", "plunger"))
	r.write("bench.toml", fmt.Sprintf(patientBench, patientGauge("plunger", d.port, "mm")))
	s := r.until("the new name, and silent", func(l ledger.Live) bool { return gaugeIs("silent")(l) && l.Gauges[0].Name == "plunger" })
	if !strings.Contains(s.Gauges[0].Message, "nothing for 1 s") {
		t.Errorf("told as %q", s.Gauges[0].Message)
	}
	r.stop()
}

// Another job is chosen while half a line has arrived: its first reading is
// whole, and its tapes say so.
func TestJobChosenInTheMiddleOfALine(t *testing.T) {
	d := newDial(t)
	r := newPatientRig(t, "10m", patientGauge("dial-1", d.port, "mm"))
	r.until("up", gaugeIs("up"))
	fmt.Fprint(d.master, "5.000\r\n1.5\r\n-1.2")
	r.shows("dial-1", "1.5")
	first := r.d.JobDir()
	if err := r.d.Do(context.Background(), ledger.Command{Do: ledger.DoJob, Job: "R-2"}); err != nil {
		t.Fatal(err)
	}
	fmt.Fprint(d.master, "345\r\n7.75\r\n")
	r.shows("dial-1", "7.75")
	r.stop()
	if got := valuesOf(rows(t, r.d.JobDir())); cmp.Diff([]string{"dial-1 -1.2345 -1.2345 mm", "dial-1 7.75 7.75 mm"}, got) != "" {
		t.Errorf("rows of the second job: %q", got)
	}
	sameAgain(t, first)
	sameAgain(t, r.d.JobDir())
}

// A gauge is added, its driver edited and another taken away while the job is
// measured: the tapes still give every reading again.
func TestGaugesAddedAndDriversEdited(t *testing.T) {
	a, b := newDial(t), newDial(t)
	one, two := patientGauge("dial-1", a.port, "mm"), patientGauge("dial-2", b.port, "mm")
	r := newPatientRig(t, "10m", one)
	r.until("up", gaugeIs("up"))
	fmt.Fprint(a.master, "5.000\r\n1.5\r\n")
	r.shows("dial-1", "1.5")

	r.write("bench.toml", fmt.Sprintf(patientBench, one+two))
	up := func(n int) func(ledger.Live) bool {
		return func(l ledger.Live) bool { return len(l.Gauges) == n && l.Gauges[n-1].Link == "up" }
	}
	r.until("two", up(2))
	fmt.Fprint(b.master, "6.000\r\n2.5\r\n")
	r.shows("dial-2", "2.5")

	// the edited driver reads thousandths, on reopened ports
	edited := strings.NewReplacer(`"{value}[{unit}]"`, `"N{value}"`, `"1.5<CR>"`, `"N1500<CR>"`, `["1.5"]`, `["1.500"]`)
	r.write("drivers/patient.toml", edited.Replace(fmt.Sprintf(patient, "10m"))+"[number]\ndecimals = 3\n")
	r.until("opened again", func(l ledger.Live) bool { return up(2)(l) && l.Gauges[0].Good == 0 && l.Gauges[0].Link == "up" })
	fmt.Fprint(a.master, "N1\r\nN9000\r\n")
	r.shows("dial-1", "9.000")
	r.write("bench.toml", fmt.Sprintf(patientBench, one))
	r.until("one", func(l ledger.Live) bool { return len(l.Gauges) == 1 })
	fmt.Fprint(a.master, "N3500\r\n")
	r.shows("dial-1", "3.500")
	r.stop()
	got := rows(t, r.d.JobDir())
	if all := strings.Join(valuesOf(got), "\n"); !strings.Contains(all, "dial-2 2.5 2.5 mm") || !strings.HasSuffix(all, "dial-1 N3500 3.500 mm") {
		t.Errorf("rows %q", got)
	}
	sameAgain(t, r.d.JobDir())
}

// A tape as a port of the bench begins where a reading begins: its first one is
// whole, however soon after the opening it comes.
func TestTapePortBeginsWhole(t *testing.T) {
	tape := filepath.Join(t.TempDir(), "dial.tape")
	if err := os.WriteFile(tape, []byte("0.001\t2b302e31320d\n0.002\t2b302e31330d\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	r := newPatientRig(t, "10m", patientGauge("dial-1", "tape:"+tape, "mm"))
	r.shows("dial-1", "0.13")
	r.stop()
	if got := valuesOf(rows(t, r.d.JobDir())); cmp.Diff([]string{"dial-1 +0.12 0.12 mm", "dial-1 +0.13 0.13 mm"}, got) != "" {
		t.Errorf("rows %q", got)
	}
	sameAgain(t, r.d.JobDir())
}

// A driver in use that is edited and broken, or that its own examples no longer
// bear out, leaves the one before at work, be it called like a built-in one or
// not, and the mistake's own line is told.
func TestBrokenDriverLeavesTheOneBefore(t *testing.T) {
	// What else may be noted of the bench and the sheet is not the matter.
	ofDrivers := func(l ledger.Live) (ps []ledger.Problem) {
		for _, p := range l.Problems {
			if strings.Contains(p.String(), "/drivers/") {
				ps = append(ps, p)
			}
		}
		return ps
	}
	for _, name := range []string{"mine", "signed-decimal"} {
		d := newDial(t)
		said := make(chan string, 100)
		r := &rig{t: t, dir: t.TempDir(), given: NewClock(1), log: zerolog.New(lines(said))}
		file := "drivers/" + name + ".toml"
		good := "pattern = \"V{value}\"\n[[example]]\nbytes = \"V1.5<CR>\"\ngives = [\"1.5\"]\n"
		r.write(file, good)
		r.write("bench.toml", fmt.Sprintf(patientBench, strings.Replace(patientGauge("dial-1", d.port, "mm"), `"patient"`, `"`+name+"\"\nerror = \"0.01 mm\"", 1)))
		r.write("jobs/R-1.toml", rigJob)
		r.start(false)
		r.until("up", gaugeIs("up"))
		fmt.Fprint(d.master, "V1.000\r\nV2.000\r\n")
		r.shows("dial-1", "2.000")
		for text, want := range map[string]string{
			strings.Replace(good, "{value}", "{valu}", 1):      name + ".toml:1: pattern has the unknown field {valu}",
			strings.Replace(good, "[\"1.5\"]", "[\"1.6\"]", 1): "example 1 gives [1.5]; expected [1.6]",
		} {
			r.write(file, text)
			ps := ofDrivers(r.until(want, func(l ledger.Live) bool { return len(ofDrivers(l)) > 0 }))
			if p := ps[0]; len(ps) != 1 || p.Warning || p.Line == 0 || !strings.Contains(p.String(), want) || !strings.HasSuffix(p.Text, "(the version before goes on)") {
				t.Errorf("told %q, want one with %q", ps, want)
			}
			fmt.Fprint(d.master, "V3.000\r\n")
			r.shows("dial-1", "3.000")
			r.write(file, good)
			r.until("mended", func(l ledger.Live) bool { return len(ofDrivers(l)) == 0 })
			fmt.Fprint(d.master, "V2.000\r\n")
			r.shows("dial-1", "2.000")
		}
		r.write("drivers/unused.toml", "pattern = \"{valu}\"\n")
		r.until("the note", func(l ledger.Live) bool { ps := ofDrivers(l); return len(ps) == 1 && ps[0].Warning })
		r.stop()
		close(said)
		var all string
		for s := range said {
			all += s
		}
		if strings.Count(all, "the version before goes on") != 2 || strings.Count(all, "the mistake is mended") != 2 || strings.Count(all, "unused.toml:1: warning: pattern has the unknown field") != 1 {
			t.Errorf("the terminal says\n%s", all)
		}
	}
}

// lines gives a log's lines to a channel.
type lines chan string

func (l lines) Write(b []byte) (int, error) { l <- string(b); return len(b), nil }

// The line that was under way when the port was opened is a fault in the logs,
// but the page says of no gauge that something of it did not fit.
func TestLineUnderWayIsNoMisfit(t *testing.T) {
	d := newDial(t)
	r := newPatientRig(t, "10m", patientGauge("dial-1", d.port, "mm"))
	r.until("up", gaugeIs("up"))
	fmt.Fprint(d.master, "5.000\r\n1.5\r\n")
	r.shows("dial-1", "1.5")
	if g := r.d.hub.State().Gauges[0]; g.Bad != 0 || g.BadRaw != "" {
		t.Errorf("%d did not fit, %q", g.Bad, g.BadRaw)
	}
	fmt.Fprint(d.master, "x1.6\r\n1.7\r\n")
	r.shows("dial-1", "1.7")
	if g := r.d.hub.State().Gauges[0]; g.Bad != 1 || g.BadRaw != "x1.6" {
		t.Errorf("%d did not fit, %q", g.Bad, g.BadRaw)
	}
	r.stop()
}
