//go:build linux

package main

import (
	"encoding/csv"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"syscall"
	"time"

	"github.com/creack/pty"
)

// starts measures from starting the program to its first reading, by that
// reading's own time in readings.csv, with a gauge that sends every 2 ms. The
// floor is a start of the same program that does next to nothing.
func starts(bin, dir string, n int) error {
	var ours, floor []time.Duration
	for i := range n {
		d, err := oneStart(bin, filepath.Join(dir, fmt.Sprint("start", i)))
		if err != nil {
			return err
		}
		ours = append(ours, d)
		began := time.Now()
		if err := exec.Command(bin, "--help").Run(); err != nil {
			return err
		}
		floor = append(floor, time.Since(began))
	}
	slices.Sort(ours)
	slices.Sort(floor)
	fmt.Printf("%d starts\n\n| what | median, ms | slowest, ms |\n| --- | ---: | ---: |\n", n)
	row := func(name string, d []time.Duration) {
		fmt.Printf("| %s | %.0f | %.0f |\n", name, d[n/2].Seconds()*1e3, d[n-1].Seconds()*1e3)
	}
	row("thouwright run, to its first reading", ours)
	row("floor: thouwright --help, start to end", floor)
	return nil
}

func oneStart(bin, dir string) (time.Duration, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return 0, err
	}
	master, tty, err := pty.Open()
	if err != nil {
		return 0, err
	}
	defer master.Close()
	defer tty.Close()
	plain(tty)
	text := fmt.Sprintf("log_dir = \"logs\"\n[sound]\noutput = \"none\"\n[page]\nlisten = \"127.0.0.1:0\"\n[[gauge]]\nname = \"g0\"\nport = %q\ndriver = \"signed-decimal\"\nunit = \"mm\"\n", tty.Name())
	if err := os.WriteFile(filepath.Join(dir, "bench.toml"), []byte(text), 0o644); err != nil {
		return 0, err
	}
	stop, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		for {
			select {
			case <-stop:
				return
			case <-time.After(2 * time.Millisecond):
				// Before the port is open nobody reads: the kernel holds some, and
				// the rest must not block.
				if q, err := queued(tty); err == nil && q < 1000 {
					master.WriteString("+1.234\r\n")
				}
			}
		}
	}()
	defer func() { close(stop); <-stopped }()
	cmd := exec.Command(bin, "run", "-b", filepath.Join(dir, "bench.toml"))
	began := time.Now()
	if err := cmd.Start(); err != nil {
		return 0, err
	}
	log := filepath.Join(dir, "logs", "loose", "readings.csv")
	for until := began.Add(20 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		if at, ok := firstTime(log); ok {
			cmd.Process.Signal(syscall.SIGTERM)
			return at.Sub(began), cmd.Wait()
		}
		if time.Now().After(until) {
			cmd.Process.Kill()
			cmd.Wait()
			return 0, fmt.Errorf("no reading within 20 s of the start")
		}
	}
}

// firstTime is the time of the first row of readings.csv, once it is there.
func firstTime(log string) (time.Time, bool) {
	f, err := os.Open(log)
	if err != nil {
		return time.Time{}, false
	}
	defer f.Close()
	r := csv.NewReader(f)
	if _, err := r.Read(); err != nil {
		return time.Time{}, false
	}
	row, err := r.Read()
	if err != nil || len(row) < 2 {
		return time.Time{}, false
	}
	at, err := time.Parse(time.RFC3339Nano, row[1])
	return at, err == nil
}
