package sound

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/rs/zerolog"
	"go.uber.org/goleak"

	"thouwright/config"
	"thouwright/internal/ledger"
	"thouwright/internal/sound/listen"
)

// ear is one server for all tests that don't harm it: a new one's sink stands
// still for two seconds.
var ear struct {
	sync.Once
	dir string
	s   *listen.Server
	r   *listen.Recording
	err error
}

func TestMain(m *testing.M) {
	code := m.Run()
	if ear.r != nil {
		ear.r.Close()
	}
	if ear.s != nil {
		ear.s.Stop()
	}
	os.RemoveAll(ear.dir)
	if code == 0 {
		if err := goleak.Find(); err != nil {
			fmt.Println(err)
			code = 1
		}
	}
	os.Exit(code)
}

// bench is a player on a sound server, with an ear on it.
func bench(t testing.TB, cfg config.Sound) (*Player, *listen.Recording) {
	t.Helper()
	ear.Do(func() {
		if ear.dir, ear.err = os.MkdirTemp("", "sound"); ear.err == nil {
			if ear.s, ear.err = listen.Start(ear.dir); ear.err == nil {
				ear.r, ear.err = ear.s.Record()
			}
		}
	})
	if ear.err != nil {
		t.Fatal(ear.err)
	}
	return on(t, ear.s, cfg), ear.r
}

// on is a player on the server s.
func on(t testing.TB, s *listen.Server, cfg config.Sound) *Player {
	t.Helper()
	t.Setenv("PULSE_SERVER", "unix:"+s.Socket)
	if cfg.Volume == 0 {
		cfg.Volume = 0.8
	}
	p := New(cfg, zerolog.Nop())
	t.Cleanup(p.Close)
	until(t, "the server is found", func() bool { return p.Output() == "pulse" })
	return p
}

// patience is how long a test waits for what must come; it only takes so long where
// nothing does.
const patience = time.Minute

// heard waits until the player has nothing more to play and the sound after
// sample from has been over for a while.
func heard(t testing.TB, p *Player, r *listen.Recording, from int) []listen.Tone {
	t.Helper()
	if _, ok := r.Onset(from, patience); !ok {
		return nil
	}
	p.wg.Wait()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(25 * time.Millisecond) {
		pcm, _ := r.From(from)
		tail := pcm[max(0, len(pcm)-listen.Rate*30/100):]
		if !slices.ContainsFunc(tail, func(v int16) bool { return v != 0 }) {
			return listen.Tones(pcm, listen.Rate)
		}
	}
	t.Fatal("the sound does not end")
	return nil
}

// same asserts that what was heard is the score: number, pitch, length and
// distance of its tones.
func same(t *testing.T, what string, got []listen.Tone, want []note) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: heard %d tones, want %d: %+v", what, len(got), len(want), got)
	}
	at := got[0].Start
	for i, n := range want {
		g := got[i]
		to := n.to
		if to == 0 {
			to = n.hz
		}
		steady := to == n.hz
		if steady && (off(g.From, n.hz) > 0.02 || off(g.To, n.hz) > 0.02) {
			t.Errorf("%s, tone %d: heard %.0f to %.0f Hz, want %.0f", what, i, g.From, g.To, n.hz)
		}
		if !steady && (g.To > g.From) != (to > n.hz) {
			t.Errorf("%s, tone %d: slides from %.0f to %.0f Hz, want %.0f to %.0f", what, i, g.From, g.To, n.hz, to)
		}
		// The edges of a soft tone lie under the threshold.
		if d := n.ms/1000 - g.Length; d < -0.002 || d > 0.012+n.soft/1000 {
			t.Errorf("%s, tone %d: %.3f s long, want %.3f", what, i, g.Length, n.ms/1000)
		}
		if math.Abs(g.Start-at) > 0.008+n.soft/1000 {
			t.Errorf("%s, tone %d: begins %.3f s after the first, want %.3f", what, i, g.Start-got[0].Start, at-got[0].Start)
		}
		at += (n.ms + n.rest) / 1000
		if g.Edge > 0.1 {
			t.Errorf("%s, tone %d: begins or ends with a click, %.2f of its peak", what, i, g.Edge)
		}
	}
}

