//go:build linux

package bench

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/rs/zerolog"

	"thouwright/internal/sound/listen"
)

const onsetBench = `
log_dir = "logs"
job_dir = "jobs"
[[gauge]]
name = "mic-1"
port = "%s"
driver = "button-decimal"
unit = "mm"
error = "0.002 mm"
[sound]
output = "pulse"
speech = false
cues = { rest = false, stroke = false, left-out = false, position = false, step = false, gauge-back = false, gauge-lost = false }
[page]
listen = "127.0.0.1:0"
`

const onsetJob = `
number = "O-1"
[[component]]
name = "pin"
[[component.check]]
name = "diameter"
method = "size"
gauge = "mic-1"
advance = "at once"
positions = [%s]
limits = "29.9..30.1 mm"
`

// BenchmarkOnset measures from the last byte of a reading on a pseudo-terminal
// to the first sample of the verdict's tone in what a real sound server played:
// decoding, capture, verdict, every file synced, sound. Each press of the
// gauge's button is a take. The sink plays into nothing, so no loudspeaker's
// buffer is in it. sync-p95 is what one small write and sync takes on this disk
// in the same run: the floor that belongs to the machine.
//
//	go test -run xxx -bench Onset -benchtime 100x ./internal/bench
func BenchmarkOnset(b *testing.B) {
	server, err := listen.Start(b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	defer server.Stop()
	b.Setenv("PULSE_SERVER", "unix:"+server.Socket)
	ear, err := server.Record()
	if err != nil {
		b.Fatal(err)
	}
	defer ear.Close()
	master, tty, err := pty.Open()
	if err != nil {
		b.Fatal(err)
	}
	defer master.Close()
	defer tty.Close()
	dir := b.TempDir()
	var positions []string
	for i := range 200 {
		positions = append(positions, fmt.Sprintf("\"p%d\"", i))
	}
	for name, text := range map[string]string{
		"bench.toml":    fmt.Sprintf(onsetBench, tty.Name()),
		"jobs/O-1.toml": fmt.Sprintf(onsetJob, strings.Join(positions, ", ")),
	} {
		fileIn(b, dir, name, text)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ready, ended := make(chan struct{}), make(chan error, 1)
	go func() {
		ended <- Run(ctx, Options{BenchFile: filepath.Join(dir, "bench.toml"), Job: "O-1", Log: zerolog.Nop(), Ready: func(*Daemon, string) { close(ready) }})
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
	time.Sleep(time.Second) // the port opens
	var took, synced []float64
	for b.Loop() {
		from := ear.Len()
		t0 := time.Now()
		if _, err := fmt.Fprintf(master, "+%.3f\r\n", 29.95+0.001*float64(len(took)%100)); err != nil {
			b.Fatal(err)
		}
		at, ok := ear.Onset(from, 5*time.Second)
		if !ok {
			b.Fatalf("no sound after press %d", len(took)+1)
		}
		took = append(took, float64(at.Sub(t0))/1e6)
		synced = append(synced, syncOnce(b, dir))
		time.Sleep(750 * time.Millisecond) // the tone ends
	}
	report := func(name string, v []float64) {
		slices.Sort(v)
		b.ReportMetric(v[len(v)/2], name+"-p50-ms")
		b.ReportMetric(v[len(v)*95/100], name+"-p95-ms")
	}
	report("onset", took)
	report("sync", synced)
	b.ReportMetric(0, "ns/op")
}

// syncOnce is the time of one small write and sync, in milliseconds.
func syncOnce(b *testing.B, dir string) float64 {
	f, err := os.OpenFile(filepath.Join(dir, "floor"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	t0 := time.Now()
	if _, err := f.Write(make([]byte, 300)); err != nil {
		b.Fatal(err)
	}
	if err := f.Sync(); err != nil {
		b.Fatal(err)
	}
	return float64(time.Since(t0)) / 1e6
}
