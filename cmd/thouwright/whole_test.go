//go:build !windows

package main

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"thouwright/internal/journal"
	"thouwright/internal/ledger"
)

// binary builds the program once, as a person would.
var binary = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "thouwright-test-")
	if err != nil {
		return "", err
	}
	file := filepath.Join(dir, "thouwright")
	if out, err := exec.Command("go", "build", "-o", file, ".").CombinedOutput(); err != nil {
		return "", fmt.Errorf("go build: %w\n%s", err, out)
	}
	return file, nil
})

func program(t *testing.T) string {
	t.Helper()
	file, err := binary()
	if err != nil {
		t.Fatal(err)
	}
	return file
}

// The whole main job by the real program on real pseudo-terminals: the takes
// are those of the simulated machine's truth, within their uncertainty, with
// the verdicts they must have; and the tapes give every row again.
func TestWholeJob(t *testing.T) {
	dir := t.TempDir()
	var errs bytes.Buffer
	cmd := exec.Command(program(t), "demo", "--quick", "--dir", dir, "--listen", "127.0.0.1:0")
	cmd.Stderr = &errs
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v\n%s\n%s", err, out, &errs)
	}
	job := filepath.Join(dir, "logs", "T28-0117")
	for _, want := range []string{"the page: http://127.0.0.1:", "the job's folder: " + job, "too loose by", "UNDECIDED. ", "would decide it: the result known to"} {
		if !strings.Contains(string(out), want) {
			t.Errorf("the demo does not say %q:\n%s", want, out)
		}
	}
	f, err := journal.Load(job)
	if err != nil {
		t.Fatal(err)
	}
	truth := []struct {
		check, position string
		value           float64
		verdict         ledger.Verdict
	}{
		{"play in bushes", "straight ahead", 0.214, ledger.Fail},
		{"play in bushes", "left lock", 0.086, ledger.Pass},
		{"play in bushes", "right lock", 0.150, ledger.Undecided},
		{"diameter", "upper bush", 27.968, ledger.Pass},
		{"bore", "upper bush", 28.019, ledger.Pass},
		{"clearance on the pin", "", 0.051, ledger.Pass},
		{"end play", "", 0.063, ledger.Pass},
		{"run-out of the rim", "", 0.112, ledger.Pass},
		{"turning drag", "", 14.0 * 0.180, ledger.Pass},
	}
	for _, want := range truth {
		var got *ledger.Take
		for i := range f.Takes {
			if x := &f.Takes[i]; x.Tag.Check == want.check && x.Tag.Position == want.position {
				got = x // the last one counts
			}
		}
		if got == nil {
			t.Errorf("%s, %s: no take", want.check, want.position)
			continue
		}
		if math.Abs(got.Result-want.value) > 1.5*got.U95+0.002 {
			t.Errorf("%s, %s: %g ± %g, the truth is %g", want.check, want.position, got.Result, got.U95, want.value)
		}
		if got.Verdict != want.verdict {
			t.Errorf("%s, %s: %s, want %s", want.check, want.position, got.Verdict, want.verdict)
		}
	}
	var adjusted []ledger.Verdict
	for i := range f.Takes {
		if f.Takes[i].Method == "end-play" {
			adjusted = append(adjusted, f.Takes[i].Verdict)
		}
	}
	if n := len(adjusted); n < 3 || adjusted[0] != ledger.Fail || adjusted[n-1] != ledger.Pass {
		t.Errorf("the nut's takes: %v, want fail first and pass last", adjusted)
	}
	playAgain(t, dir, job)
}

// playAgain replays a job's tapes with the real program and compares the files.
func playAgain(t *testing.T, dir, job string) {
	t.Helper()
	args := []string{"replay", "-b", filepath.Join(dir, "bench.toml"), "-j", "T28-0117", "-o", filepath.Join(dir, "again")}
	tapes, err := filepath.Glob(filepath.Join(job, "tapes", "*.tape"))
	if err != nil || len(tapes) < 5 {
		t.Fatalf("tapes: %v %v", tapes, err)
	}
	for _, file := range tapes {
		args = append(args, "-g", strings.TrimSuffix(filepath.Base(file), ".tape")+"="+file)
	}
	if out, err := exec.Command(program(t), args...).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for _, f := range ledger.Files {
		want, err1 := os.ReadFile(filepath.Join(job, f.Name))
		got, err2 := os.ReadFile(filepath.Join(dir, "again", "T28-0117", f.Name))
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		if f.Name == ledger.EventsFile.Name { // the last row sums up the tapes, which a replay has none of
			want, got = beforeLastRow(want), beforeLastRow(got)
		}
		if !bytes.Equal(want, got) {
			t.Errorf("%s: the replay differs from the run", f.Name)
		}
	}
}

func beforeLastRow(b []byte) []byte {
	return b[:bytes.LastIndexByte(bytes.TrimSuffix(b, []byte("\n")), '\n')+1]
}

// The daemon starts with every gauge missing, and a signal stops it in order.
func TestRunStopsInOrder(t *testing.T) {
	for _, sig := range []syscall.Signal{syscall.SIGTERM, syscall.SIGINT} {
		dir := t.TempDir()
		text := "log_dir = \"logs\"\n[[gauge]]\nname = \"dial-1\"\nport = \"/dev/serial/by-id/nothing-there\"\ndriver = \"signed-decimal\"\nunit = \"in\"\n[sound]\noutput = \"none\"\n[page]\nlisten = \"127.0.0.1:0\"\n"
		if err := os.WriteFile(filepath.Join(dir, "bench.toml"), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(program(t), "run", "-b", filepath.Join(dir, "bench.toml"))
		log := &syncBuffer{}
		cmd.Stderr = log
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		log.waitFor(t, regexp.MustCompile(`"message":"running"`))
		if err := cmd.Process.Signal(sig); err != nil {
			t.Fatal(err)
		}
		if err := cmd.Wait(); err != nil {
			t.Errorf("%v: %v\n%s", sig, err, log)
		}
		f, err := journal.Load(filepath.Join(dir, "logs", "loose"))
		if err != nil {
			t.Fatal(err)
		}
		kinds := ""
		for _, e := range f.Events {
			kinds += string(e.Kind) + " "
		}
		if !strings.HasPrefix(kinds, "start ") || !strings.Contains(kinds, "stop anchor") {
			t.Errorf("%v: events %s", sig, kinds)
		}
	}
}

// syncBuffer is a program's output that can be waited on.
type syncBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *syncBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *syncBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}

func (b *syncBuffer) waitFor(t *testing.T, re *regexp.Regexp) {
	t.Helper()
	for range 600 {
		if re.MatchString(b.String()) {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatalf("never said %s:\n%s", re, b)
}
