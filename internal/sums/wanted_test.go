package sums

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"thouwright/internal/quantity"
)

// Limits are written as a middle and a tolerance on many a drawing: 0.035 ± 0.015 mm
// is 0.020..0.050 mm wherever something is wanted, and no play known badly.
func TestATolerancedBandIsItsLimits(t *testing.T) {
	for _, x := range []struct{ verb, line, name, plus, band string }{
		{"turn", "--pitch 1.5 --play 0.12 --band", "turn_range", "'0.035 ± 0.015 mm'", "0.020..0.050"},
		{"shim", "--play 0.31 --stock '0.05, 0.10, 0.12 mm' --band", "pack_range", "'0.035 ± 0.015 mm'", "0.020..0.050"},
		{"bush", "--shaft '31.87 ± 0.003 mm' --clearance", "bore", "'0.030 ± 0.020 mm'", "0.010..0.050"},
		{"tilt", "--overhang 20 --span 120 --clearance", "sure_reading", "'0.030 ± 0.020 mm'", "0.010..0.050"},
		{"press", "--interference '0.03 ± 0.005 mm' --at 30 --finish", "bore_before", "'25.000 ± 0.010 mm'", "24.990..25.010"},
		{"warm", "--shaft 31.98 --bore 32.01 --temp '80 degC' --clearance", "within", "'0.030 ± 0.020 mm'", "0.010..0.050"},
	} {
		got, want := result(t, must(t, x.verb, x.line+" "+x.plus), x.name), result(t, must(t, x.verb, x.line+" "+x.band), x.name)
		if d := got.Low - want.Low; d > 1e-9 || d < -1e-9 || got.Say(quantity.MM) != want.Say(quantity.MM) || got.Yes != want.Yes {
			t.Errorf("%s: %s gives %+v, %s gives %+v", x.verb, x.plus, got, x.band, want)
		}
	}
	a, b := must(t, "fit", "32 --clearance '0.030 ± 0.021 mm'"), must(t, "fit", "32 --clearance 0.009..0.051")
	if !slices.Equal(a.Notes, b.Notes) || len(a.Notes) == 0 {
		t.Errorf("fit: %q, %q", a.Notes, b.Notes)
	}
}

// A play known to ± 0.05 mm cannot be shown to come into a band of 0.03: no turn and no
// pack is said to do so, and the middle is aimed at all the same.
func TestABandNothingIsSureOf(t *testing.T) {
	a := must(t, "turn", "--pitch 1.5 --play '0.12 ± 0.05 mm' --band 0.02..0.05 --slots 24 --offset 6")
	if r, ok := a.Result("turn_range"); ok {
		t.Errorf("turns that land: %+v", r)
	}
	if w := result(t, a, "lands").Text; w != "not surely" {
		t.Errorf("lands: %q", w)
	}
	if r := result(t, a, "slot_in_band"); r.Yes || result(t, a, "slot_turn").Value != 21 {
		t.Errorf("the slot next to the aim: %+v, in band %v", result(t, a, "slot_turn"), r.Yes)
	}
	if a := must(t, "turn", "--pitch 1.5 --play '0.03 ± 0.05 mm' --band 0.02..0.05"); strings.Contains(strings.Join(a.Notes, "\n"), "in the band already") {
		t.Errorf("a play that may lie anywhere: %q", a.Notes)
	}
	a = must(t, "shim", "--play '0.31 ± 0.02 mm' --band 0.02..0.05 --stock '0.05, 0.10, 0.12 mm'")
	if r, ok := a.Result("pack_range"); ok {
		t.Errorf("packs that bring it into the band: %+v", r)
	}
	if a.Failed || result(t, a, "pack").Value != 0.27 || !strings.Contains(strings.Join(a.Notes, "\n"), "measure again") {
		t.Errorf("pack %+v, notes %q", result(t, a, "pack"), a.Notes)
	}
}

// A rounded value and its ± hold all that the unrounded ones do, and a fraction of an
// inch is no size known to a tenth.
func TestRoundedHoldsWhatItStandsFor(t *testing.T) {
	for line, want := range map[string]string{
		"'18 ± 1 degC' --to degF": "64 ± 3 °F", // 62.6 to 66.2
		"'31.87 ± 0.003 mm'":      "1.2547 ± 0.0002 in",
		"'1/2 in'":                "12.70 mm",
		"'1.5 in'":                "38 mm",
	} {
		if s := result(t, must(t, "convert", line), "text").Text; s != want {
			t.Errorf("%s: %s, want %s", line, s, want)
		}
	}
	a := must(t, "press", "--interference -0.01..0.02 --at 30 --bore 25")
	if s := result(t, a, "bush_hoop").Say(a.Unit); strings.Contains(s, "-0 ") || strings.Contains(s, "-0 MPa") {
		t.Errorf("no stress is %q", s)
	}
	if b, err := json.Marshal(a); err != nil || strings.Contains(string(b), ":-0,") || strings.Contains(string(b), ":-0}") {
		t.Errorf("%v: %s", err, b)
	}
}

// What is called unrounded has ten digits at least: a psi is 6894.757293168 Pa (NIST SP 811).
func TestUnroundedIsNot(t *testing.T) {
	for line, want := range map[string]float64{"'1 psi' --to MPa": 0.006894757293168361, "'1 psi' --to GPa": 6.894757293168361e-06, "'1 deg' --to rad": 0.017453292519943295, "'1000 psi' --to MPa": 6.894757293168361} {
		r := result(t, must(t, "convert", line), "value_unrounded")
		got := r.Value
		if r.Exact != nil {
			got = r.Exact.Float()
		}
		if math.Abs(got-want) > 1e-10*want {
			t.Errorf("%s: %v, want %v", line, got, want)
		}
	}
}
