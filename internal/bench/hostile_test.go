//go:build !windows

package bench

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"thouwright/internal/journal"
	"thouwright/internal/ledger"
)

// Job numbers that name no sheet, by the page's command and at the start:
// refused in one short line, and nothing appears outside the log folder.
func TestHostileJobNumbers(t *testing.T) {
	d := newDial(t)
	r := newRig(t, d.port, false)
	r.write("outside.toml", strings.Replace(rigJob, "R-1", "outside", 1))
	before := r.d.session.number
	for _, number := range []string{
		"..", ".", "../outside", "../../etc/passwd", "/etc/passwd", `..\outside`, "a/b", "R-1/", "./R-1", "R-1\x00", "R-1\n", "-R-1", ".R-1", "~", "R 1", "%2e%2e", "ＲＲ",
		strings.Repeat("x", 65), strings.Repeat("9", 300), strings.Repeat("../", 100) + "R-1",
	} {
		err := r.d.Do(context.Background(), ledger.Command{Do: ledger.DoJob, Job: number})
		if err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("the page chose job %.40q: %v, want one line", number, err)
		}
		if strings.HasSuffix(number, "R-1") { // as a path it names a sheet, which is allowed there
			continue
		}
		err = Run(context.Background(), Options{BenchFile: filepath.Join(r.dir, "bench.toml"), Job: number, Listen: "127.0.0.1:0", Log: zerolog.Nop()})
		if err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("a daemon started on job %.40q: %v, want one line", number, err)
		}
	}
	if r.d.session.number != before {
		t.Errorf("the job is now %q", r.d.session.number)
	}
	r.stop()
	var found []string
	for _, e := range must(os.ReadDir(r.dir)) {
		found = append(found, e.Name())
	}
	if got, want := strings.Join(found, " "), "bench.toml jobs logs outside.toml"; got != want {
		t.Errorf("the folder now holds %s, expected %s", got, want)
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// A log folder that cannot be made is one line that names it.
func TestLogFolderCannotBeMade(t *testing.T) {
	dir := t.TempDir()
	r := &rig{t: t, dir: dir}
	r.write("jobs/R-1.toml", rigJob)
	r.write("file", "")
	if err := os.Symlink("loop", filepath.Join(dir, "loop")); err != nil {
		t.Fatal(err)
	}
	for _, logs := range []string{"file", "file/logs", "loop", "loop/logs", "/proc/thouwright-logs"} {
		r.write("bench.toml", strings.Replace(fmt.Sprintf(rigBench, "/dev/null"), `log_dir = "logs"`, fmt.Sprintf("log_dir = %q", logs), 1))
		err := Run(context.Background(), Options{BenchFile: filepath.Join(dir, "bench.toml"), Job: "R-1", Log: zerolog.Nop()})
		if err == nil || strings.Contains(err.Error(), "\n") || !strings.Contains(err.Error(), filepath.Base(logs)) {
			t.Errorf("log folder %s: %v, want one line that names it", logs, err)
		}
	}
}

// A job's folder is removed under the daemon: it is told, the folder comes
// back, and what follows is logged.
func TestFolderRemovedUnderTheDaemon(t *testing.T) {
	d := newDial(t)
	terminal := make(chan string, 1000)
	r := &rig{t: t, dir: t.TempDir(), log: zerolog.New(lines(terminal))}
	r.write("bench.toml", fmt.Sprintf(rigBench, d.port))
	r.write("jobs/R-1.toml", rigJob)
	r.start(false)
	r.until("up", gaugeIs("up"))
	fmt.Fprint(d.master, "+1.001\r\n")
	r.until("logged", func(l ledger.Live) bool { return l.LoggedSeq == 1 })
	if err := os.RemoveAll(r.d.JobDir()); err != nil {
		t.Fatal(err)
	}
	stop, stopped := make(chan struct{}), make(chan struct{})
	go r.keepSending(d, stop, stopped)
	r.until("logged again", func(l ledger.Live) bool { return l.LoggedSeq > 5 && len(l.Problems) == 0 })
	close(stop)
	<-stopped
	r.cancel()
	if err := <-r.ended; err != nil {
		t.Fatal(err)
	}
	f, err := journal.Load(r.d.JobDir())
	if err != nil {
		t.Fatal(err)
	}
	said := false
	for _, e := range f.Events {
		said = said || e.Kind == ledger.EvDisk
	}
	if !said {
		t.Errorf("no disk event tells of it: %+v", f.Events)
	}
	close(terminal)
	var told []string
	for line := range terminal {
		if strings.Contains(line, "held in memory") || strings.Contains(line, "takes rows again") {
			told = append(told, line)
		}
	}
	if len(told) != 2 || !strings.Contains(told[0], "held in memory") || !strings.Contains(told[1], "takes rows again") {
		t.Errorf("the trouble and its end are not told once each: %q", told)
	}
}

// What a job's journal still says after another job was chosen is not taken
// for that job's: logged_seq counts the readings of the job in hand.
func TestJobBeforeDoesNotSpeakForTheNext(t *testing.T) {
	d := newDial(t)
	r := newRig(t, d.port, false)
	r.write("jobs/R-2.toml", strings.Replace(rigJob, "R-1", "R-2", 1))
	r.until("up", gaugeIs("up"))
	stop, stopped := make(chan struct{}), make(chan struct{})
	go r.keepSending(d, stop, stopped)
	r.until("many readings", func(l ledger.Live) bool { return l.LoggedSeq > 100 })
	close(stop)
	<-stopped
	if err := r.d.Do(context.Background(), ledger.Command{Do: ledger.DoJob, Job: "R-2"}); err != nil {
		t.Fatal(err)
	}
	fmt.Fprint(d.master, "+1.001\r\n")
	s := r.until("the first of R-2", func(l ledger.Live) bool { return l.Job.Number == "R-2" && l.LoggedSeq > 0 })
	if s.LoggedSeq > 50 {
		t.Errorf("after the change of job, readings up to %d are said to be synced, of 1", s.LoggedSeq)
	}
	r.stop()
	if rep, err := journal.Verify(filepath.Join(r.dir, "logs", "R-1")); err != nil || !rep.Holds {
		t.Errorf("the job before: %v %+v", err, rep)
	}
}

// The figures for a monitoring system, read from the page of a running bench.
func TestMetrics(t *testing.T) {
	d := newDial(t)
	r := newRig(t, d.port, false)
	r.until("up", gaugeIs("up"))
	// What comes first after opening may be the rest of a line: it is not counted here.
	fmt.Fprint(d.master, "+1.000\r\n")
	r.until("logged", func(l ledger.Live) bool { return l.LoggedSeq == 1 })
	garbled := func(text string) (n int) {
		_, after, ok := strings.Cut(text, "\nthouwright_reading_faults_total{fault=\"garbled\"} ")
		if _, err := fmt.Sscan(after, &n); !ok || err != nil {
			t.Fatalf("no count of garbled readings: %v", err)
		}
		return n
	}
	before := garbled(r.metrics())
	fmt.Fprint(d.master, "+1.001\r\nrubbish\r\n+1.002\r\n")
	r.until("logged", func(l ledger.Live) bool { return l.LoggedSeq == 4 })
	text := r.metrics()
	if n := garbled(text) - before; n != 1 {
		t.Errorf("one line of rubbish: %d garbled readings", n)
	}
	for _, line := range []string{
		"thouwright_readings_total 4", `thouwright_reading_faults_total{fault="over"} 0`,
		"thouwright_unsynced_readings 0", "thouwright_readings_lost 0", `thouwright_links_total{link="up"} 1`,
	} {
		if !strings.Contains(text, "\n"+line+"\n") {
			t.Errorf("no line %q", line)
		}
	}
	for _, name := range []string{"thouwright_handling_lag_seconds", "thouwright_logging_lag_seconds", "thouwright_sync_seconds"} {
		if !strings.Contains(text, name+"_count") || strings.Contains(text, name+"_count 0\n") {
			t.Errorf("%s was not observed", name)
		}
	}
	for _, name := range []string{"go_goroutines ", "go_gc_heap_live_bytes ", "process_open_fds ", "process_resident_memory_bytes "} {
		if !strings.Contains(text, "\n"+name) {
			t.Errorf("no %s", name)
		}
	}
	r.stop()
}

// metrics is what the page of counters says.
func (r *rig) metrics() string {
	r.t.Helper()
	res, err := http.Get(r.url + "metrics")
	if err != nil {
		r.t.Fatal(err)
	}
	text, err := io.ReadAll(res.Body)
	res.Body.Close()
	if err != nil || res.StatusCode != http.StatusOK {
		r.t.Fatal(res.Status, err)
	}
	return string(text)
}

// keepSending sends a reading every few milliseconds until stop is closed.
func (r *rig) keepSending(d *dial, stop, stopped chan struct{}) {
	defer close(stopped)
	for n := 0; ; n++ {
		select {
		case <-stop:
			return
		case <-time.After(5 * time.Millisecond):
			fmt.Fprintf(d.master, "+1.%03d\r\n", n%10)
		}
	}
}
