package sums

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// The checks of a swivel pin in two bushes and of a hub with a slotted nut.
func pinChecks() []Check {
	inf := math.Inf(1)
	return []Check{
		{Component: "left swivel pin", Name: "play in bushes", ID: "pin_play", Method: "play", Low: 0.009, High: 0.050, Unit: quantity.MM},
		{Component: "left swivel pin", Name: "pin diameter", ID: "pin", Method: "size", Low: 29.967, High: 29.991, Unit: quantity.MM},
		{Component: "left swivel pin", Name: "bush bore", ID: "bush", Method: "size", Turning: "least", Low: 30, High: 30.021, Unit: quantity.MM},
		{Component: "left swivel pin", Name: "clearance, upper bush", Method: "derived", Value: `bush["upper"] - pin["upper"]`, Low: 0.009, High: 0.050, Unit: quantity.MM},
		{Component: "left front hub", Name: "end play", Method: "end-play", Low: 0.025, High: 0.100, Unit: quantity.MM, Pitch: 1.5, Hand: "right", Slots: 6, Holes: 2},
		{Component: "right hub", Name: "end play", Method: "end-play", Low: 0.001, High: 0.005, Unit: quantity.In},
		{Component: "pulley", Name: "run-out", Method: "run-out", Low: -inf, High: 0.25, Unit: quantity.MM},
	}
}

func take(n uint64, component, check, position string, result, u95 float64, v ledger.Verdict) *ledger.Take {
	return &ledger.Take{Take: n, Tag: ledger.Tag{Component: component, Check: check, Position: position}, Unit: quantity.MM, Result: result, U95: u95, Verdict: v}
}

// TestFailedPlay: with the pin measured, the bush's bore as it is and ground to
// clean up; the bore really gives the clearance; the wear limit of the stage in
// which it failed does not matter.
func TestFailedPlay(t *testing.T) {
	takes := []*ledger.Take{
		take(1, "left swivel pin", "play in bushes", "straight ahead", 0.150, 0.004, ledger.Fail),
		take(2, "left swivel pin", "play in bushes", "left lock", 0.080, 0.004, ledger.Pass), // within its wear limit
		take(3, "left swivel pin", "pin diameter", "upper", 29.912, 0.003, ledger.Fail),
		take(4, "left swivel pin", "pin diameter", "lower", 29.920, 0.003, ledger.Fail),
		take(5, "left swivel pin", "bush bore", "upper", 30.060, 0.004, ledger.Fail),
	}
	s := Suggest(takes, pinChecks())
	if len(s) != 1 || s[0].Verb != "bush" || s[0].Take != 1 || s[0].Answer == nil {
		t.Fatalf("%+v", s)
	}
	b, _ := s[0].Answer.Result("bore")
	if b.Low < 29.920+0.009 || b.High > 29.912+0.050 || b.Low > b.High {
		t.Errorf("bore %v..%v for a pin of 29.912..29.920", b.Low, b.High)
	}
	// In words, rounded into the band, mm and inches both.
	if want := "finished to a bore of 29.932 to 29.959 mm (1.1785 to 1.1795 in)"; !strings.Contains(s[0].Text, want) || strings.Contains(s[0].Text, "..") {
		t.Errorf("%q lacks %q", s[0].Text, want)
	}
	// Ground, it is measured no better: 29.909 + 0.009 and + 0.050, each drawn in by
	// 0.003 × 1.645 / 1.96.
	for _, want := range []string{"left swivel pin, play in bushes, straight ahead: ", "a bush finished to ", "at 29.909 mm or less, a bush finished to a bore of 29.921 to 29.956 mm (1.1780 to 1.1793 in) at that size", "ask the maker", "Ream after pressing"} {
		if !strings.Contains(s[0].Text, want) {
			t.Errorf("%q lacks %q", s[0].Text, want)
		}
	}
	// The command line it shows does the same sum.
	again := must(t, "bush", strings.TrimPrefix(s[0].Command, "thouwright calc bush "))
	if r, _ := again.Result("bore"); r.Low != b.Low || r.High != b.High {
		t.Errorf("%s gives %v..%v, suggested %v..%v", s[0].Command, r.Low, r.High, b.Low, b.High)
	}
	if j, err := json.Marshal(s); err != nil || !strings.Contains(string(j), `"verb":"bush"`) {
		t.Errorf("%s, %v", j, err)
	}
}

