//go:build !windows

package bench

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/rs/zerolog"

	"thouwright/internal/journal"
	"thouwright/internal/ledger"
	"thouwright/internal/simulate"
	"thouwright/internal/tape"
)

// again replays a rig's tapes into a new folder and loads it.
func (r *rig) again(dial, commands string) (dir string, f *journal.Folder) {
	r.t.Helper()
	dir, err := Replay{
		BenchFile: filepath.Join(r.dir, "bench.toml"), Job: "R-1", Dir: r.t.TempDir(), Log: zerolog.Nop(),
		Tapes: map[string]string{"dial-1": dial}, Commands: commands,
	}.Run(context.Background())
	if err != nil {
		r.t.Fatal(err)
	}
	f, err = journal.Load(dir)
	if err != nil {
		r.t.Fatal(err)
	}
	return dir, f
}

// What a run logged, its tapes log again: the same bytes in every file, with a
// redo, a note, an edited sheet and a lost gauge in between.
func TestReplayEqualsLive(t *testing.T) {
	port := filepath.Join(t.TempDir(), "dial")
	d := newDial(t)
	if err := os.Symlink(d.port, port); err != nil {
		t.Fatal(err)
	}
	r := newRig(t, port, true)
	r.until("up", gaugeIs("up"))
	r.rocks(d, 0.2, 1)
	for _, c := range []ledger.Command{{Do: ledger.DoRedo}, {Do: ledger.DoNote, Text: "dry"}} {
		if err := r.d.Do(context.Background(), c); err != nil {
			t.Fatal(err)
		}
	}
	r.rocks(d, 0.19, 2)
	r.write("jobs/R-1.toml", strings.Replace(rigJob, "0.02..0.15 mm", "0.02..0.09 mm", 1))
	r.until("the new limit", func(l ledger.Live) bool { return l.Active != nil && l.Active.High == "0.09" })
	d.setUp(t)
	d.strokes(t, 0.12, 3)
	os.Remove(port)
	d.master.Close()
	r.until("lost", func(l ledger.Live) bool { return l.Gauges[0].Link != "up" && l.Gauges[0].Link != "silent" })
	d = newDial(t)
	if err := os.Symlink(d.port, port); err != nil {
		t.Fatal(err)
	}
	r.until("back", gaugeIs("up"))
	r.rocks(d, 0.05, 3)
	r.stop()

	r.write("jobs/R-1.toml", rigJob) // the tape edits it again
	r.equalsLive()
}

// equalsLive replays what a run recorded and holds the two folders together.
func (r *rig) equalsLive() {
	r.t.Helper()
	live := r.d.JobDir()
	tapes := filepath.Join(live, "tapes")
	dir, _ := r.again(filepath.Join(tapes, "dial-1.tape"), filepath.Join(tapes, "commands.tape"))
	for _, f := range ledger.Files {
		want, err := os.ReadFile(filepath.Join(live, f.Name))
		if err != nil {
			r.t.Fatal(err)
		}
		got, err := os.ReadFile(filepath.Join(dir, f.Name))
		if err != nil {
			r.t.Fatal(err)
		}
		if f.Name == ledger.EventsFile.Name { // words of a link and anchors differ
			continue
		}
		if diff := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(string(got), "\n")); diff != "" {
			r.t.Errorf("%s (-live +replay):\n%s", f.Name, diff)
		}
	}
}

// An accept that makes no take is still a word: too short a turn is thrown away, and a
// station is one of several. Without it on the tape a replay would make another take,
// or none.
func TestReplayHearsEveryAccept(t *testing.T) {
	d := newDial(t)
	r := &rig{t: t, dir: t.TempDir()}
	r.write("bench.toml", fmt.Sprintf(rigBench, d.port))
	r.write("jobs/R-1.toml", "number = \"R-1\"\n[[component]]\nname = \"wheel\"\n[[component.check]]\nname = \"run-out\"\nmethod = \"run-out\"\ngauge = \"dial-1\"\n"+
		"[[component.check]]\nname = \"form\"\nmethod = \"run-out\"\nstations = 4\ngauge = \"dial-1\"\nadvance = \"at once\"\n")
	r.start(true)
	r.until("up", gaugeIs("up"))
	accept := func() error { return r.d.Do(context.Background(), ledger.Command{Do: ledger.DoAccept}) }
	send := func(values ...int) {
		for _, v := range values {
			fmt.Fprintf(d.master, "+1.%03d\r\n", v)
		}
		r.shows("dial-1", fmt.Sprintf("1.%03d", values[len(values)-1]))
	}
	send(100) // may have waited in the port
	send(101, 102)
	if err := accept(); err == nil || !strings.Contains(err.Error(), "turn slower: ") {
		t.Fatalf("a reading or two are a turn: %v", err)
	}
	turn := make([]int, 40)
	for i := range turn {
		turn[i] = 110 + int(10*math.Sin(float64(i)*2*math.Pi/39))
	}
	send(turn...)
	if err := accept(); err != nil {
		t.Fatal(err)
	}
	r.until("the run-out", takesIn(1))
	send(150) // on the way to them
	for k := range 4 {
		send(200 + 3*k)
		if err := accept(); err != nil {
			t.Fatalf("station %d: %v", k+1, err)
		}
	}
	r.until("the stations", takesIn(2))
	r.stop()
	r.equalsLive()
}

