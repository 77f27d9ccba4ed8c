//go:build !windows

package main

import (
	"bufio"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"

	"thouwright/internal/journal"
	"thouwright/internal/ledger"
)

var kills = flag.Int("kills", 100, "how often TestKilledDaemon kills the daemon")

const killBench = `
log_dir = "logs"
job_dir = "jobs"
display_unit = "mm"
[[gauge]]
name = "mic"
port = "%s"
driver = "button-decimal"
unit = "mm"
error = "0.004 mm"
[[gauge]]
name = "dial"
port = "%s"
driver = "signed-decimal"
unit = "mm"
[sound]
output = "none"
speech = false
[page]
listen = "%s"
`

const killJob = `
number = "K-%d"
operator = "A. Tester"
`

const killCheck = `
[[component]]
name = "pin %d"
[[component.check]]
name = "diameter"
method = "size"
gauge = "mic"
advance = "at once"
positions = [%s]
limits = "9.9..10.1 mm"
`

// A job of this test has room for pins times placesOnPin takes.
const pins, placesOnPin = 6, 150

// killsPerJob bounds how many kills one job sees, so that it never runs out of
// positions.
const killsPerJob = 100

// victim is the real daemon on two simulated gauges, and all that it said over
// its page while it lived.
type victim struct {
	t        *testing.T
	dir      string
	addr     string
	pressing atomic.Bool
	job      int

	takes  map[uint64]map[string]string // acknowledged, by number
	logged [][2]uint64
	kills  int
	total  struct{ takes, readings, repaired int }
}

// gauge writes what next gives to a pseudo-terminal, every so often.
func (v *victim) gauge(every time.Duration, on func() bool, next func() string) (port string) {
	v.t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		v.t.Fatal(err)
	}
	slave.Close()
	go io.Copy(io.Discard, master)
	stop := make(chan struct{})
	v.t.Cleanup(func() { close(stop); master.Close() })
	go func() {
		for {
			select {
			case <-stop:
				return
			case <-time.After(every):
			}
			if on() {
				if _, err := io.WriteString(master, next()); err != nil {
					return
				}
			}
		}
	}()
	return slave.Name()
}

func (v *victim) write(name, text string) {
	v.t.Helper()
	path := filepath.Join(v.dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		v.t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		v.t.Fatal(err)
	}
}

// newJob begins a job with nothing measured yet.
func (v *victim) newJob() {
	v.job++
	sheet := fmt.Sprintf(killJob, v.job)
	for pin := range pins {
		var names []string
		for i := range placesOnPin {
			names = append(names, strconv.Quote(position(pin*placesOnPin+i)))
		}
		sheet += fmt.Sprintf(killCheck, pin+1, strings.Join(names, ", "))
	}
	v.write(fmt.Sprintf("jobs/K-%d.toml", v.job), sheet)
	v.takes, v.logged = map[uint64]map[string]string{}, nil
}

func position(i int) string { return fmt.Sprintf("p%04d", i+1) }

