package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"thouwright/internal/simulate"
	"thouwright/internal/tape"
)

// streamCmd is 'stream MOVES TAPE' in a story: it makes the tape of a gauge that is
// moved as the file MOVES says, a line each:
//
//	gauge STEP NOISE       mm, ten readings a second
//	go PLACE SECONDS       glide there
//	hold SECONDS           stand
//	rock LOW HIGH STROKES  from stop to stop, held for a second at each
//	press PLACE SECONDS    go there and press the data button: of a gauge that sends
//	                       nothing else
func streamCmd(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: stream MOVES TAPE")
	}
	var p simulate.Path
	var pressed []simulate.Reading
	g := simulate.Gauge{Step: 0.001, Rate: 10}
	for n, line := range strings.Split(ts.ReadFile(args[0]), "\n") {
		word, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
		var v []float64
		for _, f := range strings.Fields(rest) {
			x, err := strconv.ParseFloat(f, 64)
			if err != nil {
				ts.Fatalf("%s:%d: %v", args[0], n+1, err)
			}
			v = append(v, x)
		}
		switch {
		case word == "" || word[0] == '#':
		case word == "gauge" && len(v) == 2:
			g.Step, g.Noise = v[0], v[1]
		case word == "go" && len(v) == 2:
			p.Glide(v[0], v[1])
		case word == "press" && len(v) == 2:
			p.Glide(v[0], v[1])
			pressed = append(pressed, simulate.Reading{T: p.End(), Value: v[0]})
		case word == "hold" && len(v) == 1:
			p.Hold(v[0], 0, 0)
		case word == "rock" && len(v) == 3:
			for k := range int(v[2]) + 1 {
				p.Glide(v[k%2], 0.3)
				p.Hold(1, 0, 0)
			}
		default:
			ts.Fatalf("%s:%d: %q is no move", args[0], n+1, line)
		}
	}
	_, decimals, _ := strings.Cut(strconv.FormatFloat(g.Step, 'f', -1, 64), ".")
	var out bytes.Buffer
	w, err := tape.NewWriter(&out, time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC))
	ts.Check(err)
	readings := pressed
	if readings == nil {
		readings = g.Read(&p, rand.New(rand.NewPCG(1, 2)))
	}
	for _, x := range readings {
		ts.Check(w.Chunk(int64(x.T*1e6), fmt.Appendf(nil, "%+.*f\r", len(decimals), x.Value)))
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), out.Bytes(), 0o644))
}
