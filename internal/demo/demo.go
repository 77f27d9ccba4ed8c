// Package demo plays a whole job on a simulated bench: the front axle of a
// Tarnbeck T28, an invented tractor. Only the person, the parts and the gauges
// are simulated; their bytes go through real serial lines into the same daemon
// that the run command starts.
package demo

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/rs/zerolog"

	"thouwright/config"
	"thouwright/internal/bench"
	"thouwright/internal/ledger"
)

//go:embed bench.toml
var benchText string

//go:embed job.toml
var jobText string

// Options is what a demo is played with.
type Options struct {
	Quick  bool   // ten times faster, and once
	Dir    string // where the bench and its logs are put; "" is a new temporary folder
	Listen string // "" is the bench file's, or a free port where that is taken
	Log    zerolog.Logger
	Say    func(string) // a line for the person who watches
}

// quickSpeed is how much faster the quick form runs the hands and the clock of
// the ports.
const quickSpeed = 10

// quickLasts is how long the quick form's clock runs on, at least: it begins so
// long ago that a record made afterwards is not older than its takes.
const quickLasts = 4 * time.Minute

// Run plays the demo: once through in the quick form, else one job after the
// other until ctx is done. It returns the folder of the last job.
func Run(ctx context.Context, o Options) (jobDir string, err error) {
	if err := goodListen(o.Listen); err != nil {
		return "", err
	}
	dir, err := prepare(o.Dir)
	if err != nil {
		return "", err
	}
	benchFile := filepath.Join(dir, "bench.toml")
	if err := notYours(benchFile); err != nil {
		return "", err
	}
	speed := 1.0
	if o.Quick {
		speed = quickSpeed
	}
	clock := bench.NewClock(speed)
	if o.Quick {
		clock.SetBack(quickLasts)
	}
	s, err := newStage(clock, speed)
	if err != nil {
		return "", err
	}
	defer s.close()
	first := firstFree(dir)
	number, err := writeFiles(dir, benchFile, s, o.Listen, first)
	if err != nil {
		return "", err
	}
	if wireNote != "" {
		o.Say(wireNote)
	}

	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var daemon *bench.Daemon
	done := make(chan struct{})
	err = bench.Run(ctx, bench.Options{
		BenchFile: benchFile, Job: number, Tapes: true, Clock: clock, Log: o.Log,
		Ready: func(d *bench.Daemon, url string) {
			daemon = d
			o.Say("the page: " + url)
			o.Say("the folder: " + dir)
			go func() {
				defer close(done)
				defer cancel()
				s.play(ctx, d, o, dir, benchFile, first)
			}()
		},
	})
	if daemon == nil {
		return "", err
	}
	<-done
	return daemon.JobDir(), err
}

func prepare(dir string) (string, error) {
	if dir == "" {
		return os.MkdirTemp("", "thouwright-demo-")
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", fmt.Errorf("demo folder: %w", err)
	}
	return filepath.Abs(dir)
}

// goodListen looks at --listen as the bench file's own key is looked at, before
// any folder is made.
func goodListen(address string) error {
	if address == "" {
		return nil
	}
	_, problems := config.ParseBench("", fmt.Appendf(nil, "[page]\nlisten = %q\n", address))
	if !config.Refused(problems) {
		return nil
	}
	return errors.New("--listen" + strings.TrimPrefix(problems[0].Text, "[page], listen"))
}

// notYours refuses to write over a bench file that no demo wrote.
func notYours(benchFile string) error {
	had, err := os.ReadFile(benchFile)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	mark, _, _ := strings.Cut(benchText, "\n")
	if err == nil && !strings.HasPrefix(string(had), mark) {
		err = fmt.Errorf("%s is not the demo's and would be written over: give an empty folder", benchFile)
	}
	return err
}

// writeFiles writes the sheet of the n-th job and, once, the bench file.
func writeFiles(dir, benchFile string, s *stage, listen string, n int) (number string, err error) {
	text := benchText
	for name, w := range s.wires {
		text = strings.Replace(text, "PORT:"+name, w.address, 1)
	}
	if listen == "" {
		listen = freeListen("127.0.0.1:8417")
	}
	text = strings.Replace(text, `listen = "127.0.0.1:8417"`, fmt.Sprintf("listen = %q", listen), 1)
	number = numberOf(n)
	sheet := strings.Replace(jobText, `"T28-0117"`, fmt.Sprintf("%q", number), 1)
	jobs := filepath.Join(dir, "jobs")
	err = errors.Join(os.MkdirAll(jobs, 0o755),
		os.WriteFile(filepath.Join(jobs, number+".toml"), []byte(sheet), 0o644))
	if !s.set {
		err = errors.Join(err, os.WriteFile(benchFile, []byte(text), 0o644))
		s.set = true
	}
	return number, err
}

