package sums

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// TestFigures holds answers worked out by hand, to ten digits where they are
// exact and to six where a constant is rounded.
func TestFigures(t *testing.T) {
	const press = "--interference 0.025..0.050 --at 30 --bore 25 --housing-od 60 --bush-material phosphor-bronze --length 40 --friction 0.1..0.2 "
	for _, x := range []struct {
		verb, line, name string
		low, high        float64 // the same for a value
	}{
		{"convert", "68 degF --to degC", "value", 20, 20},
		{"convert", "20 degC --to degF", "value", 68, 68},
		{"convert", "'68 ± 9 degF' --to degC", "plus_minus", 5, 5},
		{"convert", "293.15 K --to degC --places 2", "value", 20, 20},
		{"fit", "'32 H7/g6'", "least_clearance", 0.009, 0.009},
		{"fit", "'32 H7/g6'", "greatest_clearance", 0.050, 0.050},
		{"fit", "--hole 32.000..32.025 --shaft 31.975..31.991", "greatest_clearance", 0.050, 0.050},
		{"fit", "--hole '32.012 ± 0.004 mm' --shaft 31.975..31.991", "least_clearance", 0.021, 0.021},
		// 0.8 - (32 - 31.80)/2
		{"bush", "--shaft 31.87 --clearance 0.009..0.050 --ground 31.80 --original 32 --case 0.8", "case_left", 0.7, 0.7},
		{"bush", "--shaft 31.87 --clearance 0.009..0.050 --ground 31.80 --least 31.75", "metal_left", 0.05, 0.05},
		{"bush", "--shaft 31.87 --clearance 0.009..0.050 --ground 31.80", "bore", 31.809, 31.850},
		// p·2.33333, from p(5/3) in hoop and -p radially
		{"press", press, "housing_stress", 34.1915, 68.3830},
		// f·p·π·30·40
		{"press", press, "press_force", 0.1 * 14.6535 * math.Pi * 1200, 0.2 * 29.3070 * math.Pi * 1200},
		{"press", press + "--bush-rz '6.3 um' --housing-rz '10 um'", "smoothing", 0.01304, 0.01304},
		{"press", press + "--bush-rz '6.3 um' --housing-rz '10 um'", "effective_interference", 0.01196, 0.03696},
		// (0.12 - 0.035) / (25.4/18) · 360
		{"turn", "--play 0.12 --band 0.02..0.05 --tpi 18", "turn", 0.085 / 25.4 * 18 * 360, 0.085 / 25.4 * 18 * 360},
		{"turn", "--play 0.12 --band 0.02..0.05 --pitch 1.5 --slots 6 --to-slot slacken", "slot_play_range", 0.035, 0.285},
		{"turn", "--play 0.12 --band 0.02..0.05 --pitch 1.5 --slots 6 --to-slot tighten", "slot_play_range", -0.215, 0.035},
		{"turn", "--play 0.12 --band ..0.05 --pitch 1.5", "turn_range", 16.8, 28.8},
		// 0.8/150 rad × 18, × 225 mm
		{"lash", "--play 0.8 --arm 150 --ratio 18 --wheel 450", "rim_travel", 21.6, 21.6},
		{"lash", "--chain 'play 0.8 mm, arm 150 mm, ratio 1:2' --wheel 450", "rim_travel", 0.6, 0.6},
		{"tilt", "--clearance 0.009..0.050 --overhang 20 --span 120", "sure_reading", 0.012, 0.050},
		{"tilt", "--clearance 0.009..0.050 --overhang 20 --span 120", "reading", 0.009, 0.2 / 3},
		{"tilt", "--reading 0.080 --overhang 20 --span 120", "clearance", 0.06, 0.08},
	} {
		r := result(t, must(t, x.verb, x.line), x.name)
		low, high := r.Value, r.Value
		if r.Form == Band {
			low, high = r.Low, r.High
		}
		if math.Abs(low-x.low) > 4e-6*math.Abs(x.low)+1e-10 || math.Abs(high-x.high) > 4e-6*math.Abs(x.high)+1e-10 {
			t.Errorf("calc %s %s: %s is %v..%v, by hand %v..%v", x.verb, x.line, x.name, low, high, x.low, x.high)
		}
	}
}