func (v *victim) start() *exec.Cmd {
	v.t.Helper()
	cmd := exec.Command(program(v.t), "run", "-b", filepath.Join(v.dir, "bench.toml"), "-j", fmt.Sprintf("K-%d", v.job))
	log, err := os.OpenFile(filepath.Join(v.dir, "daemon.log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		v.t.Fatal(err)
	}
	cmd.Stderr = log
	if err := cmd.Start(); err != nil {
		v.t.Fatal(err)
	}
	log.Close()
	return cmd
}

// follow reads the page's events until the daemon dies. first is called with
// the first state.
func (v *victim) follow(cmd *exec.Cmd, first func(ledger.Live)) {
	v.t.Helper()
	var res *http.Response
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(2 * time.Millisecond) {
		var err error
		if res, err = http.Get("http://" + v.addr + "/events"); err == nil {
			break
		}
		if time.Now().After(deadline) {
			log, _ := os.ReadFile(filepath.Join(v.dir, "daemon.log"))
			v.t.Fatalf("the page does not come up: %v\n%s", err, tail(log))
		}
	}
	defer res.Body.Close()
	r := bufio.NewReader(res.Body)
	began, logged, some := uint64(0), uint64(0), false
	event := ""
	for {
		line, err := r.ReadString('\n')
		if err != nil {
			break // what is behind the last line end was not said
		}
		if name, ok := strings.CutPrefix(line, "event: "); ok {
			event = strings.TrimSpace(name)
		}
		data, ok := strings.CutPrefix(line, "data: ")
		if !ok {
			continue
		}
		switch event {
		case "state":
			var s ledger.Live
			if err := json.Unmarshal([]byte(data), &s); err != nil {
				v.t.Fatal(err)
			}
			if s.Job == nil { // the page is up before the job is open
				continue
			}
			if !some {
				began, some = s.LoggedSeq, true
				first(s)
			}
			logged = max(logged, s.LoggedSeq)
		case "take":
			var row map[string]string
			if err := json.Unmarshal([]byte(data), &row); err != nil {
				v.t.Fatal(err)
			}
			n, err := strconv.ParseUint(row["take"], 10, 64)
			if err != nil {
				v.t.Fatalf("take event %s", data)
			}
			v.takes[n] = row
		}
	}
	_ = cmd.Wait()
	if !some {
		v.t.Errorf("kill %d: the job was never opened", v.kills)
	}
	if logged > began {
		v.logged = append(v.logged, [2]uint64{began + 1, logged})
	}
}

func tail(b []byte) []byte { return b[max(0, len(b)-2000):] }

// goesOn checks the first state after a start: every acknowledged take is
// there, and the position behind the last of them is active.
func (v *victim) goesOn(s ledger.Live) {
	v.t.Helper()
	there := map[string]bool{}
	done, i := 0, 0
	for _, c := range s.Checks {
		for _, p := range c.Positions {
			i++
			for _, t := range p.Takes {
				there[t["take"]] = true
				done = i
			}
		}
	}
	for n := range v.takes {
		if !there[strconv.FormatUint(n, 10)] {
			v.t.Errorf("kill %d: take %d was acknowledged, the state after the start does not know it", v.kills, n)
		}
	}
	if s.Active == nil || s.Active.Position != position(done) {
		v.t.Errorf("kill %d: %d positions are done, active is %+v", v.kills, done, s.Active)
	}
	if s.Job == nil || s.Job.Number != fmt.Sprintf("K-%d", v.job) {
		v.t.Errorf("kill %d: the job is %+v", v.kills, s.Job)
	}
	if n := len(v.logged); n > 0 && s.LoggedSeq < v.logged[n-1][1] {
		v.t.Errorf("kill %d: readings up to %d are there, %d were said to be logged", v.kills, s.LoggedSeq, v.logged[n-1][1])
	}
}

// life starts the daemon, lets it measure and kills it, or stops it in order.
func (v *victim) life(after time.Duration, sig os.Signal) {
	v.t.Helper()
	cmd := v.start()
	v.follow(cmd, func(s ledger.Live) {
		v.goesOn(s)
		v.pressing.Store(true)
		time.AfterFunc(after, func() {
			_ = cmd.Process.Signal(sig)
			_ = cmd.Process.Signal(sig) // as supervisors do: to the process and to its group
		})
	})
	v.pressing.Store(false)
	v.kills++
}

// check looks into the job's folder for everything that was acknowledged.
func (v *victim) check() {
	v.t.Helper()
	dir := filepath.Join(v.dir, "logs", fmt.Sprintf("K-%d", v.job))
	rep, err := journal.Verify(dir)
	if err != nil || !rep.Holds {
		v.t.Errorf("verify: %v %+v", err, rep)
	}
	if strings.Contains(strings.Join(rep.Notes, "\n"), "does not end with a stop") {
		v.t.Errorf("the daemon was asked to stop, and the log does not end in order: %q", rep.Notes)
	}
	f, err := journal.Load(dir)
	if err != nil {
		v.t.Fatal(err)
	}
	seen := map[uint64]int{}
	for i := range f.Takes {
		n := f.Takes[i].Take
		seen[n]++
		for column, want := range ledger.TakeFields(&f.Takes[i]) {
			if row, ok := v.takes[n]; ok && row[column] != want {
				v.t.Errorf("take %d: %s is %q in the log, %q was said", n, column, want, row[column])
			}
		}
	}
	for n := range v.takes {
		if seen[n] != 1 {
			v.t.Errorf("take %d was acknowledged and is there %d times", n, seen[n])
		}
	}
	last, g := uint64(0), 0
	for r, err := range f.Readings() {
		if err != nil || r.Seq <= last {
			v.t.Fatalf("reading %d follows %d, %v", r.Seq, last, err)
		}
		for g < len(v.logged) && v.logged[g][1] < r.Seq {
			g++
		}
		if g < len(v.logged) && r.Seq > v.logged[g][0] && r.Seq != last+1 {
			v.t.Fatalf("reading %d was said to be logged and is not there", last+1)
		}
		last = r.Seq
		v.total.readings++
	}
	if n := len(v.logged); n > 0 && last < v.logged[n-1][1] {
		v.t.Errorf("the last reading is %d, %d was said to be logged", last, v.logged[n-1][1])
	}
	for _, e := range f.Events {
		if e.Kind == ledger.EvRepaired {
			v.total.repaired++
		}
	}
	v.total.takes += len(v.takes)
}

// The real daemon, on two gauges of which one sends 4,000 readings a second,
// is killed at random moments and started again. Whatever its page said is
// there exactly once, the chains hold, and the job goes on where it was.
func TestKilledDaemon(t *testing.T) {
	v := &victim{t: t, dir: t.TempDir()}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	v.addr = l.Addr().String()
	l.Close()
	n := 0
	mic := v.gauge(15*time.Millisecond, v.pressing.Load, func() string {
		n++
		return fmt.Sprintf("+%.4f\r", 9.99+float64(n%200)/10000)
	})
	dial := v.gauge(5*time.Millisecond, v.pressing.Load, func() string {
		n := rand.IntN(4000)
		return strings.Repeat(fmt.Sprintf("%+.3f\r\n", float64(n)/1000), 20)
	})
	v.write("bench.toml", fmt.Sprintf(killBench, mic, dial, v.addr))
	for v.kills < *kills && !t.Failed() {
		v.newJob()
		for k := 0; k < killsPerJob && v.kills < *kills && !t.Failed(); k++ {
			v.life(time.Duration(rand.IntN(160))*time.Millisecond, syscall.SIGKILL)
		}
		v.kills-- // the last one is no kill
		v.life(50*time.Millisecond, syscall.SIGTERM)
		v.check()
	}
	t.Logf("%d kills: %d takes acknowledged, %d readings in the logs, %d torn tails repaired", v.kills, v.total.takes, v.total.readings, v.total.repaired)
	if v.total.takes < *kills/2 {
		t.Errorf("only %d takes were acknowledged over %d kills: the load is not real", v.total.takes, v.kills)
	}
}