// However a stream is cut into chunks, the values and their order stay; cut to
// single bytes even the takes stay, since the last byte's time is the
// reading's.
func TestHostileChunking(t *testing.T) {
	r := &rig{t: t, dir: t.TempDir()}
	r.write("bench.toml", fmt.Sprintf(rigBench, "/dev/null"))
	r.write("jobs/R-1.toml", rigJob)
	dial := cutTape(t)
	_, plain := r.again(dial, "")
	_, single := r.again(rewrite(t, dial, func(w *tape.Writer, at int64, b []byte) {
		for i := range b {
			w.Chunk(at, b[i:i+1])
		}
	}), "")
	if len(plain.Takes) != 2 {
		t.Fatalf("%d takes", len(plain.Takes))
	}
	if diff := cmp.Diff(asJSON(t, plain.Takes), asJSON(t, single.Takes)); diff != "" {
		t.Errorf("byte by byte (-plain +single):\n%s", diff)
	}
	var all []byte
	_, merged := r.again(rewrite(t, dial, func(w *tape.Writer, at int64, b []byte) { all = append(all, b...) },
		func(w *tape.Writer) { w.Chunk(0, all) }), "")
	if diff := cmp.Diff(values(t, plain), values(t, merged)); diff != "" {
		t.Errorf("all merged (-plain +merged):\n%s", diff)
	}
}

// cutTape is the tape of a dial that is rocked at two places. Its messages come
// whole, in two pieces, or two at once, as a busy computer reads them from a port.
func cutTape(t *testing.T) string {
	t.Helper()
	rnd := rand.New(rand.NewPCG(3, 4))
	var p simulate.Path
	for _, play := range []float64{0.2, 0.1} {
		steady.SetUp(&p, rnd, 4, 3)
		steady.Rock(&p, rnd, 4, play, 20)
	}
	file := filepath.Join(t.TempDir(), "dial.tape")
	f, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	w, err := tape.NewWriter(f, time.Date(2026, 11, 26, 8, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	var held []byte
	for _, v := range (simulate.Gauge{Step: 0.001, Rate: 10, Jitter: 0.1, Noise: 0.0003}).Read(&p, rnd) {
		held = fmt.Appendf(held, "%+.3f\r\n", v.Value)
		at := int64(v.T * 1e6)
		switch rnd.IntN(4) {
		case 0:
			continue
		case 1:
			n := 1 + rnd.IntN(len(held)-1)
			w.Chunk(at-900, held[:n])
			held = held[n:]
		}
		if err := w.Chunk(at, held); err != nil {
			t.Fatal(err)
		}
		held = held[:0]
	}
	return file
}

// rewrite copies a tape by f; last is called at its end.
func rewrite(t *testing.T, file string, f func(w *tape.Writer, at int64, b []byte), last ...func(*tape.Writer)) string {
	t.Helper()
	in, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	out, err := os.Create(filepath.Join(t.TempDir(), "dial.tape"))
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	rd := tape.NewReader(file, in)
	at, b, err := rd.Next()
	w, werr := tape.NewWriter(out, rd.Started())
	if werr != nil {
		t.Fatal(werr)
	}
	for ; err == nil; at, b, err = rd.Next() {
		f(w, at, b)
	}
	for _, l := range last {
		l(w)
	}
	return out.Name()
}

func values(t *testing.T, f *journal.Folder) (v []string) {
	t.Helper()
	for r, err := range f.Readings() {
		if err != nil {
			t.Fatal(err)
		}
		v = append(v, fmt.Sprint(r.Seq, " ", r.Value, r.Unit, " ", string(r.Raw)))
	}
	return v
}

func asJSON(t *testing.T, takes []ledger.Take) (out []string) {
	t.Helper()
	for i := range takes {
		b, err := json.Marshal(ledger.TakeFields(&takes[i]))
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, string(b))
	}
	return out
}

// A tape may come from anywhere, and say that a sheet was edited where there was
// none: 'verify' plays the tapes of a bundle that somebody sent.
func TestSheetOnATapeWithoutAJob(t *testing.T) {
	dir := t.TempDir()
	bench := "[[gauge]]\nname = \"dial-1\"\nport = \"/dev/zero\"\ndriver = \"signed-decimal\"\n"
	edit, err := json.Marshal(ledger.Command{Do: ledger.DoSheet, Bench: bench, Sheet: rigJob})
	if err != nil {
		t.Fatal(err)
	}
	_, err = Replay{
		BenchFile: fileIn(t, dir, "bench.toml", bench), Dir: filepath.Join(dir, "again"), Log: zerolog.Nop(),
		Tapes: map[string]string{"dial-1": fileIn(t, dir, "dial.tape", "1.0\t312e350d\n")}, Commands: fileIn(t, dir, "commands.tape", "2.0\t"+string(edit)+"\n"),
	}.Run(context.Background())
	if err == nil || !strings.Contains(err.Error(), "commands.tape:1: an edited job sheet") {
		t.Errorf("%v", err)
	}
}
