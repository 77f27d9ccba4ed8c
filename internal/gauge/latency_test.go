//go:build linux

package gauge

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/rs/zerolog"
	"golang.org/x/sys/unix"

	"thouwright/internal/port"
)

// stopwatch is a Sink that says when a reading's last byte came.
type stopwatch struct {
	up   chan struct{}
	seen chan time.Time
}

func (s *stopwatch) Chunk(_ int, b []byte) {
	now := time.Now()
	if b[len(b)-1] == '\n' {
		s.seen <- now
	}
}
func (s *stopwatch) Link(_ int, l Link, _ string) {
	if l == Up {
		s.up <- struct{}{}
	}
}
func (s *stopwatch) Control(int, string, bool) {}

// BenchmarkLatency compares, in one run and by turns, the time from writing a
// reading to the master of a terminal to the keeper's call of Chunk with that
// of a bare read of another terminal.
func BenchmarkLatency(b *testing.B) {
	name := filepath.Join(b.TempDir(), "dial")
	kept := plug(b, name)
	defer kept.Close()
	watch := &stopwatch{make(chan struct{}, 1), make(chan time.Time, 1)}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		Keep(ctx, Plan{Address: name}, port.Open, watch, port.WallClock{}, zerolog.Nop())
		close(done)
	}()
	defer func() { cancel(); <-done }()
	<-watch.up

	master, slave, err := pty.Open()
	if err != nil {
		b.Fatal(err)
	}
	defer master.Close()
	defer slave.Close()
	// Fd also makes its reads block in the kernel, as a bare read does.
	if err := raw(int(slave.Fd())); err != nil {
		b.Fatal(err)
	}
	bare := make(chan time.Time, 1)
	go func() {
		buf := make([]byte, 4096)
		for {
			n, err := slave.Read(buf)
			now := time.Now()
			if err != nil {
				return
			}
			if buf[n-1] == '\n' {
				bare <- now
			}
		}
	}()

	reading := []byte("+0.01234\r\n")
	once := func(m *os.File, seen <-chan time.Time) time.Duration {
		time.Sleep(200 * time.Microsecond) // so that the reader waits in the kernel
		start := time.Now()
		m.Write(reading)
		return (<-seen).Sub(start)
	}
	var ours, theirs []time.Duration
	for b.Loop() {
		ours = append(ours, once(kept, watch.seen))
		theirs = append(theirs, once(master, bare))
	}
	for _, s := range []struct {
		name string
		d    []time.Duration
	}{{"keeper", ours}, {"bare", theirs}} {
		slices.Sort(s.d)
		b.ReportMetric(float64(s.d[len(s.d)/2].Nanoseconds())/1e3, s.name+"-median-µs")
		b.ReportMetric(float64(s.d[len(s.d)*99/100].Nanoseconds())/1e3, s.name+"-p99-µs")
	}
}

func raw(fd int) error {
	t, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return err
	}
	t.Iflag &^= unix.ICRNL | unix.INLCR | unix.IXON
	t.Lflag &^= unix.ICANON | unix.ECHO | unix.ISIG
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	return unix.IoctlSetTermios(fd, unix.TCSETS, t)
}
