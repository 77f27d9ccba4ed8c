package gauge

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"thouwright/internal/ledger"
)

// edge is a change of the line at a millisecond.
type edge struct {
	ms int64
	on bool
}

// stepped is what the pedal makes of the edges, with its timers run when due
// until the end.
func stepped(edges []edge, end int64) (got []Press) {
	var p Pedal
	add := func(x Press) {
		if x != NoPress {
			got = append(got, x)
		}
	}
	run := func(ms int64) {
		for p.Deadline() <= ms*1000 {
			add(p.Tick(p.Deadline()))
		}
	}
	for _, e := range edges {
		run(e.ms)
		add(p.Edge(e.on, e.ms*1000))
	}
	run(end)
	return got
}

func TestPedal(t *testing.T) {
	off := edge{0, false}
	for name, c := range map[string]struct {
		edges []edge
		want  []Press
	}{
		"nothing":            {[]edge{off}, nil},
		"short":              {[]edge{off, {1000, true}, {1200, false}}, []Press{Short}},
		"just short":         {[]edge{off, {1000, true}, {1799, false}}, []Press{Short}},
		"long":               {[]edge{off, {1000, true}, {1800, false}}, []Press{Long}},
		"just long":          {[]edge{off, {1000, true}, {3499, false}}, []Press{Long}},
		"very long":          {[]edge{off, {1000, true}, {3600, false}}, []Press{VeryLong}},
		"held for ever":      {[]edge{off, {1000, true}}, []Press{VeryLong}},
		"too short to count": {[]edge{off, {1000, true}, {1010, false}}, nil},
		"chatter": {[]edge{off, {1000, true}, {1003, false}, {1005, true}, {1009, false}, {1012, true},
			{1500, false}, {1502, true}, {1504, false}}, []Press{Short}},
		"two":                     {[]edge{off, {1000, true}, {1100, false}, {1400, true}, {2400, false}}, []Press{Short, Long}},
		"down from the start":     {[]edge{{0, true}, {3000, false}, {4000, true}, {4200, false}}, []Press{Short}},
		"opens when stepped on":   {[]edge{{0, true}, {12000, false}, {12200, true}, {14000, false}, {15000, true}}, []Press{Short, Long}},
		"told twice":              {[]edge{off, {1000, true}, {1100, true}, {1200, false}, {1300, false}}, []Press{Short}},
		"released while bouncing": {[]edge{off, {1000, true}, {3480, false}, {3490, true}, {3495, false}}, []Press{Long}},
	} {
		got := stepped(c.edges, 30_000)
		same := len(got) == len(c.want)
		for i := 0; same && i < len(got); i++ {
			same = got[i] == c.want[i]
		}
		if !same {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
	for p, want := range map[Press]string{Short: ledger.DoAccept, Long: ledger.DoRedo, VeryLong: ledger.DoBack} {
		if c := p.Command(); c.Do != want || c.By != "switch" {
			t.Errorf("%v: %+v", p, c)
		}
	}
}

// Whatever a switch does, a press needs at least its 30 ms down, timers move
// on, and the pedal is quiet once nobody steps on it.
func TestPedalProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var p Pedal
		at, presses, changes := int64(0), 0, 0
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			at += rapid.Int64Range(0, 4_000_000).Draw(t, "gap")
			for d := p.Deadline(); d <= at; d = p.Deadline() {
				if p.Tick(d) != NoPress {
					presses++
				}
				if p.Deadline() == d {
					t.Fatalf("the timer at %d stays due", d)
				}
			}
			if p.Edge(rapid.Bool().Draw(t, "on"), at) != NoPress {
				presses++
			}
			changes++
		}
		if presses > changes {
			t.Fatalf("%d presses of %d changes", presses, changes)
		}
		p.Edge(p.idle, at)
		for d := p.Deadline(); d != math.MaxInt64; d = p.Deadline() {
			p.Tick(d)
		}
	})
}
