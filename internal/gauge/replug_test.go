package gauge

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

// A gauge that was pulled and comes back under another number: from the moment
// its name stands there again to its first bytes. The aim is 1 s at most.
func BenchmarkReplugged(b *testing.B) {
	name := filepath.Join(b.TempDir(), "serial", "by-id", "usb-dial")
	os.MkdirAll(filepath.Dir(name), 0o755)
	r := newRecorder()
	keep(b, Plan{Address: name}, r)
	r.sees(b, "waiting")
	var took []time.Duration
	for b.Loop() {
		time.Sleep(300 * time.Millisecond) // its pauses have grown by then
		began := time.Now()
		m := plug(b, name)
		r.until(b, "up", func() bool { return r.events[len(r.events)-1] == "up" })
		send(b, m, "1\r\n")
		r.gets(b, "1\r\n")
		took = append(took, time.Since(began))
		os.Remove(name)
		m.Close()
		r.sees(b, "waiting")
	}
	slices.Sort(took)
	ms := func(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
	b.ReportMetric(ms(took[len(took)/2]), "ms-median")
	b.ReportMetric(ms(took[len(took)*95/100]), "ms-p95")
	b.ReportMetric(ms(took[len(took)-1]), "ms-worst")
	b.ReportMetric(0, "ns/op")
}