// TestDerivedClearance takes the pin at the position its expression names.
func TestDerivedClearance(t *testing.T) {
	takes := []*ledger.Take{
		take(1, "left swivel pin", "pin diameter", "upper", 29.912, 0.003, ledger.Fail),
		take(2, "left swivel pin", "pin diameter", "lower", 29.970, 0.003, ledger.Pass),
		take(3, "left swivel pin", "clearance, upper bush", "", 0.110, 0.005, ledger.Fail),
	}
	s := Suggest(takes, pinChecks())
	if len(s) != 1 || len(s[0].Inputs["shaft"]) != 1 || s[0].Inputs["shaft"][0] != "29.9120 ± 0.0030 mm" {
		t.Fatalf("%+v", s)
	}
}

func TestNoShaftMeasured(t *testing.T) {
	takes := []*ledger.Take{take(1, "left swivel pin", "play in bushes", "straight ahead", 0.150, 0.004, ledger.Fail)}
	s := Suggest(takes, pinChecks())
	if len(s) != 1 || s[0].Answer != nil || !strings.Contains(s[0].Text, "measure the shaft's diameter") {
		t.Fatalf("%+v", s)
	}
	// A component whose shaft nobody means to measure gets no suggestion.
	if s := Suggest(takes, pinChecks()[:1]); len(s) != 0 {
		t.Fatalf("%+v", s)
	}
}

func TestFailedEndPlay(t *testing.T) {
	takes := []*ledger.Take{
		take(1, "left front hub", "end play", "hub face", 0.310, 0.006, ledger.Fail),
		{Take: 2, Tag: ledger.Tag{Component: "right hub", Check: "end play"}, Unit: quantity.In, Result: 0.012, U95: 0.0004, Verdict: ledger.Fail},
	}
	s := Suggest(takes, pinChecks())
	if len(s) != 2 || s[0].Verb != "turn" || s[1].Verb != "shim" {
		t.Fatalf("%+v", s)
	}
	// (0.310 - 0.0625) / 1.5 × 360 = 59.4 degrees.
	for _, want := range []string{"tighten 59.4 deg clockwise", "one slot changes the play by 0.250 mm", "not every slot"} {
		if !strings.Contains(s[0].Text, want) {
			t.Errorf("%q lacks %q", s[0].Text, want)
		}
	}
	// Where nothing is sure, that is the reason, and not the slots.
	vague := Suggest([]*ledger.Take{take(1, "left front hub", "end play", "hub face", 0.5, 0.06, ledger.Fail)}, pinChecks())
	if len(vague) != 1 || !strings.Contains(vague[0].Text, "aim at the middle and measure again") || strings.Contains(vague[0].Text, "wider") {
		t.Errorf("%+v", vague)
	}
	// Between 7 and 11 thou, each drawn in by 0.0004 × 1.645 / 1.96.
	if want := "take away 0.0074 to 0.0106 in (0.187 to 0.270 mm) of play"; !strings.Contains(s[1].Text, want) {
		t.Errorf("%q lacks %q", s[1].Text, want)
	}
	// A loose bearing is tightened and a tight one slackened, never the other way.
	for _, x := range []struct {
		play float64
		want string
	}{{0.31, "tighten"}, {0.005, "slacken"}} {
		s := Suggest([]*ledger.Take{take(1, "left front hub", "end play", "hub face", x.play, 0.001, ledger.Fail)}, pinChecks())
		if len(s) != 1 || !strings.Contains(s[0].Text, x.want) {
			t.Errorf("play %v: %+v", x.play, s)
		}
	}
	s = Suggest([]*ledger.Take{{Take: 2, Tag: ledger.Tag{Component: "right hub", Check: "end play"}, Unit: quantity.In, Result: 0.0002, Verdict: ledger.Fail}}, pinChecks())
	if len(s) != 1 || !strings.Contains(s[0].Text, "give 0.0008 to 0.0048 in (0.021 to 0.121 mm) more play") {
		t.Errorf("%+v", s)
	}
}

