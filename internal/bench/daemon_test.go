//go:build !windows

package bench

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/rs/zerolog"
	"go.uber.org/goleak"

	"thouwright/internal/gauge"
	"thouwright/internal/journal"
	"thouwright/internal/ledger"
	"thouwright/internal/simulate"
)

// rig is a daemon under test on pseudo-terminals.
type rig struct {
	t      *testing.T
	dir    string
	d      *Daemon
	url    string
	cancel context.CancelFunc
	ended  chan error
	clock  *Clock
	open   gauge.Opener // nil: the real one
	given  *Clock       // nil: a fresh one at each start
	log    zerolog.Logger
}

// speed is how much faster than life the simulated hands work in these tests.
// On a busy computer a faster hand's holds would drown in its delays.
const speed = 10

const rigBench = `
log_dir = "logs"
job_dir = "jobs"
display_unit = "mm"
[[gauge]]
name = "dial-1"
port = "%s"
driver = "signed-decimal"
unit = "mm"
error_local = "0.002 mm over 0.5 mm"
range = "-20..20 mm"
[sound]
output = "none"
speech = false
[page]
listen = "127.0.0.1:0"
`

const rigJob = `
number = "R-1"
operator = "A. Tester"
[[component]]
name = "pin"
[[component.check]]
name = "play"
method = "play"
gauge = "dial-1"
positions = ["upper", "lower", "middle"]
limits = "0.02..0.15 mm"
`

// newRig writes a bench and a job and starts a daemon on them.
func newRig(t *testing.T, port string, tapes bool) *rig {
	t.Helper()
	r := &rig{t: t, dir: t.TempDir()}
	r.write("bench.toml", fmt.Sprintf(rigBench, port))
	r.write("jobs/R-1.toml", rigJob)
	r.start(tapes)
	return r
}

