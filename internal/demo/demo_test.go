//go:build !windows

package demo

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"thouwright/internal/bench"
)

// Of a second job every take is told once, as of the first.
func TestEveryJobIsToldOnce(t *testing.T) {
	dir := t.TempDir()
	clock := bench.NewClock(quickSpeed)
	s, err := newStage(clock, quickSpeed)
	if err != nil {
		t.Fatal(err)
	}
	defer s.close()
	benchFile := filepath.Join(dir, "bench.toml")
	number, err := writeFiles(dir, benchFile, s, "127.0.0.1:0", 1)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	var mu sync.Mutex
	var said []string
	err = bench.Run(ctx, bench.Options{BenchFile: benchFile, Job: number, Clock: clock, Log: zerolog.Nop(), Ready: func(d *bench.Daemon, _ string) {
		go func() {
			defer cancel()
			s.send(ctx)
			for n := range 2 { // each job is left after its first take
				ctx, leave := context.WithCancel(ctx)
				s.job(ctx, d, func(line string) {
					mu.Lock()
					defer mu.Unlock()
					said = append(said, line)
					if strings.HasPrefix(line, "  take") {
						leave()
					}
				}, n+1)
				leave()
			}
		}()
	}})
	if err != nil {
		t.Fatal(err)
	}
	mu.Lock()
	defer mu.Unlock()
	if all := strings.Join(said, "\n"); strings.Count(all, "  take 1,") != 1 || strings.Count(all, "  take 2,") != 1 {
		t.Errorf("told\n%s", all)
	}
}

// A person's own bench file is not written over, and the demo's own is.
func TestYourBenchFileIsKept(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "bench.toml")
	if err := os.WriteFile(file, []byte("log_dir = \"logs\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Run(context.Background(), Options{Dir: dir, Listen: "127.0.0.1:0", Quick: true}); err == nil || !strings.Contains(err.Error(), file+" is not the demo's") {
		t.Errorf("%v", err)
	}
	if b, _ := os.ReadFile(file); string(b) != "log_dir = \"logs\"\n" {
		t.Errorf("the file is now %q", b)
	}
	if err := os.WriteFile(file, []byte(benchText), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := notYours(file); err != nil {
		t.Error(err)
	}
	// A demo played again where one was before works at a job of its own.
	if err := os.MkdirAll(logsOf(dir, 1), 0o755); err != nil {
		t.Fatal(err)
	}
	if n := firstFree(dir); n != 2 || numberOf(n) != "T28-0117-2" {
		t.Errorf("job %d, %s", n, numberOf(n))
	}
}

// A crooked address is named as the flag it was given by, and no folder is left.
func TestListenIsLookedAtFirst(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	if _, err := Run(context.Background(), Options{Dir: dir, Listen: "nonsense", Quick: true}); err == nil || !strings.HasPrefix(err.Error(), `--listen: found "nonsense", expected address:port`) {
		t.Errorf("%v", err)
	}
	if _, err := os.Stat(dir); err == nil {
		t.Error("its folder was made")
	}
}
