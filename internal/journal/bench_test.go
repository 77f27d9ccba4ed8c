package journal

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"thouwright/internal/ledger"
)

// BenchmarkReadings is the journal's share of a replay: batches of 64 readings
// handed over, formatted, chained, written, and at the end synced. The aim is
// under 700 ns a reading on the journal's own goroutine, without allocation.
func BenchmarkReadings(b *testing.B) {
	const size = 64
	free := make(chan []ledger.Reading, 256)
	j, _, err := Open(Options{Dir: b.TempDir(), Number: "7", Bulk: true, Recycle: func(x []ledger.Reading) { free <- x }})
	if err != nil {
		b.Fatal(err)
	}
	for range cap(free) {
		free <- batch(0, size)
	}
	seq := uint64(0)
	b.ReportAllocs()
	for b.Loop() {
		x := <-free
		for i := range x {
			seq++
			x[i].Seq, x[i].At = seq, ledger.Stamp{Wall: start + int64(seq)*1000, Elapsed: int64(seq) * 1000}
		}
		j.Readings(x)
	}
	if err := j.Close(context.Background(), stamp(0)); err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(seq), "ns/reading")
	b.ReportMetric(float64(seq)/b.Elapsed().Seconds(), "readings/s")
}

// BenchmarkReceipt is the time from a take's hand-over to its receipt, with a
// gauge's readings in between; BenchmarkBareSync is the floor of the same disk:
// the same number of bare writes and syncs, three behind each other.
func BenchmarkReceipt(b *testing.B) {
	got := make(chan time.Time, 1)
	j, _, err := Open(Options{Dir: b.TempDir(), Number: "7", Receipt: func(r Receipt) {
		if r.Take != nil {
			got <- time.Now()
		}
	}})
	if err != nil {
		b.Fatal(err)
	}
	seq, n := uint64(0), uint64(0)
	for b.Loop() {
		j.Readings(batch(seq, 10))
		seq += 10
		n++
		j.Take(take(n, seq-9, seq))
		<-got
	}
	if err := j.Close(context.Background(), stamp(seq)); err != nil {
		b.Fatal(err)
	}
}

func BenchmarkBareSync(b *testing.B) {
	dir := b.TempDir()
	var files [3]*os.File
	for i := range files {
		f, err := os.OpenFile(filepath.Join(dir, string(rune('a'+i))), os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o644)
		if err != nil {
			b.Fatal(err)
		}
		defer f.Close()
		files[i] = f
	}
	row := make([]byte, 200)
	for b.Loop() {
		for _, f := range files {
			if _, err := f.Write(row); err != nil {
				b.Fatal(err)
			}
			if err := f.Sync(); err != nil {
				b.Fatal(err)
			}
		}
	}
}

// BenchmarkLoad reads a folder of 200,000 readings through.
func BenchmarkLoad(b *testing.B) {
	j, _, err := Open(Options{Dir: b.TempDir(), Number: "7", Bulk: true})
	if err != nil {
		b.Fatal(err)
	}
	const n = 200_000
	for seq := uint64(0); seq < n; seq += 100 {
		j.Readings(batch(seq, 100))
	}
	if err := j.Close(context.Background(), stamp(0)); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		f, err := Load(j.Dir())
		if err != nil {
			b.Fatal(err)
		}
		for _, err := range f.Readings() {
			if err != nil {
				b.Fatal(err)
			}
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*n), "ns/reading")
}

// BenchmarkVerify is the same for verify.
func BenchmarkVerify(b *testing.B) {
	j, _, err := Open(Options{Dir: b.TempDir(), Number: "7", Bulk: true})
	if err != nil {
		b.Fatal(err)
	}
	const n = 200_000
	for seq := uint64(0); seq < n; seq += 100 {
		j.Readings(batch(seq, 100))
	}
	if err := j.Close(context.Background(), stamp(0)); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if r, err := Verify(j.Dir()); err != nil || !r.Holds {
			b.Fatal(err, r)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*n), "ns/reading")
}