// numberOf is the n-th job's number.
func numberOf(n int) string {
	if n == 1 {
		return "T28-0117"
	}
	return fmt.Sprintf("T28-0117-%d", n)
}

func logsOf(dir string, n int) string { return filepath.Join(dir, "logs", numberOf(n)) }

// firstFree is the first job that no demo before worked at in this folder: what
// was measured is not measured again.
func firstFree(dir string) (n int) {
	for n = 1; ; n++ {
		if _, err := os.Stat(logsOf(dir, n)); err != nil {
			return n
		}
	}
}

// stage is the simulated bench: gauges on their wires, hands at the gauges.
type stage struct {
	clock  *bench.Clock
	speed  float64
	began  time.Time
	wires  map[string]*wire
	gauges []*gauge
	hands  map[string]*hand
	set    bool // the bench file is written
}

func newStage(clock *bench.Clock, speed float64) (*stage, error) {
	s := &stage{clock: clock, speed: speed, began: time.Now(), wires: map[string]*wire{}, hands: map[string]*hand{}}
	now := func() float64 { return time.Since(s.began).Seconds() * speed }
	wait := func(ctx context.Context, seconds float64) {
		sleep(ctx, time.Duration(seconds/speed*float64(time.Second)))
	}
	for _, g := range []gauge{
		{name: "dial-1", step: 0.0005, scale: 25.4, places: 4, rate: 10, noise: 0.0006},
		{name: "dial-2", step: 0.001, scale: 1, places: 3, rate: 10, noise: 0.0004},
		{name: "mic-1", step: 0.001, scale: 1, places: 3, rate: 8, noise: 0.0002},
		{name: "bore-1", step: 0.001, scale: 1, places: 3, rate: 8, noise: 0.0003},
		{name: "pull-1", step: 0.1, scale: 1, places: 1, rate: 12, noise: 0.08},
	} {
		w, err := newWire()
		if err != nil {
			s.close()
			return nil, fmt.Errorf("a serial line for %s: %w", g.name, err)
		}
		at := 4.5
		switch g.name {
		case "mic-1", "bore-1":
			at = 33
		case "pull-1":
			at = 0
		}
		g.hand = newHand(now, wait, at)
		s.wires[g.name], s.hands[g.name] = w, g.hand
		s.gauges = append(s.gauges, &g)
	}
	return s, nil
}

func (s *stage) close() {
	for _, w := range s.wires {
		w.Close()
	}
}

// play lets the gauges send and the person work, one job after the other.
func (s *stage) play(ctx context.Context, d *bench.Daemon, o Options, dir, benchFile string, first int) {
	s.send(ctx)
	for n := first; ; n++ {
		s.job(ctx, d, o.Say, n)
		if o.Quick || ctx.Err() != nil {
			return
		}
		o.Say("the job is through, its folder is " + logsOf(dir, n) + "; the next one begins in a quarter of a minute")
		sleep(ctx, 15*time.Second)
		number, err := writeFiles(dir, benchFile, s, o.Listen, n+1)
		if err == nil {
			err = d.Do(ctx, ledger.Command{Do: ledger.DoJob, Job: number, By: "demo"})
		}
		if err != nil {
			if ctx.Err() == nil {
				o.Say(err.Error())
			}
			return
		}
	}
}

// send lets the gauges send until ctx is done.
func (s *stage) send(ctx context.Context) {
	for i, g := range s.gauges {
		go g.run(ctx, s.wires[g.name], s.clock.After, uint64(i))
	}
}

// job is the n-th job's work. Whoever listens for it stops with it: two would
// tell every take twice.
func (s *stage) job(ctx context.Context, d *bench.Daemon, say func(string), n int) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	p := &person{hands: s.hands, rand: rand.New(rand.NewPCG(uint64(n), 117)), say: say}
	p.tap = func(ctx context.Context) {
		// What can't be accepted yet is not: the person hears no take and turns on.
		_ = d.Do(ctx, ledger.Command{Do: ledger.DoAccept, By: "switch"})
	}
	p.step = func(ctx context.Context) { _ = d.Do(ctx, ledger.Command{Do: ledger.DoStep, By: "page"}) }
	p.ears = listen(ctx, d, func(t ledger.LiveTake) { say(spoken(t)) })
	p.work(ctx)
}

// spoken is a take in plain words.
func spoken(t ledger.LiveTake) string {
	verdict := t["verdict"]
	if verdict == "" {
		verdict = "measured"
	}
	line := fmt.Sprintf("  take %s, %s: %s. %s", t["take"], t["check"], strings.ToUpper(verdict), t["say"])
	if by := t["settles"]; by != "" {
		line += "; would decide it: " + by
	}
	return line
}
