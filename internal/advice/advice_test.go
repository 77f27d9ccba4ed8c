package advice

import (
	"math"
	"slices"
	"testing"

	"thouwright/config"
	"thouwright/internal/ledger"
)

// TestNextStepOfTheExample: the example's own job sheet leads from a worn pin to
// a bush and from a loose hub to a turn of its nut, and the pin is told from the
// bush.
func TestNextStepOfTheExample(t *testing.T) {
	b, ps := config.LoadBench("../../config/example/bench.toml")
	if config.Refused(ps) {
		t.Fatal(ps)
	}
	j, ps := config.LoadJob("../../config/example/jobs/2026-041.toml")
	if config.Refused(ps) {
		t.Fatal(ps)
	}
	checks := checks(b, j)
	n := 0
	for _, c := range j.Components {
		n += len(c.Checks)
	}
	if len(checks) != n {
		t.Fatalf("%d of %d checks", len(checks), n)
	}
	take := func(n uint64, component, check, position string, mm, u95 float64, v ledger.Verdict) *ledger.Take {
		for _, c := range checks {
			if c.Component == component && c.Name == check {
				return &ledger.Take{Take: n, Tag: ledger.Tag{Stage: "as found", Component: component, Check: check, Position: position}, Unit: c.Unit, Result: mm, U95: u95, Verdict: v, Dof: math.Inf(1)}
			}
		}
		t.Fatalf("no check %q of %q", check, component)
		return nil
	}
	takes := []*ledger.Take{
		take(1, "left swivel pin", "play in bushes", "left lock", 0.150, 0.004, ledger.Fail),
		take(2, "left swivel pin", "bush bore", "upper", 30.060, 0.004, ledger.Fail),
		take(3, "left swivel pin", "pin diameter", "upper", 29.912, 0.003, ledger.Fail),
		take(4, "left front hub", "end play", "hub face", 0.310, 0.006, ledger.Fail),
	}
	if s := Next(b, j, "assembled", takes); len(s) != 0 {
		t.Errorf("what was worn as found still asks once assembled: %+v", s)
	}
	s := Next(b, j, "as found", takes)
	if len(s) != 2 || s[0].Verb != "bush" || s[1].Verb != "turn" {
		t.Fatalf("%+v", s)
	}
	if in := s[0].Inputs["shaft"]; len(in) != 1 || in[0] != "29.9120 ± 0.0030 mm" {
		t.Errorf("shaft %q", in)
	}
	if in := s[0].Inputs["clearance"]; len(in) != 1 || in[0] != "0.0090..0.0500 mm" { // not the wear limit as found
		t.Errorf("clearance %q", in)
	}
	if in := s[1].Inputs; in["pitch"][0] != "1.5 mm" || in["slots"][0] != "6" || in["holes"][0] != "2" || in["hand"][0] != "right" {
		t.Errorf("%v", in)
	}
}

// Locking moves a preload as it moves an end play: a drag that is set by a nut has the
// caution too, one that is only measured has not.
func TestWhatIsSetByANutIsLocked(t *testing.T) {
	for _, c := range []struct {
		method         string
		adjusted, want bool
	}{{"drag", true, true}, {"drag", false, false}, {"end-play", false, true}, {"play", false, false}} {
		if got := slices.Contains(Of([]string{"size", c.method}, c.adjusted), newLock); got != c.want {
			t.Errorf("a job with %s, adjusted %v: %v", c.method, c.adjusted, got)
		}
		if got := slices.Contains(Cautions(c.method, c.adjusted), newLock); got != c.want {
			t.Errorf("%s, adjusted %v: %v", c.method, c.adjusted, got)
		}
	}
}
