package sound

import (
	"context"
	"os"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
)

// A newer text replaces one that waits; the one in hand is finished.
func TestNewerTextReplacesOneThatWaits(t *testing.T) { synctest.Test(t, newerText) }

func newerText(t *testing.T) {
	p, r := withRecorder(t)
	var mu sync.Mutex
	var made []string
	p.voice.program = "fake"
	p.voice.run = fakeVoice(&mu, &made)
	p.Say("one")
	r.next(t, "speech")
	p.Say("two")
	p.Say("three")
	r.none(t)
	close(r.hold)
	r.next(t, "speech")
	r.none(t)
	mu.Lock()
	defer mu.Unlock()
	if !slices.Equal(made, []string{"one", "three"}) {
		t.Errorf("made %v", made)
	}
}

func TestWAVIsReadOrRefused(t *testing.T) {
	out, err := os.ReadFile("testdata/short.wav")
	if err != nil {
		t.Fatal(err)
	}
	pcm, rate, err := readWAV(out)
	if err != nil || rate != 22050 || len(pcm) != 220 {
		t.Errorf("%d samples at %d, %v", len(pcm), rate, err)
	}
	for n := range out {
		readWAV(out[:n]) // no panic
		bad := slices.Clone(out)
		bad[n] ^= 0xFF
		readWAV(bad)
	}
}

func fakeVoice(mu *sync.Mutex, made *[]string) func(context.Context, string, string) ([]int16, int, error) {
	return func(_ context.Context, _, text string) ([]int16, int, error) {
		mu.Lock()
		defer mu.Unlock()
		*made = append(*made, text)
		return make([]int16, 100), 22050, nil
	}
}
