package sound

import (
	"slices"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"thouwright/config"
)

// BenchmarkOnset measures from the call to the first sample of the tone in what
// a real sound server played. The sink plays into nothing: a loudspeaker adds
// its own buffer. Run: go test -run xxx -bench Onset -benchtime 100x ./internal/sound
func BenchmarkOnset(b *testing.B) {
	p, r := bench(b, config.Sound{Output: "pulse"})
	p.Play(Pass)
	heard(b, p, r, 0)
	var took []float64
	for b.Loop() {
		from := r.Len()
		t0 := time.Now()
		p.Play(Pass)
		at, ok := r.Onset(from, patience)
		if !ok {
			b.Fatal("not heard")
		}
		took = append(took, float64(at.Sub(t0))/1e6)
		time.Sleep(750 * time.Millisecond)
	}
	slices.Sort(took)
	b.ReportMetric(took[len(took)/2], "ms-p50")
	b.ReportMetric(took[len(took)*95/100], "ms-p95")
	b.ReportMetric(took[len(took)-1], "ms-max")
	b.ReportMetric(0, "ns/op")
}

// BenchmarkPlayCall measures what a call costs the one who asks.
func BenchmarkPlayCall(b *testing.B) {
	p := New(config.Sound{Output: "none", Volume: 0.5}, zerolog.Nop())
	defer p.Close()
	b.ReportAllocs()
	for b.Loop() {
		p.Play(Pass)
	}
}