func off(a, b float64) float64 { return math.Abs(a-b) / b }

// Every cue, played through a real sound server, is found in what it played.
func TestEveryCueIsHeard(t *testing.T) {
	p, r := bench(t, config.Sound{Output: "auto"})
	for _, c := range Cues() {
		if c == Guide {
			continue
		}
		from := r.Len()
		p.Play(c)
		same(t, c.String(), heard(t, p, r, from), scores[c])
	}
}

// The guide says by pattern on which side and how far off the setting is.
func TestGuideIsHeard(t *testing.T) {
	p, r := bench(t, config.Sound{Output: "pulse"})
	for _, g := range []ledger.Guide{
		{Where: "above", Ratio: 6}, {Where: "above", Ratio: 1.2}, {Where: "below", Ratio: -2},
		{Where: "in", Ratio: 0.4}, {Where: "in", Sure: true},
	} {
		from := r.Len()
		p.Guide(g)
		same(t, fmt.Sprintf("%+v", g), heard(t, p, r, from), guideScore(g))
	}
}

// Nobody who asks for a sound waits, not even for a server that hangs: each
// request to it takes a second to fail, and the calls here would take half an
// hour. Once a server is back it is used again.
func TestServerThatHangsOrRestarts(t *testing.T) {
	dir := t.TempDir()
	s, err := listen.Start(dir)
	if err != nil {
		t.Fatal(err)
	}
	p := on(t, s, config.Sound{Output: "auto", Speech: true})
	s.Freeze()
	done := make(chan struct{})
	go func() {
		defer close(done)
		for range 50 {
			for _, c := range Cues() {
				p.Play(c)
				p.Guide(ledger.Guide{Where: "above", Ratio: 3})
				p.Say("stuck")
				p.Set(0.8, false, nil)
			}
		}
	}()
	select {
	case <-done:
	case <-time.After(patience):
		t.Fatal("calls wait for a server that hangs")
	}
	s.Thaw()
	s.Stop()
	until(t, "the server's end is seen", func() bool { return p.Output() != "pulse" })
	p.Play(Fail) // into nothing: no panic, no wait
	s, err = listen.Start(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Stop)
	until(t, "the new server is found", func() bool { return p.Output() == "pulse" })
	r, err := s.Record()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(r.Close)
	p.wg.Wait() // what was asked for meanwhile is played or dropped
	from := r.Len()
	p.Play(Undecided)
	same(t, "after the restart", heard(t, p, r, from), scores[Undecided])
}

func until(t testing.TB, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatalf("it never came to this: %s", what)
}

// A verdict does not wait for a lesser sound, which goes out softly, and the
// volume is that of the setting.
func TestAlarmFadesWhatPlays(t *testing.T) {
	p, r := bench(t, config.Sound{Output: "pulse"})
	from := r.Len()
	const lasts = 40 // s: the server takes no more at once
	p.sound(GaugeLost, slices.Repeat(render([]note{{hz: 800, ms: 1000}}), lasts))
	if _, ok := r.Onset(from, patience); !ok {
		t.Fatal("not heard")
	}
	p.Play(Disk)
	got := heard(t, p, r, from)
	last := got[max(0, len(got)-3):]
	if len(last) < 3 || off(last[1].From, 1400) > 0.02 || off(last[2].From, 1400) > 0.02 {
		t.Fatalf("heard %+v", got)
	}
	if whole := got[len(got)-1].Start + got[len(got)-1].Length - got[0].Start; whole > lasts/2 {
		t.Errorf("heard for %.2f s: the first sound was not cut", whole)
	}
	loud := last[2].Peak
	p.Set(0.4, false, nil)
	from = r.Len()
	p.Play(Disk)
	if soft := heard(t, p, r, from)[0].Peak; off(loud/soft, 4) > 0.05 { // loudness goes with the square
		t.Errorf("half the volume is %.3f of the amplitude", soft/loud)
	}
}

