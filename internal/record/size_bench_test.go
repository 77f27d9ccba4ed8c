package record_test

import (
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thouwright/internal/journal"
	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
	"thouwright/internal/record"
)

// largeJob writes a folder of so many checks with a take and so many readings
// each.
func largeJob(b *testing.B, checks, readings int) string {
	b.Helper()
	var sheet strings.Builder
	sheet.WriteString("number = \"L-1\"\nmachine = \"Tarnbeck T28\"\n[[component]]\nname = \"axle\"\n")
	for i := range checks {
		fmt.Fprintf(&sheet, "[[component.check]]\nname = \"play %d\"\nmethod = \"play\"\ngauge = \"dial-1\"\nlimits = \"0.020..0.150 mm\"\n", i)
	}
	j, _, err := journal.Open(journal.Options{Dir: b.TempDir(), Number: "L-1", Bulk: true})
	if err != nil {
		b.Fatal(err)
	}
	at := func(us int64) ledger.Stamp { return ledger.Stamp{Wall: 1_795_593_600_000_000 + us, Elapsed: us} }
	j.Event(ledger.Event{At: at(0), Kind: ledger.EvStart, Text: "thouwright"})
	j.Sheet(at(0), journal.Sheets{Job: []byte(sheet.String()), Bench: []byte("[[gauge]]\nname = \"dial-1\"\nport = \"tape:x\"\ndriver = \"signed-decimal\"\nunit = \"mm\"\n")})
	seq := uint64(0)
	for i := range checks {
		tag := &ledger.Tag{Component: "axle", Check: fmt.Sprintf("play %d", i)}
		first := seq + 1
		batch := make([]ledger.Reading, readings)
		for k := range batch {
			seq++
			v := 4000 + int64(50*math.Sin(float64(k)/300)) + int64(k%3)
			raw := fmt.Sprintf("+%d.%03d", v/1000, v%1000)
			d, err := quantity.ParseDecimal(raw)
			if err != nil {
				b.Fatal(err)
			}
			batch[k] = ledger.Reading{Seq: seq, At: at(int64(seq) * 10_000), Tag: tag, Gauge: "dial-1", Raw: []byte(raw), Value: d, HasVal: true, Unit: quantity.MM, Step: 0.001}
		}
		j.Readings(batch)
		t := ledger.Take{Take: uint64(i + 1), At: at(int64(seq) * 10_000), Tag: *tag, Method: "play", Gauge: "dial-1", Unit: quantity.MM, Result: 0.1, U95: 0.002,
			Low: 0.02, High: 0.15, Verdict: ledger.Pass, PIn: 1, Dof: 20, Confidence: 0.95, Strokes: 8, FirstSeq: first, LastSeq: seq, Sheet: 1}
		for k := range 9 {
			side := "+"
			if k%2 == 1 {
				side = "-"
			}
			t.Rests = append(t.Rests, ledger.Rest{Rest: k + 1, FirstSeq: first, LastSeq: seq, T: float64(first)/100 + float64(k), Side: side, Value: 4, Used: true})
		}
		j.Take(t)
	}
	if err := j.Close(context.Background(), at(int64(seq)*10_000)); err != nil {
		b.Fatal(err)
	}
	return j.Dir()
}

// peak is the most memory this process has held since reset, MB (Linux).
func peak() float64 {
	text, _ := os.ReadFile("/proc/self/status")
	var kB float64
	if i := strings.Index(string(text), "VmHWM:"); i >= 0 {
		fmt.Sscanf(string(text[i:]), "VmHWM: %f", &kB)
	}
	return kB / 1024
}

// spent is the processor time this process has used, seconds (Linux, to 10 ms).
func spent() float64 {
	text, _ := os.ReadFile("/proc/self/stat")
	fields := strings.Fields(string(text[strings.LastIndexByte(string(text), ')')+1:]))
	var user, system float64
	if len(fields) > 12 {
		fmt.Sscan(fields[11], &user)
		fmt.Sscan(fields[12], &system)
	}
	return (user + system) / 100
}

// BenchmarkLargeJobPDF makes the PDF of 60 checks and a million readings, from
// the folder on, as the command does; its floor is a bare read of the readings.
//
//	go test -run '^$' -bench LargeJobPDF -benchtime 3x ./internal/record
func BenchmarkLargeJobPDF(b *testing.B) {
	dir := largeJob(b, 60, 1_000_000/60+1)
	var read time.Duration
	_ = os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) // the peak counts from here
	cpu := spent()
	for b.Loop() {
		began := time.Now()
		files, _ := filepath.Glob(filepath.Join(dir, "*.csv"))
		for _, name := range files {
			f, err := os.Open(name)
			if err != nil {
				b.Fatal(err)
			}
			if _, err := io.Copy(io.Discard, struct{ io.Reader }{f}); err != nil {
				b.Fatal(err)
			}
			f.Close()
		}
		read += time.Since(began)
		f, err := journal.Load(dir)
		if err != nil {
			b.Fatal(err)
		}
		proof, err := journal.Verify(dir)
		if err != nil || !proof.Holds {
			b.Fatal(err, proof)
		}
		r, err := record.Build(f, proof)
		if err != nil {
			b.Fatal(err)
		}
		if err := r.Write(io.Discard, "pdf", record.Options{Made: time.Unix(0, 0)}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(read.Milliseconds())/float64(b.N), "floor-ms/op")
	b.ReportMetric((spent()-cpu)/float64(b.N), "cpu-s/op")
	b.ReportMetric(peak(), "peak-MB")
}
