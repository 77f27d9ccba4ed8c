//go:build !windows

package bench

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"thouwright/internal/journal"
	"thouwright/internal/ledger"
	"thouwright/internal/simulate"
	"thouwright/internal/tape"
)

// reel makes a tape of a dial that is rocked, and of what was done to its port.
type reel struct {
	t     *testing.T
	at    int64 // µs
	dial  bytes.Buffer
	hands bytes.Buffer
	bytes *tape.Writer
	done  *tape.Writer
	rand  *rand.Rand
}

func newReel(t *testing.T) *reel {
	r := &reel{t: t, rand: rand.New(rand.NewPCG(5, 6))}
	var err error
	if r.bytes, err = tape.NewWriter(&r.dial, time.Unix(0, 0)); err != nil {
		t.Fatal(err)
	}
	if r.done, err = tape.NewWriter(&r.hands, time.Unix(0, 0)); err != nil {
		t.Fatal(err)
	}
	r.link(linkOpened)
	r.at += 200_000
	return r
}

func (r *reel) link(how string) {
	text, _ := json.Marshal(ledger.Command{Do: ledger.DoLink, Gauge: "dial-1", Text: how})
	r.done.Text(r.at, text)
}

func (r *reel) sends(text string) { r.bytes.Chunk(r.at, []byte(text)) }

// rocks sends so many strokes of a play of 0.1 mm.
func (r *reel) rocks(strokes int) {
	var p simulate.Path
	p.Glide(4, 0.01)
	steady.Rock(&p, r.rand, 4, 0.1, strokes)
	g := simulate.Gauge{Step: 0.001, Rate: 10, Jitter: 0.1, Noise: 0.0003}
	began := r.at
	for _, v := range g.Read(&p, r.rand) {
		r.at = began + int64(v.T*1e6)
		r.sends(fmt.Sprintf("%+.3f\r\n", v.Value))
	}
	r.at += 100_000
}

// play is what the tape gives.
func (r *reel) play() *journal.Folder {
	r.t.Helper()
	text, _ := json.Marshal(ledger.Command{Do: doStop})
	r.done.Text(r.at+1_000_000, text)
	rg := &rig{t: r.t, dir: r.t.TempDir()}
	rg.write("bench.toml", fmt.Sprintf(rigBench, "/dev/none"))
	rg.write("jobs/R-1.toml", rigJob)
	rg.write("dial.tape", r.dial.String())
	rg.write("hands.tape", r.hands.String())
	dir, err := Replay{BenchFile: filepath.Join(rg.dir, "bench.toml"), Job: "R-1", Dir: r.t.TempDir(), Log: zerolog.Nop(),
		Tapes: map[string]string{"dial-1": filepath.Join(rg.dir, "dial.tape")}, Commands: filepath.Join(rg.dir, "hands.tape")}.Run(context.Background())
	if err != nil {
		r.t.Fatal(err)
	}
	f, err := journal.Load(dir)
	if err != nil {
		r.t.Fatal(err)
	}
	return f
}

// Strokes before and after a trouble are never one take: each way of falling
// silent drops the take in progress, is lost and back in the events, and half a
// line is never a value. Without trouble the same strokes are a take.
func TestNoVerdictAcrossTrouble(t *testing.T) {
	for name, c := range map[string]struct {
		do    func(*reel)
		takes int
	}{
		"none":               {func(r *reel) {}, 1},
		"stops sending":      {func(r *reel) { r.at += 5_000_000 }, 0},
		"stops in mid-line":  {func(r *reel) { r.sends("+4.0"); r.at += 2_000_000; r.sends("99\r\n") }, 0},
		"pulled in mid-line": {func(r *reel) { r.sends("+4.0"); r.link(linkLost); r.at += 500_000; r.link(linkBack); r.sends("99\r\n") }, 0},
		"sends what nobody can read": {func(r *reel) {
			for range 40 {
				r.sends("\xf3\x9a\x00\r\n")
				r.at += 100_000
			}
		}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			r := newReel(t)
			r.rocks(4)
			c.do(r)
			r.rocks(4)
			f := r.play()
			if len(f.Takes) != c.takes {
				t.Errorf("%d takes, want %d", len(f.Takes), c.takes)
			}
			for x, err := range f.Readings() {
				if err != nil {
					t.Fatal(err)
				}
				if x.HasVal && len(x.Raw) != len("+4.000") {
					t.Errorf("half a line is a value: %q", x.Raw)
				}
			}
			lost, back := 0, 0
			for _, e := range f.Events {
				switch e.Kind {
				case ledger.EvGaugeLost:
					lost++
				case ledger.EvGaugeBack:
					back++
				}
			}
			if want := 1 - c.takes; lost != want || back != want {
				t.Errorf("lost %d times and back %d times, want %d", lost, back, want)
			}
		})
	}
}

// A press of a gauge's own data button is a deliberate reading: each makes a
// take of a size at once, and nobody is told that the gauge is silent between.
func TestDataButton(t *testing.T) {
	d := newDial(t)
	r := &rig{t: t, dir: t.TempDir(), given: NewClock(1)}
	r.write("drivers/pressed.toml", "sends = \"press\"\nsilence = \"50ms\"\npattern = \"{value}{unit}\"\n[[example]]\nbytes = \"1mm<CR>\"\ngives = [\"1 mm\"]\n")
	r.write("bench.toml", fmt.Sprintf(`
log_dir = "logs"
job_dir = "jobs"
driver_dir = "drivers"
display_unit = "mm"
[[gauge]]
name = "mic-1"
port = %q
driver = "pressed"
error = "0.002 mm"
[sound]
output = "none"
[page]
listen = "127.0.0.1:0"
`, d.port))
	r.write("jobs/R-1.toml", `
number = "R-1"
[[component]]
name = "pin"
[[component.check]]
name = "diameter"
method = "size"
gauge = "mic-1"
positions = ["upper", "lower"]
limits = "29.96..29.99 mm"
`)
	r.start(false)
	r.until("up", gaugeIs("up"))
	time.Sleep(200 * time.Millisecond)                                           // the line was quiet: the first press is whole
	for i, press := range []string{"29.970mm\r\n29.970mm\r\n", "29.950mm\r\n"} { // the first press bounces
		if _, err := d.master.WriteString(press); err != nil {
			t.Fatal(err)
		}
		r.until(fmt.Sprint("take ", i+1), takesIn(i+1))
		r.until("the next place is open", func(l ledger.Live) bool { return l.Active == nil || l.Active.Phase != ledger.PhaseWaiting })
	}
	time.Sleep(200 * time.Millisecond)
	if s := r.d.hub.State(); !gaugeIs("up")(s) {
		t.Errorf("between presses the gauge is %+v", s.Gauges)
	}
	r.stop()
	f, err := journal.Load(r.d.JobDir())
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Takes) != 2 || f.Takes[0].Verdict != ledger.Pass || f.Takes[1].Verdict != ledger.Fail || f.Takes[1].Tag.Position != "lower" {
		t.Errorf("takes %+v", f.Takes)
	}
}