// Without a server the terminal's bell rings, as often as the verdict says.
func TestBellOfATerminal(t *testing.T) {
	screen, tty, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer screen.Close()
	defer tty.Close()
	was := os.Stderr
	os.Stderr = tty
	defer func() { os.Stderr = was }()
	// A server is there, but it has no device: what it plays nobody hears.
	s, err := listen.StartSink(t.TempDir(), "auto_null")
	if err != nil {
		t.Fatal(err)
	}
	defer s.Stop()
	t.Setenv("PULSE_SERVER", "unix:"+s.Socket)
	deaf := New(config.Sound{Output: "auto", Volume: 0.5}, zerolog.Nop())
	defer deaf.Close()
	until(t, "the missing device is seen", func() bool { return deaf.Output() == "bell" })
	deaf.Play(Pass)
	deaf.wg.Wait()
	want := 1
	t.Setenv("PULSE_SERVER", "unix:"+t.TempDir()+"/none")
	p := New(config.Sound{Output: "auto", Volume: 0.5}, zerolog.Nop())
	defer p.Close()
	if p.Output() != "bell" {
		t.Fatalf("output is %s", p.Output())
	}
	for c, rings := range map[Cue]int{Rest: 0, Stroke: 0, Pass: 1, Taken: 1, Undecided: 2, GaugeBack: 2, Fail: 3, GaugeLost: 4, Disk: 5} {
		p.Play(c)
		p.wg.Wait()
		want += rings
	}
	tty.Write([]byte("."))
	var got bytes.Buffer
	b := make([]byte, 100)
	for !strings.HasSuffix(got.String(), ".") {
		n, err := screen.Read(b)
		if err != nil {
			t.Fatal(err)
		}
		got.Write(b[:n])
	}
	if got.String() != strings.Repeat("\a", want)+"." {
		t.Errorf("the terminal got %q, want %d rings", got.String(), want)
	}
}

func TestNoServerMeansNoPulse(t *testing.T) {
	t.Setenv("PULSE_SERVER", "unix:"+t.TempDir()+"/none")
	for _, out := range []string{"auto", "pulse", "bell", "none"} {
		p := New(config.Sound{Output: out, Volume: 0.5}, zerolog.Nop())
		if p.Output() == "pulse" {
			t.Errorf("%s: output is pulse", out)
		}
		p.Play(Pass)
		p.Close()
	}
}

// Speech is heard after the cue, and not at all where a newer result cuts it.
func TestSpeechFollowsTheCue(t *testing.T) {
	if _, err := exec.LookPath(speaker); err != nil {
		t.Fatal("espeak-ng is not installed: apt-get install espeak-ng")
	}
	p, r := bench(t, config.Sound{Output: "auto", Speech: true})
	from := r.Len()
	p.Play(Pass)
	p.Say("three point two thou")
	tones := heard(t, p, r, from)
	if len(tones) < len(scores[Pass])+2 {
		t.Fatalf("heard %d tones", len(tones))
	}
	same(t, "the cue before the speech", tones[:3], scores[Pass])
	end := tones[len(tones)-1]
	if spoken := end.Start + end.Length - tones[3].Start; spoken < 0.6 {
		t.Errorf("%.2f s of speech", spoken)
	}

	from = r.Len()
	p.Say(strings.Repeat("this goes on and on ", 10))
	if _, ok := r.Onset(from, patience); !ok {
		t.Fatal("not spoken")
	}
	p.Play(Fail)
	tones = heard(t, p, r, from)
	// An old text that goes on after a new result would be the last that is heard. (What
	// fades lies over the result's first tone.)
	same(t, "the end", tones[max(0, len(tones)-1):], scores[Fail][len(scores[Fail])-1:])
}