// TestWords holds what an answer says in words.
func TestWords(t *testing.T) {
	const bush = "--shaft 31.87 --clearance 0.009..0.050 "
	for _, x := range []struct{ verb, line, want string }{
		{"bush", bush, "not known: ask the maker"},
		{"bush", bush + "--least 31.75", "down to the maker's least diameter 31.75 mm"},
		{"bush", bush + "--ground 31.70 --least 31.75", "no further: 31.7000 mm is below"},
		{"bush", bush + "--ground 30.30 --original 32 --case 0.8", "ground through: do not"},
		{"bush", bush + "--ground 31.20 --original 32 --case 0.8 --case-left 0.5", "less case than has to remain: do not"},
		{"bush", bush + "--ground 31.20 --original 32 --case 0.8", "how much case has to remain: not known, ask the maker"},
		{"bush", bush + "--case 0.8", "how much case is left is not known"},
		{"bush", bush + "--ground 31.90", "would not clean up everywhere"},
		{"bush", bush + "--ground '31.80 ± 0.008 mm'", "drawn in at each limit by"},
		{"turn", "--play 0.12 --band 0.02..0.05 --pitch 0.12 --slots 6", "lands in the band: yes"},     // 0.020 a step
		{"turn", "--play 0.12 --band 0.02..0.05 --pitch 0.30 --slots 6", "lands in the band: perhaps"}, // 0.050 a step
		{"turn", "--play '0.12 ± 0.2 mm' --band 0.02..0.05 --pitch 1.5", "too wide for this band"},
		{"turn", "--play 0 --band 0.02..0.05 --pitch 1.5", "hides preload"},
		{"turn", "--play 0.03 --band 0.02..0.05 --pitch 1.5", "in the band already"},
		{"warm", "--shaft 32 --bore 32.001 --temp 120 --shaft-temp 200", "can bind"},
		{"press", "--interference -0.005..0.05 --at 30 --bore 25", "the bush is loose"},
		{"press", "--interference 0.05 --at 30 --bore 25", "press in first, then ream both bushes in line"},
		{"fit", "'50 H7/s6'", "fit: interference"},
		{"fit", "'50 H7/k6'", "fit: transition"},
		{"tilt", "--clearance 0.040..0.050 --overhang 60 --span 120", "no reading here can show"},
		// At 20 of 120 mm a clearance of 0.009..0.050 reads 0.009..0.0667; 0.012..0.050 is sure.
		{"tilt", "--reading 0.030 --clearance 0.009..0.050 --overhang 20 --span 120", "to be within: yes"},
		{"tilt", "--reading 0.050 --clearance 0.009..0.050 --overhang 20 --span 120", "to be within: yes"},
		{"tilt", "--reading '0.048 ± 0.003 mm' --clearance 0.009..0.050 --overhang 20 --span 120", "to be within: not shown"},
		{"tilt", "--reading 0.060 --clearance 0.009..0.050 --overhang 20 --span 120", "to be within: not shown"},
		{"tilt", "--reading '0.070 ± 0.002 mm' --clearance 0.009..0.050 --overhang 20 --span 120", "to be within: no: too much"},
		{"tilt", "--reading 0.008 --clearance 0.009..0.050 --overhang 20 --span 120", "to be within: no: too little"},
		{"lash", "--chain 'play 25 deg' --wheel '18 in'", "share stays within it: no"},
		// 14.3 deg at 9 in is 2.246 in, within 2.25; with 0.5 deg more it is not.
		{"lash", "--chain 'play 14.3 deg' --wheel '18 in'", "393.209, manual steering, wheel of 18 in: 57.1500 mm (2.25000 in)\n  =        this joint's share stays within it: yes"},
		{"lash", "--chain 'play 14.3 ± 0.5 deg' --wheel '18 in'", "its ± counted: no"},
		{"lash", "--chain 'play 5 deg' --wheel '450 mm'", "wheel of 16 in or less (the row below this wheel's size)"},
		{"bush", bush + "--least 31.75 --original 32 --case 0.8 --case-left 0.5", "down to the maker's least diameter 31.75 mm, if the fillets allow"},
		{"bush", bush + "--least 31.30 --original 32 --case 0.8 --case-left 0.5", "down to 31.4000 mm, where the case that has to remain begins"},
		{"bush", bush + "--least 31.30 --ground 31.35 --original 32 --case 0.8 --case-left 0.5", "no further: at 31.3500 mm less case is left"},
		{"bush", "--shaft 31.87,31.86 --clearance 0.009..0.050", "at the smallest place: 0.0345 mm"},
		{"press", "--interference 0.05 --at 30 --bore 25", "beyond yield: not known"},
		{"press", "--interference 0.05 --at 30 --bore 25 --bush-yield 300", "beyond yield: not known"},
		{"press", "--interference 0.05 --at 30 --bore 25 --bush-yield 300 --housing-yield 300", "beyond yield: no\n"},
		{"press", "--interference '0.050 ± 0.020 mm' --at 30 --bore 25 --bush-yield 200", "with its ± the stress in the bush may pass its yield"},
		{"press", "--interference '0.050 ± 0.020 mm' --at 30 --bore 25 --housing-od 60 --finish 25.000..25.021", "nothing is left of it once the ±"},
		{"press", "--interference 0.05 --at 30 --housing-od 60 --finish '25 mm'", "before pressing, between: 25.0443 mm ("}, // 25.04433
		{"fit", "--hole 32.000..32.025", "standard class with just these limits: 32 H7"},
		{"fit", "--shaft 31.975..31.991", "standard class with just these limits: 32 g6"},
		{"fit", "--hole 31.750..31.775 --shaft 31.725..31.741", "standard fit with just these limits: 31.75 H7/g6"},
		{"fit", "--hole 32.000..32.030 --shaft 31.975..31.991", "stay within this clearance: thouwright calc fit 32 --clearance '0.0090..0.0550 mm'"},
		{"fit", "--hole 32.030 --shaft '31.982 ± 0.003 mm' --clearance 0.009..0.050", "its ± counted: no"},
		{"fit", "--hole 32.030 --shaft '31.982 ± 0.002 mm' --clearance 0.009..0.050", "its ± counted: yes"},
		{"fit", "'32 H7/g6' --clearance 0.009..0.050", "within the clearance wanted: yes"},
		{"warm", "--shaft '32 ± 0.004 mm' --bore 32.003 --temp 20", "warm the shaft may bind: with its ±"},
		{"warm", "--shaft '31.98 ± 0.004 mm' --bore 32 --temp 20 --clearance 0.018..0.050", "its ± counted: no"},
		{"shim", "--play 0.31 --band 0.02..0.05 --stock 0.27", "play then: 0.0400 mm"},
		{"shim", "--play 0.01 --band 0.02..0.05 --stock 0.05", "between 0.010 mm and 0.040 mm more than are fitted"},
		{"convert", "'..0.050 mm' --inward --places 4", "the limit moved inwards by (below zero: outwards): 0.0000685 in"},
		{"convert", "'0.009.. mm' --places 4", "the limit moved inwards by (below zero: outwards): 0.0000457 in"},
		{"convert", "'..0.0501 mm' --to in --places 4", "below zero: outwards): -0.0000276 in"},
		{"convert", "1 mm", "assumes  the numbers are exact as written"},
	} {
		if text := strings.Join(must(t, x.verb, x.line).Lines(), "\n"); !strings.Contains(text, x.want) {
			t.Errorf("calc %s %s does not say %q:\n%s", x.verb, x.line, x.want, text)
		}
	}
	if _, err := do(t, "convert", "'68 ± 9 degF' --to degC --inward"); err == nil || !strings.Contains(err.Error(), "write temperature limits as a range") {
		t.Errorf("temperature limits with ±: %v", err)
	}
	a, b := must(t, "bush", bush+"--bore-u95 0.01 --confidence '90 %'"), must(t, "bush", bush+"--bore-u95 0.01 --confidence 0.9")
	if x, y := result(t, a, "bore"), result(t, b, "bore"); x.Low != y.Low || x.High != y.High {
		t.Errorf("90 %% gives %v..%v, 0.9 gives %v..%v", x.Low, x.High, y.Low, y.High)
	}
}

