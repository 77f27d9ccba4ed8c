package main

import (
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"thouwright/internal/journal"
	"thouwright/internal/ledger"
)

// state is what the daemon's page shows.
func (v *victim) state() ledger.Live {
	v.t.Helper()
	var l ledger.Live
	res, err := http.Get("http://" + v.addr + "/api/state")
	if err != nil {
		return l // not up yet
	}
	defer res.Body.Close()
	if err := json.NewDecoder(res.Body).Decode(&l); err != nil {
		v.t.Fatal(err)
	}
	return l
}

// until waits for a state.
func (v *victim) until(what string, ok func(ledger.Live) bool) ledger.Live {
	v.t.Helper()
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		l := v.state()
		if ok(l) {
			return l
		}
		if time.Now().After(deadline) {
			v.t.Fatalf("never %s; the last state: problems %+v, logged %d", what, l.Problems, l.LoggedSeq)
		}
	}
}

func takesShown(l ledger.Live) int {
	if l.LastTake == nil {
		return 0
	}
	n, _ := strconv.Atoi((*l.LastTake)["take"])
	return n
}

// limitFiles lets the daemon write no file beyond so many bytes: every write
// fails as on a full disk, until the limit is lifted.
func limitFiles(t *testing.T, cmd *exec.Cmd, size uint64) {
	t.Helper()
	if err := unix.Prlimit(cmd.Process.Pid, unix.RLIMIT_FSIZE, &unix.Rlimit{Cur: size, Max: unix.RLIM_INFINITY}, nil); err != nil {
		t.Fatal(err)
	}
}

// The real daemon's files cannot be written for a while: the page says so, no
// take is shown, and when there is room again everything is there.
func TestDaemonWhoseDiskIsFull(t *testing.T) {
	v := &victim{t: t, dir: t.TempDir()}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	v.addr = l.Addr().String()
	l.Close()
	n := 0
	mic := v.gauge(30*time.Millisecond, v.pressing.Load, func() string { n++; return fmt.Sprintf("+%.4f\r", 9.99+float64(n%200)/10000) })
	dial := v.gauge(20*time.Millisecond, v.pressing.Load, func() string { return "+1.234\r\n" })
	v.write("bench.toml", fmt.Sprintf(killBench, mic, dial, v.addr))
	v.newJob()
	cmd := v.start()
	defer cmd.Process.Kill()
	v.until("up", func(l ledger.Live) bool { return l.Job != nil && len(l.Gauges) == 2 && l.Gauges[0].Link == "up" })
	v.pressing.Store(true)
	v.until("three takes", func(l ledger.Live) bool { return takesShown(l) >= 3 })

	limitFiles(t, cmd, 1)
	said := v.until("said on the page", func(l ledger.Live) bool {
		return len(l.Problems) > 0 && strings.Contains(fmt.Sprint(l.Problems), "held in memory")
	})
	shown := takesShown(said)
	time.Sleep(1500 * time.Millisecond)
	if l := v.state(); takesShown(l) > shown || l.LoggedSeq > said.LoggedSeq {
		t.Errorf("on a full disk take %d and reading %d are shown as kept, before it were %d and %d", takesShown(l), l.LoggedSeq, shown, said.LoggedSeq)
	}

	limitFiles(t, cmd, unix.RLIM_INFINITY)
	v.until("well again", func(l ledger.Live) bool { return len(l.Problems) == 0 && takesShown(l) > shown+3 })
	v.pressing.Store(false)
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("the daemon ended with %v", err)
	}
	dir := filepath.Join(v.dir, "logs", "K-1")
	rep, err := journal.Verify(dir)
	if err != nil || !rep.Holds {
		t.Errorf("verify: %v %+v", err, rep)
	}
	f, err := journal.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	last, disk := uint64(0), 0
	for r, err := range f.Readings() {
		if err != nil || r.Seq != last+1 {
			t.Fatalf("reading %d follows %d, %v", r.Seq, last, err)
		}
		last = r.Seq
	}
	for i, x := range f.Takes {
		if x.Take != uint64(i+1) {
			t.Errorf("take %d stands in place %d", x.Take, i+1)
		}
	}
	for _, e := range f.Events {
		if e.Kind == ledger.EvDisk {
			disk++
		}
	}
	if disk < 2 {
		t.Errorf("%d events tell of the disk, expected its trouble and its end", disk)
	}
}
