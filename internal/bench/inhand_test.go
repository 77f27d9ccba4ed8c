package bench

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"thouwright/internal/ledger"
)

// resumed starts a daemon on the rig's bench without naming a job.
func (r *rig) resumed() (d *Daemon, stop func()) {
	r.t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	ready, ended := make(chan *Daemon, 1), make(chan error, 1)
	go func() {
		ended <- Run(ctx, Options{BenchFile: filepath.Join(r.dir, "bench.toml"), Log: r.log, Ready: func(d *Daemon, _ string) { ready <- d }})
		close(ended)
	}()
	r.t.Cleanup(func() { // as start does
		cancel()
		for range ended {
		}
	})
	select {
	case d = <-ready:
	case err := <-ended:
		r.t.Fatal(err)
	}
	for d.hub.State().Sound.Cues == nil { // until it has said its first state
		time.Sleep(time.Millisecond)
	}
	return d, func() {
		r.t.Helper()
		cancel()
		if err := <-ended; err != nil {
			r.t.Error(err)
		}
	}
}

// The choice of the job survives a restart, wherever its sheet lies; the choice
// of none does too; and a job that can't be opened any more leaves the bench
// working and says why.
func TestJobInHandSurvivesARestart(t *testing.T) {
	dial := newDial(t)
	r := newRig(t, dial.port, false)
	r.write("jobs/R-2.toml", strings.Replace(rigJob, "R-1", "R-2", 1))
	if err := r.d.Do(context.Background(), ledger.Command{Do: ledger.DoJob, Job: "R-2"}); err != nil {
		t.Fatal(err)
	}
	r.stop()
	inHand := func(d *Daemon, want string) {
		t.Helper()
		r.d = d
		r.until("job "+want, func(l ledger.Live) bool { return l.Job == nil && want == "" || l.Job != nil && l.Job.Number == want })
	}
	d, stop := r.resumed()
	inHand(d, "R-2")
	if err := d.Do(context.Background(), ledger.Command{Do: ledger.DoJob}); err != nil {
		t.Fatal(err)
	}
	inHand(d, "")
	stop()
	d, stop = r.resumed()
	inHand(d, "")
	stop()

	// A sheet outside the job folder.
	r.write("elsewhere/sheet.toml", strings.Replace(rigJob, "R-1", "R-3", 1))
	ctx, cancel := context.WithCancel(context.Background())
	err := Run(ctx, Options{BenchFile: filepath.Join(r.dir, "bench.toml"), Job: filepath.Join(r.dir, "elsewhere", "sheet.toml"), Log: zerolog.Nop(), Ready: func(*Daemon, string) { cancel() }})
	if err != nil {
		t.Fatal(err)
	}
	d, stop = r.resumed()
	inHand(d, "R-3")
	stop()

	if err := os.Remove(filepath.Join(r.dir, "elsewhere", "sheet.toml")); err != nil {
		t.Fatal(err)
	}
	said := make(chan string, 100)
	r.log = zerolog.New(lines(said))
	d, stop = r.resumed()
	inHand(d, "")
	r.until("the reason", func(l ledger.Live) bool {
		return len(l.Problems) == 1 && l.Problems[0].Warning && strings.Contains(l.Problems[0].Text, "the job in hand, sheet.toml, can't be gone on with")
	})
	stop()
	close(said)
	told := 0
	for s := range said {
		told += strings.Count(s, "the job in hand, sheet.toml, can't be gone on with")
	}
	if told != 1 {
		t.Errorf("the terminal says it %d times", told)
	}
}

// What was chosen of the sound on the page outlasts edits of other things and a
// restart, and gives way to an edit of the sound, for good.
func TestSoundChosenOnThePage(t *testing.T) {
	dial := newDial(t)
	r := newRig(t, dial.port, false)
	low := 0.2
	if err := r.d.Do(context.Background(), ledger.Command{Do: ledger.DoSound, Volume: &low, Cues: map[string]bool{"rest": false}}); err != nil {
		t.Fatal(err)
	}
	r.until("quieter", func(l ledger.Live) bool { return l.Sound.Volume == 0.2 && !l.Sound.Cues["rest"] })
	r.write("jobs/R-1.toml", strings.Replace(rigJob, "0.15", "0.16", 1))
	l := r.until("the new limit", func(l ledger.Live) bool { return l.Active != nil && l.Active.High == "0.16" })
	if l.Sound.Volume != 0.2 || l.Sound.Cues["rest"] {
		t.Errorf("an edited sheet changed the sound to %+v", l.Sound)
	}
	r.write("bench.toml", strings.Replace(fmt.Sprintf(rigBench, dial.port), "[sound]\n", "[sound]\nvolume = 0.9\n", 1))
	r.until("the file's sound", func(l ledger.Live) bool { return l.Sound.Volume == 0.9 && l.Sound.Cues["rest"] })
	quiet, spoken := true, true
	for _, v := range []float64{0.8, 0.5, 0.4} { // a slider that is drawn
		if err := r.d.Do(context.Background(), ledger.Command{Do: ledger.DoSound, Volume: &v, Mute: &quiet, Speech: &spoken}); err != nil {
			t.Fatal(err)
		}
	}
	r.stop()
	d, stop := r.resumed()
	if s := d.hub.State().Sound; s.Volume != 0.4 || !s.Mute || !s.Speech || !s.Cues["rest"] {
		t.Errorf("after a restart the sound is %+v", s)
	}
	stop()
	r.write("bench.toml", fmt.Sprintf(rigBench, dial.port))
	for range 2 {
		d, stop = r.resumed()
		if s := d.hub.State().Sound; s.Volume == 0.4 || s.Mute || s.Speech {
			t.Errorf("edited while the bench stood still, the sound is %+v", s)
		}
		stop()
	}
}