// TestTooTightToMeasure: an end play under the gauge's step that fails is slackened,
// by an amount that nobody knows yet.
func TestTooTightToMeasure(t *testing.T) {
	for component, want := range map[string]string{"left front hub": "slacken until there is some", "right hub": "give it play with shims"} {
		x := take(1, component, "end play", "", 0.0005, 0, ledger.Fail)
		x.Bound = true
		s := Suggest([]*ledger.Take{x}, pinChecks())
		if len(s) != 1 || !strings.Contains(s[0].Text, want) || strings.Contains(s[0].Text, "tighten") || s[0].Inputs["play"] != nil || s[0].Answer != nil {
			t.Errorf("%s: %+v", component, s)
		}
	}
}

// TestOnlyTheLatestCounts: a redo, or a later take of the same place, takes the
// suggestion away.
func TestOnlyTheLatestCounts(t *testing.T) {
	bad := take(1, "left front hub", "end play", "hub face", 0.310, 0.006, ledger.Fail)
	good := take(2, "left front hub", "end play", "hub face", 0.060, 0.006, ledger.Pass)
	if s := Suggest([]*ledger.Take{bad, good}, pinChecks()); len(s) != 0 {
		t.Errorf("after a good take: %+v", s)
	}
	redo := take(2, "left front hub", "end play", "other name", 0.060, 0.006, ledger.Pass)
	redo.Replaces = 1
	if s := Suggest([]*ledger.Take{bad, redo}, pinChecks()); len(s) != 0 {
		t.Errorf("after a redo: %+v", s)
	}
	for _, v := range []ledger.Verdict{ledger.Undecided, ledger.Pass, ledger.NoVerdict} {
		x := *bad
		x.Verdict = v
		if s := Suggest([]*ledger.Take{&x}, pinChecks()); len(s) != 0 {
			t.Errorf("%s: %+v", v, s)
		}
	}
}

// TestWhichIsTheShaft: by fit, by the derived clearance, by its gauging, by name.
func TestWhichIsTheShaft(t *testing.T) {
	for _, x := range []struct {
		c    Check
		want bool
	}{
		{Check{Name: "a", Fit: "30 g6"}, true}, {Check{Name: "a", Fit: "30 H7"}, false}, {Check{Name: "pin", Fit: "30 H7"}, false},
		{Check{Name: "kingpin"}, true}, {Check{Name: "spindle diameter"}, true}, {Check{Name: "pin bush bore"}, false}, {Check{Name: "diameter", ID: "shaft_upper"}, true},
		{Check{Name: "shaft", Turning: "least"}, false}, {Check{Name: "width of the spring"}, false}, {Check{Name: "pins"}, true},
	} {
		x.c.Method = "size"
		if got := (suggester{checks: []Check{x.c}}).isShaft(x.c); got != x.want {
			t.Errorf("%+v: shaft %v", x.c, got)
		}
	}
	d := []Check{{ID: "b", Name: "first", Method: "size"}, {ID: "p", Name: "second", Method: "size"}, {Method: "derived", Value: `b["x"] - p["x"]`}}
	s := suggester{checks: d}
	if s.isShaft(d[0]) || !s.isShaft(d[1]) {
		t.Error("the derived clearance does not tell which is the shaft")
	}
}

// A shaft read at the end of the gauge's travel is no size to bore a bush to.
func TestADistrustedShaftSuggestsNoBush(t *testing.T) {
	shaft := take(2, "left swivel pin", "pin diameter", "upper", 29.912, 0.002, ledger.Fail)
	takes := []*ledger.Take{take(1, "left swivel pin", "play in bushes", "upper", 0.12, 0.003, ledger.Fail), shaft}
	has := func() bool {
		for _, s := range Suggest(takes, pinChecks()) {
			if len(s.Inputs["shaft"]) > 0 {
				return true
			}
		}
		return false
	}
	if !has() {
		t.Fatal("no bush for a shaft that was measured")
	}
	shaft.Distrust("end of travel")
	if has() {
		t.Error("a bush for a shaft read at the end of travel")
	}
}
