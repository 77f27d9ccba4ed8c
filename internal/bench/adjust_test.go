//go:build !windows

package bench

import (
	"strings"
	"testing"

	"thouwright/internal/ledger"
)

// An end play that is too large: the verdict is heard first, and with it, as one text,
// which way to turn.
func TestTheWayToTurnFollowsTheVerdict(t *testing.T) {
	dial := newDial(t)
	r := &rig{t: t, dir: t.TempDir()}
	r.write("bench.toml", strings.Replace(rigBench, "%s", dial.port, 1))
	r.write("jobs/R-1.toml", strings.NewReplacer(`method = "play"`, `method = "end-play"`, `positions = ["upper", "lower", "middle"]`, `positions = ["hub face"]`).Replace(rigJob)+
		"[component.check.adjuster]\npitch = \"1.5 mm\"\nsteps = [\"tighten while turning\", \"lock\"]\n")
	r.start(false)
	r.until("the first step", func(l ledger.Live) bool { return strings.Contains(l.Spoken.Text, "tighten while turning") })
	// All that is spoken, in order, while the hand rocks on.
	var heard []string
	l := r.d.hub.State()
	dial.setUp(t)
	for range 60 {
		dial.strokes(t, 0.4, 1)
		if l = r.d.hub.State(); len(heard) == 0 || heard[len(heard)-1] != l.Spoken.Text {
			heard = append(heard, l.Spoken.Text)
		}
		if strings.HasPrefix(l.Spoken.Text, "fail") {
			break
		}
	}
	// 0.4 to the middle of 0.02..0.15 are 0.315 of 1.5 mm: 75 degrees.
	if text := l.Spoken.Text; !strings.Contains(text, "too much") || !strings.HasSuffix(text, "too much, tighten 75 deg clockwise") {
		t.Errorf("spoken %q", heard)
	}
	if l.Active == nil || l.Active.Guide == nil || l.Active.Guide.Way != "tighten" {
		t.Errorf("the page shows %+v", l.Active)
	}
	r.stop()
}