// TestDrawnIn: the bore to cut is drawn in by what the interference may be off, so
// that it finishes within the limits at either end of it.
func TestDrawnIn(t *testing.T) {
	const line = " --at 30 --bore 25 --housing-od 60 --finish 25.000..25.021"
	a := must(t, "press", "--interference '0.025 ± 0.003 mm'"+line)
	b := result(t, a, "bore_before")
	if b.U95 != 0 {
		t.Errorf("limits to work to have a ± of their own: %v", b.U95)
	}
	for _, interference := range []string{"0.022", "0.028"} {
		for _, bore := range []float64{b.Low, b.High} {
			after := must(t, "press", fmt.Sprintf("--interference %s --at 30 --bore %.9f --housing-od 60", interference, bore))
			if got := result(t, after, "bore_after").Low; got < 25-1e-6 || got > 25.021+1e-6 {
				t.Errorf("cut to %v, interference %s: finishes at %v", bore, interference, got)
			}
		}
	}
	if exact := result(t, must(t, "press", "--interference 0.025"+line), "bore_before"); !(exact.Low < b.Low && b.High < exact.High) {
		t.Errorf("with a ± %v..%v, without %v..%v", b.Low, b.High, exact.Low, exact.High)
	}
}

// TestSlotPlay carries the play's, the pitch's and the slot's ±: turned by 240
// degrees at 1.5 ± 0.03 mm, from a slot known to 6 degrees.
func TestSlotPlay(t *testing.T) {
	a := must(t, "turn", "--play '1.05 ± 0.004 mm' --band 0.02..0.08 --pitch '1.5 ± 0.03 mm' --slots 6 --holes 2 --offset '0 ± 6 deg' --to-slot slacken")
	want := math.Sqrt(0.004*0.004 + 0.02*0.02 + 0.025*0.025)
	if r := result(t, a, "slot_play"); math.Abs(r.Value-0.05) > 1e-9 || math.Abs(r.U95-want) > 1e-9 {
		t.Errorf("play at the slot %v ± %v, by hand 0.05 ± %v", r.Value, r.U95, want)
	}
}

