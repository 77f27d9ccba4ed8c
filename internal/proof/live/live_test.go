package live

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"go.uber.org/goleak"

	"thouwright/config"
	"thouwright/internal/port"
	"thouwright/internal/proof"
	"thouwright/internal/quantity"
)

// fast is a clock that runs ten times as fast.
type fast struct{ start time.Time }

func (f fast) Now() time.Time { return f.start.Add(10 * time.Since(f.start)) }
func (f fast) After(d time.Duration) <-chan time.Time {
	return time.After(d / 10)
}

// says collects lines from several goroutines.
type says struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *says) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *says) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

func benchOn(t *testing.T, address, more string) *config.Bench {
	t.Helper()
	file := filepath.Join(t.TempDir(), "bench.toml")
	text := fmt.Sprintf("log_dir = \"logs\"\n[[gauge]]\nname = \"dial-1\"\nport = %q\ndriver = \"signed-decimal\"\nunit = \"mm\"\n%s", address, more)
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	b, ps := config.LoadBench(file)
	if config.Refused(ps) {
		t.Fatal(ps)
	}
	return b
}

// A real terminal line: the gauge is stepped over two blocks, and the proof
// ends by itself after the rests that were wanted.
func TestOverATerminal(t *testing.T) {
	defer goleak.VerifyNone(t)
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	name := slave.Name()
	slave.Close()
	defer master.Close()
	out := &says{}
	p, err := New(benchOn(t, name, ""), "dial-1", out)
	if err != nil {
		t.Fatal(err)
	}
	p.Wanted = 8
	stop := make(chan struct{})
	var writer sync.WaitGroup
	writer.Go(func() { // ten readings a second, as the fast clock tells
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			case <-time.After(10 * time.Millisecond):
			}
			x := 0.412
			switch phase := i / 10 % 2; {
			case i%10 < 2: // on the way
				x = 0.412 + 0.251*(0.3+0.4*float64(i%10)+float64(phase)*(0.4-0.8*float64(i%10)))
			case phase == 1:
				x = 0.663
			}
			if _, err := fmt.Fprintf(master, "%+.3f\r\n", x); err != nil {
				return
			}
		}
	})
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	err = p.Port(ctx, port.Open, fast{time.Now()}, nil)
	close(stop)
	writer.Wait()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	rests, step, unit := p.Rests()
	if unit != quantity.MM || step != 0.001 || len(rests) < 8 || len(rests) > 10 {
		t.Fatalf("%v, step %v, %s", unit, step, out)
	}
	res, err := proof.Solve(rests, proof.Standard{Sizes: []float64{1, 1.25}}, step)
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if math.Abs(res.Error.Value-0.001) > 0.0003 {
		t.Errorf("error %+v, true 0.001", res.Error)
	}
}

func TestEndsWhenTold(t *testing.T) {
	defer goleak.VerifyNone(t)
	out := &says{}
	p, err := New(benchOn(t, filepath.Join(t.TempDir(), "nowhere"), ""), "dial-1", out)
	if err != nil {
		t.Fatal(err)
	}
	enough := make(chan struct{})
	time.AfterFunc(50*time.Millisecond, func() { close(enough) })
	if err := p.Port(context.Background(), port.Open, port.WallClock{}, enough); err != nil {
		t.Fatal(err)
	}
	if rests, _, unit := p.Rests(); len(rests) != 0 || unit != quantity.None {
		t.Errorf("rests from nowhere: %v", rests)
	}
	if !strings.Contains(out.String(), "nowhere") {
		t.Errorf("a missing port is not told: %q", out)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := p.Port(ctx, port.Open, port.WallClock{}, nil); err == nil {
		t.Error("a proof that was given up is no error")
	}
}

func TestMixedUnits(t *testing.T) {
	tape := filepath.Join(t.TempDir(), "t.tape")
	line := func(at float64, s string) string { return fmt.Sprintf("%.3f\t%x\n", at, s) }
	// A gauge switched to inches half-way is converted; one that turns to
	// newtons is an error.
	var b strings.Builder
	for i := range 10 {
		b.WriteString(line(0.1*float64(i), "1.000 mm\r"))
	}
	for i := range 10 {
		b.WriteString(line(1+0.1*float64(i), "0.0393701 in\r"))
	}
	good := b.String()
	for text, want := range map[string]string{good: "", good + line(3, "5 N\r"): "sent N after mm", "x": "t.tape:1"} {
		if err := os.WriteFile(tape, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		p, err := New(benchOn(t, "/dev/none", ""), "dial-1", &says{})
		if err != nil {
			t.Fatal(err)
		}
		err = p.Tape(tape)
		if want == "" {
			rests, _, unit := p.Rests()
			if err != nil || len(rests) != 1 || unit != quantity.MM || math.Abs(rests[0].Value-1) > 1e-6 {
				t.Errorf("%v: %v in %v", err, rests, unit)
			}
		} else if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
	if _, err := New(benchOn(t, "/dev/none", ""), "dial-2", &says{}); err == nil || !strings.Contains(err.Error(), "there are dial-1") {
		t.Errorf("an unknown gauge: %v", err)
	}
}
