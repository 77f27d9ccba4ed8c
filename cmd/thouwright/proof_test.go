//go:build !windows

package main

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
)

// hand steps a gauge over places of a known standard, each time it is told that
// a rest was found, as a person does who looks at the blocks and listens.
type hand struct {
	places     []float64 // mm, in the order of the walk, over and over
	reads      func(x float64, from int) float64
	told       *syncBuffer
	restsFound *regexp.Regexp
}

// work writes the gauge's stream until the line is closed: twenty readings a
// second, a movement of four readings to the next place.
func (h *hand) work(line io.Writer) {
	at, from, found := 0, +1, 0
	x := h.places[0]
	send := func(x float64) bool {
		time.Sleep(50 * time.Millisecond)
		_, err := fmt.Fprintf(line, "%+.3f\r\n", h.reads(x, from))
		return err == nil
	}
	for {
		if !send(x) {
			return
		}
		if n := len(h.restsFound.FindAllString(h.told.String(), -1)); n > found {
			found = n
			at = (at + 1) % len(h.places)
			to := h.places[at]
			if from = +1; to < x {
				from = -1
			}
			for k := 1; k <= 4; k++ {
				if !send(x + (to-x)*float64(k)/5) {
					return
				}
			}
			x = to
		}
	}
}

// proving runs the real program on a pseudo-terminal with a hand at it; it gives
// what it wrote and the bench file.
func proving(t *testing.T, h *hand, enterAfter string, args ...string) (out, told, bench string) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	port := slave.Name()
	slave.Close()
	defer master.Close()
	file := filepath.Join(t.TempDir(), "bench.toml")
	text := fmt.Sprintf("log_dir = \"logs\"\n\n# my best one\n[[gauge]]\nname = \"dial-1\"   # the old one\nport = %q\ndriver = \"signed-decimal\"\nunit = \"mm\"\n", port)
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program(t), append([]string{"proof", "dial-1", "-b", file, "--write"}, args...)...)
	var results bytes.Buffer
	h.told, h.restsFound = &syncBuffer{}, regexp.MustCompile(`(?m)^rest \d+: `)
	cmd.Stdout, cmd.Stderr = &results, h.told
	enter, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go h.work(master)
	if enterAfter != "" {
		h.told.waitFor(t, regexp.MustCompile(enterAfter))
		fmt.Fprintln(enter)
	}
	if err := cmd.Wait(); err != nil {
		t.Fatalf("%v\n%s\n%s", err, &results, h.told)
	}
	after, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(string(after), text[:strings.Index(text, "driver")]) {
		t.Errorf("what stood in the bench file has changed:\n%s", after)
	}
	if out, err := exec.Command(program(t), "check", "-b", file).CombinedOutput(); err != nil {
		t.Errorf("check of the written bench file: %v\n%s", err, out)
	}
	return results.String(), h.told.String(), string(after)
}

// written is a key's number in the bench file, which must stand there just once.
func written(t *testing.T, bench, pattern string) float64 {
	t.Helper()
	m := regexp.MustCompile(pattern).FindAllStringSubmatch(bench, -1)
	if len(m) != 1 {
		t.Fatalf("%s: found %d times in\n%s", pattern, len(m), bench)
	}
	v, err := strconv.ParseFloat(m[0][1], 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Three blocks, up and down: the gauge's error over them and its hysteresis, as
// the simulated gauge has them, stand in the bench file.
func TestProofOverBlocks(t *testing.T) {
	t.Parallel()
	// Reads 1 % long and lags by 4 µm.
	h := &hand{places: []float64{1.000, 1.100, 1.250, 1.100}, reads: func(x float64, from int) float64 {
		return 0.412 + 1.010*(x-1) - float64(from)*0.002
	}}
	out, told, bench := proving(t, h, "", "--blocks", "1.000 mm, 1.100 mm, 1.250 mm", "--u95", "0.0002 mm", "--rests", "13")
	if e := written(t, bench, `(?m)^error_local = "([0-9.]+) mm over 0\.25 mm"$`); e < 0.0025 || e > 0.0045 {
		t.Errorf("error_local is %v mm, true 0.0025:\n%s", e, out)
	}
	if e := written(t, bench, `(?m)^hysteresis = "([0-9.]+) mm"$`); e < 0.004 || e > 0.0055 {
		t.Errorf("hysteresis is %v mm, true 0.004:\n%s", e, out)
	}
	// Each block is named as it was written, and the next one as it was walked.
	names := map[float64]string{1.000: "1.000 mm", 1.100: "1.100 mm", 1.250: "1.250 mm"}
	for n := 4; n <= 12; n++ { // every block was seen by then
		want := fmt.Sprintf(": on %s; next %s\n", names[h.places[(n-1)%4]], names[h.places[n%4]])
		line := regexp.MustCompile(fmt.Sprintf(`(?m)^rest %d: .*\n`, n)).FindString(told)
		if !strings.HasSuffix(line, want) {
			t.Errorf("rest %d is told as %q, expected %q", n, line, want)
		}
	}
}

// Two blocks tell the error alone, and that says so.
func TestProofOverTwoBlocks(t *testing.T) {
	t.Parallel()
	h := &hand{places: []float64{1.000, 1.250}, reads: func(x float64, _ int) float64 { return 0.412 - 1.012*(x-1) }} // counts down
	out, _, bench := proving(t, h, "", "--blocks", "1.000 mm, 1.250 mm")
	if e := written(t, bench, `(?m)^error_local = "([0-9.]+) mm over 0\.25 mm"$`); e < 0.003 || e > 0.0045 {
		t.Errorf("error_local is %v mm, true 0.003:\n%s", e, out)
	}
	if strings.Contains(bench, "hysteresis") || !strings.Contains(out, "each size was reached from one side only") {
		t.Errorf("hysteresis from two blocks:\n%s\n%s", bench, out)
	}
}

// A screw of 0.5 mm pitch, turned by a tenth of a turn at a time; Enter ends it.
func TestProofByAScrew(t *testing.T) {
	t.Parallel()
	var places []float64
	for i := range 6 {
		places = append(places, 2+0.05*float64(i))
	}
	for i := 4; i > 0; i-- {
		places = append(places, 2+0.05*float64(i))
	}
	h := &hand{places: places, reads: func(x float64, from int) float64 {
		return 0.7 + (x - 2) + 0.003*math.Sin(2*math.Pi*(x-2)/0.25) - float64(from)*0.0015
	}}
	// The largest error is between 0.05 and 0.2: twice 0.003 sin 72°. Without
	// noise a bound of 95 % may miss it, but by less than the step.
	const truth, step = 2 * 0.003 * 0.95106, 0.001
	out, told, bench := proving(t, h, `(?m)^rest 21: `, "--screw", "0.5 mm", "--marks", "10")
	if e := written(t, bench, `(?m)^error_local = "([0-9.]+) mm over 0\.25 mm"$`); e < truth-step || e > truth+0.0025 {
		t.Errorf("error_local is %v mm, true %v:\n%s\n%s", e, truth, out, told)
	}
	if e := written(t, bench, `(?m)^hysteresis = "([0-9.]+) mm"$`); e < 0.003 || e > 0.0045 {
		t.Errorf("hysteresis is %v mm, true 0.003:\n%s", e, out)
	}
}