// fileIn writes a file into a folder and returns its path.
func fileIn(t testing.TB, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func (r *rig) write(name, text string) { r.t.Helper(); fileIn(r.t, r.dir, name, text) }

func (r *rig) start(tapes bool) {
	r.t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	ready := make(chan struct{})
	ended := make(chan error, 1)
	r.cancel, r.ended = cancel, ended
	if r.clock = r.given; r.clock == nil {
		r.clock = NewClock(speed)
	}
	go func() {
		ended <- Run(ctx, Options{
			BenchFile: filepath.Join(r.dir, "bench.toml"), Job: "R-1", Tapes: tapes, Clock: r.clock, Log: r.log, Open: r.open,
			Ready: func(d *Daemon, url string) { r.d, r.url = d, url; close(ready) },
		})
		close(ended)
	}()
	// A test that fails half-way leaves no daemon behind, which would open the
	// terminal of the next test, whose number is the same.
	r.t.Cleanup(func() {
		cancel()
		for range ended {
		}
	})
	select {
	case <-ready:
	case err := <-ended:
		r.t.Fatal(err)
	}
}

// stop ends the daemon as a signal does, and checks that its logs hold.
func (r *rig) stop() {
	r.t.Helper()
	r.cancel()
	if err := <-r.ended; err != nil {
		r.t.Fatal(err)
	}
	rep, err := journal.Verify(r.d.JobDir())
	if err != nil || !rep.Holds {
		r.t.Errorf("verify: %v %+v", err, rep)
	}
}

// until waits for a state; it fails with the last one after a long time.
func (r *rig) until(what string, ok func(ledger.Live) bool) ledger.Live {
	r.t.Helper()
	state, updates, cancel := r.d.Subscribe()
	defer func() { cancel() }()
	deadline := time.After(30 * time.Second)
	for {
		if ok(state) {
			return state
		}
		select {
		case u, open := <-updates:
			if !open {
				cancel()
				state, updates, cancel = r.d.Subscribe()
				continue
			}
			if s, is := u.Data.(ledger.Live); is {
				state = s
			}
		case <-deadline:
			r.t.Fatalf("never %s; the last state: %+v, gauges %+v, active %+v", what, state, state.Gauges, state.Active)
		}
	}
}

// dial is a simulated gauge on a pseudo-terminal.
type dial struct {
	master *os.File
	port   string
	rand   *rand.Rand
	at     float64 // where its foot rests
}

func newDial(t *testing.T) *dial {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	d := &dial{master: master, port: slave.Name(), rand: rand.New(rand.NewPCG(3, 4)), at: 2}
	slave.Close()
	go io.Copy(io.Discard, master)
	t.Cleanup(func() { master.Close() })
	return d
}

// sends follows a path at the rig's speed, writing what the gauge shows.
func (d *dial) sends(t *testing.T, p *simulate.Path) {
	t.Helper()
	g := simulate.Gauge{Step: 0.001, Rate: 10, Jitter: 0.1, Noise: 0.0003}
	began := time.Now()
	for _, v := range g.Read(p, d.rand) {
		time.Sleep(time.Until(began.Add(time.Duration(v.T / speed * float64(time.Second)))))
		if _, err := fmt.Fprintf(d.master, "%+.3f\r\n", v.Value); err != nil {
			t.Error(err)
			return
		}
	}
	d.at = p.Place()
}

var steady = simulate.Hand{Hold: [2]float64{0.7, 1}, Stroke: [2]float64{0.3, 0.5}, Noise: 0.0005}

// setUp moves the gauge about, as one does before the first stroke.
func (d *dial) setUp(t *testing.T) {
	t.Helper()
	var p simulate.Path
	p.Glide(d.at, 0.01)
	for range 3 {
		p.Glide(3+2*d.rand.Float64(), 0.5)
	}
	d.sends(t, &p)
}

// strokes rocks a play so many times.
func (d *dial) strokes(t *testing.T, play float64, n int) {
	t.Helper()
	var p simulate.Path
	p.Glide(d.at, 0.01)
	steady.Rock(&p, d.rand, 4, play, n)
	d.sends(t, &p)
}

// rocks sets up and rocks a play as a person does: until the take is heard.
func (r *rig) rocks(d *dial, play float64, take int) ledger.Live {
	r.t.Helper()
	d.setUp(r.t)
	for range 30 {
		d.strokes(r.t, play, 3)
		if s := r.d.hub.State(); takesIn(take)(s) {
			return s
		}
	}
	return r.until(fmt.Sprint("take ", take), takesIn(take))
}

func takesIn(n int) func(ledger.Live) bool {
	return func(l ledger.Live) bool {
		return l.LastTake != nil && (*l.LastTake)["take"] == fmt.Sprint(n)
	}
}

func gaugeIs(link string) func(ledger.Live) bool {
	return func(l ledger.Live) bool { return len(l.Gauges) == 1 && l.Gauges[0].Link == link }
}

// A job is measured, the daemon stopped and started, and it goes on where it
// was; the tapes of each run give the rows of each run.
func TestJobAcrossRestart(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	d := newDial(t)
	r := newRig(t, d.port, true)
	r.until("up", gaugeIs("up"))
	s := r.rocks(d, 0.2, 1)
	if v := (*s.LastTake)["verdict"]; v != "fail" {
		t.Errorf("verdict %q, want fail", v)
	}
	r.stop()

	r.start(true)
	s = r.until("up again", gaugeIs("up"))
	if s.Active == nil || s.Active.Position != "lower" {
		t.Errorf("active after the restart: %+v", s.Active)
	}
	s = r.rocks(d, 0.1, 2)
	if got := (*s.LastTake); got["verdict"] != "pass" || got["position"] != "lower" {
		t.Errorf("second take %v", got)
	}
	r.stop()
	d.master.Close()

	f, err := journal.Load(r.d.JobDir())
	if err != nil {
		t.Fatal(err)
	}
	runs := Recheck(context.Background(), f)
	if len(runs) != 2 {
		t.Fatalf("%d runs on tape, want 2", len(runs))
	}
	for _, p := range runs {
		if !p.Holds || p.Rows != 1 {
			t.Errorf("rechecked: %+v", p)
		}
	}
	f.Takes[1].Result += 0.001
	if runs := Recheck(context.Background(), f); runs[1].Holds {
		t.Errorf("a changed result went unseen: %+v", runs[1])
	}
	f.Takes = f.Takes[:1]
	if runs := Recheck(context.Background(), f); runs[1].Holds {
		t.Errorf("a take that only the tapes hold, of a run that stopped in order, went unseen: %+v", runs[1])
	}
	// Killed, or still running: its tapes may hold a take that no row has.
	f.Events = slices.DeleteFunc(f.Events, func(e ledger.Event) bool { return e.Kind == ledger.EvStop })
	if runs := Recheck(context.Background(), f); !runs[1].Holds {
		t.Errorf("tapes that reach further than the rows of a killed run are taken for damage: %+v", runs[1])
	}
}

// The daemon starts without its gauge, picks it up when it comes, says when it
// is lost, and finds it again.
func TestGaugeComesAndGoes(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	port := filepath.Join(t.TempDir(), "dial")
	r := newRig(t, port, false)
	r.until("waiting, with a word of what to do", func(l ledger.Live) bool {
		return gaugeIs("waiting")(l) && l.Gauges[0].Message != ""
	})
	d := newDial(t)
	if err := os.Symlink(d.port, port); err != nil {
		t.Fatal(err)
	}
	r.until("up", gaugeIs("up"))
	r.rocks(d, 0.1, 1)
	os.Remove(port)
	d.master.Close()
	r.until("lost", func(l ledger.Live) bool { return l.Gauges[0].Link != "up" })
	d = newDial(t)
	if err := os.Symlink(d.port, port); err != nil {
		t.Fatal(err)
	}
	r.until("back", gaugeIs("up"))
	r.rocks(d, 0.1, 2)
	r.stop()
	f, err := journal.Load(r.d.JobDir())
	if err != nil {
		t.Fatal(err)
	}
	var lost, back bool
	for _, e := range f.Events {
		lost = lost || e.Kind == ledger.EvGaugeLost
		back = back || e.Kind == ledger.EvGaugeBack
	}
	if !lost || !back {
		t.Errorf("events lack the gauge's loss (%t) or return (%t)", lost, back)
	}
	d.master.Close()
}

// An edited sheet takes effect without reopening the port; a broken edit leaves
// the version before running and says file and line.
func TestEditsTakeEffect(t *testing.T) {
	d := newDial(t)
	r := newRig(t, d.port, false)
	r.until("up", gaugeIs("up"))
	r.write("jobs/R-1.toml", strings.Replace(rigJob, "0.02..0.15 mm", "0.02..0.09 mm", 1))
	r.until("the new limit", func(l ledger.Live) bool { return l.Active != nil && l.Active.High == "0.09" })
	s := r.rocks(d, 0.12, 1)
	if got := *s.LastTake; got["verdict"] != "fail" || got["sheet"] != "2" {
		t.Errorf("take by the edited sheet: %v", got)
	}
	r.write("jobs/R-1.toml", strings.Replace(rigJob, "method = \"play\"", "method = \"plai\"", 1))
	s = r.until("the mistake shown", func(l ledger.Live) bool { return len(l.Problems) > 0 })
	if p := s.Problems[0]; p.Line != 8 || !strings.Contains(p.Text, "plai") {
		t.Errorf("mistake told as %v", p)
	}
	if s.Active == nil || s.Active.High != "0.09" {
		t.Errorf("the version before does not go on: %+v", s.Active)
	}
	r.write("jobs/R-1.toml", rigJob)
	r.until("mended", func(l ledger.Live) bool { return len(l.Problems) == 0 && l.Active != nil && l.Active.High == "0.15" })
	for _, g := range r.d.hub.State().Gauges {
		if g.Link != "up" && g.Link != "silent" {
			t.Errorf("the port was reopened: %+v", g)
		}
	}
	r.stop()
}

// A person's commands: redo, notes, jobs that do not exist.
func TestCommands(t *testing.T) {
	d := newDial(t)
	r := newRig(t, d.port, false)
	r.until("up", gaugeIs("up"))
	r.rocks(d, 0.1, 1)
	ctx := context.Background()
	if err := r.d.Do(ctx, ledger.Command{Do: ledger.DoRedo}); err != nil {
		t.Fatal(err)
	}
	s := r.rocks(d, 0.1, 2)
	if got := (*s.LastTake)["replaces"]; got != "1" {
		t.Errorf("the redo replaces %q", got)
	}
	if err := r.d.Do(ctx, ledger.Command{Do: ledger.DoNote, Text: "rust on the lower race"}); err != nil {
		t.Fatal(err)
	}
	for _, c := range []ledger.Command{
		{Do: ledger.DoJob, Job: "nowhere"},
		{Do: ledger.DoJob, Job: "../R-1"},
		{Do: ledger.DoPosition, Position: "inside out"},
		{Do: ledger.DoRedo, Take: 99},
		{Do: ledger.DoNote},
		{Do: ledger.DoNote, Text: "see", Photo: "photos/none.jpg"},
		{Do: ledger.DoNote, Text: "see", Photo: "../../bench.toml"},
		{Do: ledger.DoUnit, Text: "furlong"},
		{Do: "explode"},
	} {
		if err := r.d.Do(ctx, c); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%+v: %v, want one line", c, err)
		}
	}
	if err := r.d.Do(ctx, ledger.Command{Do: ledger.DoUnit, Text: "thou"}); err != nil {
		t.Fatal(err)
	}
	r.until("the unit", func(l ledger.Live) bool { return l.Unit == "thou" })
	r.photographed(ctx)
}

// A second daemon on the same job folder, and on the same page address, is
// refused in one line.
func TestTwoDaemons(t *testing.T) {
	d := newDial(t)
	r := newRig(t, d.port, false)
	err := Run(context.Background(), Options{BenchFile: filepath.Join(r.dir, "bench.toml"), Job: "R-1", Log: zerolog.Nop()})
	if err == nil || !strings.Contains(err.Error(), "in use") {
		t.Errorf("second daemon on a job folder: %v", err)
	}
	taken := strings.TrimSuffix(strings.TrimPrefix(r.url, "http://"), "/")
	r.write("jobs/R-2.toml", strings.Replace(rigJob, "R-1", "R-2", 1))
	err = Run(context.Background(), Options{BenchFile: filepath.Join(r.dir, "bench.toml"), Job: "R-2", Listen: taken, Log: zerolog.Nop()})
	if err == nil || !strings.Contains(err.Error(), taken) {
		t.Errorf("second daemon on a page address: %v", err)
	}
	r.stop()
}