// TestJSON: lengths in the asked unit, other numbers with theirs named, inputs
// given once or more, an uncertainty beside its result.
func TestJSON(t *testing.T) {
	read := func(line string, verb string) map[string]any {
		j, err := json.Marshal(must(t, verb, line))
		m := map[string]any{}
		if err != nil || json.Unmarshal(j, &m) != nil {
			t.Fatalf("%s, %v", j, err)
		}
		return m
	}
	m := read("'32 H7/g6' --unit um", "fit")
	if m["least_clearance"] != 9.0 || m["greatest_clearance"] != 50.0 || m["unit"] != "um" || m["hole"].(map[string]any)["high"] != 32025.0 {
		t.Errorf("%v", m)
	}
	m = read("--interference '0.002 in' --at '30 mm' --bore '25 mm' --unit in", "press")
	if m["units"].(map[string]any)["pressure"] != "MPa" || m["interference"].(map[string]any)["low"] != 0.002 {
		t.Errorf("%v", m)
	}
	m = read("--shaft '31.87 mm' --shaft '31.872 mm' --shaft '31.871 mm' --clearance 0.009..0.050", "bush")
	if l, ok := m["given"].(map[string]any)["shaft"].([]any); !ok || len(l) != 3 {
		t.Errorf("%v", m["given"])
	}
	m = read("--play '0.8 ± 0.08 mm' --arm 150 --ratio 18 --wheel 450", "lash")
	if u, ok := m["degrees_u95"].(float64); !ok || math.Abs(u/m["degrees"].(float64)-0.1) > 1e-9 {
		t.Errorf("%v", m)
	}
	m = read("0.009..0.050 mm --to in --places 4 --inward", "convert")
	if m["low"] != 0.0004 || m["high"] != 0.0019 || m["unit"] != "in" {
		t.Errorf("%v", m)
	}
}

// TestOpenLowerLimit: a play's open lower limit is zero when a next step is
// worked out.
func TestOpenLowerLimit(t *testing.T) {
	c := pinChecks()
	c[4].Low = math.Inf(-1)
	s := Suggest([]*ledger.Take{{Take: 1, Tag: ledger.Tag{Component: "left front hub", Check: "end play"}, Unit: quantity.MM, Result: 0.2, Verdict: ledger.Fail}}, c)
	if len(s) != 1 || s[0].Inputs["band"][0] != "0.0000..0.1000 mm" {
		t.Errorf("%+v", s)
	}
}
