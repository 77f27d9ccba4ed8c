//go:build linux

package bench

import (
	"context"
	"encoding/binary"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/rs/zerolog"
	"golang.org/x/sys/unix"
)

// The gauge is another process, as a real one is: a process that wakes itself
// would find its own poller awake. It gets the masters of two terminals and a
// pipe, and for each byte on standard input it writes a reading to the first or
// the second and then, on standard output, when it did so.
func init() {
	if os.Getenv("THOUWRIGHT_BE_GAUGE") == "" {
		return
	}
	which := make([]byte, 1)
	for {
		if _, err := os.Stdin.Read(which); err != nil {
			os.Exit(0)
		}
		time.Sleep(2 * time.Millisecond) // so that the reader waits in the kernel
		at := monotonic()
		unix.Write(3+int(which[0]), []byte("+0.01234\r\n"))
		binary.Write(os.Stdout, binary.LittleEndian, at)
	}
}

// monotonic is a time that two processes of one computer can compare.
func monotonic() int64 {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &t); err != nil {
		panic(err)
	}
	return t.Nano()
}

// BenchmarkEvent compares, in one run and by turns, the time from writing a
// reading to the master of a terminal to the daemon's event of that reading
// with that of a bare read of another terminal.
//
//	go test -run xxx -bench Event -benchtime 5000x ./internal/bench
func BenchmarkEvent(b *testing.B) {
	master, tty, err := pty.Open()
	if err != nil {
		b.Fatal(err)
	}
	defer master.Close()
	defer tty.Close()
	dir := b.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "bench.toml"), fmt.Appendf(nil, rigBench, tty.Name()), 0o644); err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	var d *Daemon
	ready, ended := make(chan struct{}), make(chan error, 1)
	go func() {
		ended <- Run(ctx, Options{BenchFile: filepath.Join(dir, "bench.toml"), Log: zerolog.Nop(), Ready: func(x *Daemon, _ string) { d = x; close(ready) }})
	}()
	defer func() {
		cancel()
		if err := <-ended; err != nil {
			b.Error(err)
		}
	}()
	select {
	case <-ready:
	case err := <-ended:
		b.Fatal(err)
	}
	_, updates, leave := d.Subscribe()
	defer leave()
	events := make(chan int64, 1)
	up := make(chan struct{})
	go func() {
		isUp := false
		for u := range updates {
			switch {
			case u.Event == "reading":
				events <- monotonic()
			case !isUp && u.Event == "state" && gaugeIs("up")(d.hub.State()):
				isUp = true
				close(up)
			}
		}
	}()
	<-up
	bareMaster, bare := bareRead(b)
	gauge := exec.Command(os.Args[0])
	gauge.Env = append(os.Environ(), "THOUWRIGHT_BE_GAUGE=yes")
	gauge.ExtraFiles = []*os.File{master, bareMaster}
	ask, err := gauge.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	said, err := gauge.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := gauge.Start(); err != nil {
		b.Fatal(err)
	}
	defer func() { ask.Close(); gauge.Wait() }()
	once := func(which byte, seen <-chan int64) time.Duration {
		ask.Write([]byte{which})
		got := <-seen
		var sent int64
		if err := binary.Read(said, binary.LittleEndian, &sent); err != nil {
			b.Fatal(err)
		}
		return time.Duration(got - sent)
	}
	var ours, theirs []time.Duration
	for b.Loop() {
		ours = append(ours, once(0, events))
		theirs = append(theirs, once(1, bare))
	}
	for _, s := range []struct {
		name string
		d    []time.Duration
	}{{"event", ours}, {"bare", theirs}} {
		slices.Sort(s.d)
		b.ReportMetric(float64(s.d[len(s.d)/2].Nanoseconds())/1e3, s.name+"-median-µs")
		b.ReportMetric(float64(s.d[len(s.d)*99/100].Nanoseconds())/1e3, s.name+"-p99-µs")
	}
}

// bareRead tells when each line that is written to a terminal was read by
// nothing but a read.
func bareRead(b *testing.B) (master *os.File, seen <-chan int64) {
	master, slave, err := pty.Open()
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { master.Close(); slave.Close() })
	fd := int(slave.Fd()) // which also makes its reads block in the kernel
	t, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		b.Fatal(err)
	}
	t.Iflag &^= unix.ICRNL | unix.INLCR | unix.IXON
	t.Lflag &^= unix.ICANON | unix.ECHO | unix.ISIG
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	if err := unix.IoctlSetTermios(fd, unix.TCSETS, t); err != nil {
		b.Fatal(err)
	}
	lines := make(chan int64, 1)
	go func() {
		buf := make([]byte, 4096)
		for {
			n, err := slave.Read(buf)
			now := monotonic()
			if err != nil {
				return
			}
			if buf[n-1] == '\n' {
				lines <- now
			}
		}
	}()
	return master, lines
}
