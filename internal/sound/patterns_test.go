package sound

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"thouwright/config"
	"thouwright/internal/ledger"
)

// rhythm writes a score as what an ear without pitch hears.
func rhythm(score []note) string {
	var b strings.Builder
	for _, n := range score {
		switch {
		case n.ms <= 60:
			b.WriteByte('.')
		case n.ms <= 130:
			b.WriteByte('s')
		case n.ms <= 300:
			b.WriteByte('l')
		default:
			b.WriteByte('L')
		}
		if n.to != 0 {
			b.WriteByte('~')
		}
		if n.rest > 1.5*apart {
			b.WriteByte(' ')
		}
	}
	return b.String()
}

func TestCuesDifferByPatternAlone(t *testing.T) {
	seen := map[string]string{}
	add := func(what string, score []note) {
		if len(score) == 0 {
			t.Fatalf("%s has no tones", what)
		}
		k := rhythm(score)
		if other, taken := seen[k]; taken {
			t.Errorf("%s and %s have the same pattern %q", what, other, k)
		}
		seen[k] = what
		for _, n := range score {
			for _, hz := range []float64{n.hz, n.to} {
				if hz != 0 && (hz < 300 || hz > 2500) {
					t.Errorf("%s: %.0f Hz", what, hz)
				}
			}
			if n.rest != 0 && n.rest < 80 {
				t.Errorf("%s: a gap of %.0f ms is not heard", what, n.rest)
			}
		}
	}
	for _, c := range Cues() {
		if c != Guide {
			add(c.String(), scores[c])
		}
	}
	for _, where := range []string{"above", "below"} {
		for _, ratio := range []float64{1, 2, 4, 9} {
			add(fmt.Sprint("guide ", where, ratio), guideScore(ledger.Guide{Where: where, Ratio: ratio}))
		}
	}
	add("guide in", guideScore(ledger.Guide{Where: "in"}))
	add("guide sure", guideScore(ledger.Guide{Where: "in", Sure: true}))
}

// By the terminal's bell no two differ in nothing but what was measured: a pass
// and a take without limits ring alike.
func TestBellsDiffer(t *testing.T) {
	seen := map[string]Cue{}
	for _, c := range Cues() {
		rings, apart := c.bells()
		if rings == 0 || c == Taken {
			continue
		}
		k := fmt.Sprint(rings, apart)
		if other, taken := seen[k]; taken {
			t.Errorf("%s and %s both ring %d times", c, other, rings)
		}
		seen[k] = c
	}
	for _, c := range []Cue{Pass, Undecided, Fail, GaugeLost, GaugeBack, Disk} {
		if n, _ := c.bells(); n == 0 {
			t.Errorf("%s does not ring", c)
		}
	}
}

func TestNamesAreTheBenchFiles(t *testing.T) {
	var names []string
	for _, c := range Cues() {
		names = append(names, c.String())
	}
	want := slices.Clone(config.CueNames)
	slices.Sort(want)
	slices.Sort(names)
	if !slices.Equal(names, want) {
		t.Errorf("cues are %v, config knows %v", names, want)
	}
}
