package record_test

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
	"time"

	"thouwright/internal/bench"
	"thouwright/internal/journal"
	"thouwright/internal/record"
)

// pdfOf names the folder that a process of its own makes a PDF of: only so is
// its memory that of the command alone.
const pdfOf = "RECORD_PDF_OF"

func TestMain(m *testing.M) {
	if dir := os.Getenv(pdfOf); dir != "" {
		if err := pdfAndPeak(dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// pdfAndPeak does what 'thouwright record DIR -o FILE.pdf' does and prints the
// most memory the process has held. (The kernel's ru_maxrss would count what
// the parent held when it started this process.)
func pdfAndPeak(dir string) error {
	f, err := journal.Load(dir)
	if err != nil {
		return err
	}
	proof, err := bench.Verify(dir)
	if err != nil {
		return err
	}
	if !proof.Holds {
		return fmt.Errorf("the logs do not hold: %+v", proof.Files)
	}
	r, err := record.Build(f, proof)
	if err != nil {
		return err
	}
	out, err := os.Create(filepath.Join(dir, "record.pdf"))
	if err != nil {
		return err
	}
	if err := r.Write(out, "pdf", record.Options{Made: time.Unix(0, 0).UTC()}); err != nil {
		return err
	}
	if err := out.Close(); err != nil {
		return err
	}
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return err
	}
	os.Stdout.Write(regexp.MustCompile(`VmHWM:.*`).Find(status))
	return nil
}

// BenchmarkPDF makes the PDF of sixty checks with a million readings in a
// process of its own. The aims are 5 s and 200 MB; the floor is reading the
// logs' bytes once.
func BenchmarkPDF(b *testing.B) {
	dir := sixtyOf(b, 1_000_000/60+1).dir
	var floor time.Duration
	var work time.Duration // of processors: a busy machine lengthens the wall clock only
	var peak float64
	for b.Loop() {
		b.StopTimer()
		start := time.Now()
		names, err := filepath.Glob(filepath.Join(dir, "*.csv"))
		if err != nil {
			b.Fatal(err)
		}
		for _, name := range names {
			f, err := os.Open(name)
			if err != nil {
				b.Fatal(err)
			}
			if _, err := io.Copy(struct{ io.Writer }{io.Discard}, f); err != nil {
				b.Fatal(err)
			}
			f.Close()
		}
		floor += time.Since(start)
		b.StartTimer()
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), pdfOf+"="+dir)
		var words bytes.Buffer
		cmd.Stderr = &words
		out, err := cmd.Output()
		if err != nil {
			b.Fatalf("%v: %s", err, &words)
		}
		kB, err := strconv.ParseFloat(regexp.MustCompile(`\d+`).FindString(string(out)), 64)
		if err != nil {
			b.Fatalf("no peak in %q", out)
		}
		peak = max(peak, kB/1000)
		work += cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	}
	b.ReportMetric(floor.Seconds()*1000/float64(b.N), "ms-bare-read/op")
	b.ReportMetric(work.Seconds()/float64(b.N), "cpu-s/op")
	b.ReportMetric(peak, "MB-peak")
}
