package sums

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
)

// TestErrorsSayWhat: one line that names the input, what was found and what is
// expected.
func TestErrorsSayWhat(t *testing.T) {
	for _, x := range []struct{ verb, line, want string }{
		{"convert", "", "what is missing"},
		{"convert", "0.05", "no unit"},
		{"convert", "1 mm --to kg", "cannot convert"},
		{"convert", "1 mm --to", "needs a value"},
		{"convert", "1 mm --places x", "whole number"},
		{"convert", "1 mm --inward", "needs limits"},
		{"convert", "0.009..0.010 mm --to in --places 3 --inward", "use --places 4"},
		{"convert", "2..1 mm", "above the upper"},
		{"fit", "", "nothing to work on"},
		{"fit", "32", "only a size"},
		{"fit", "32 H7/G6", "both holes"},
		{"fit", "600 H7", "up to 500"},
		{"fit", "'32 H7' --hole 32..32.1", "given twice"},
		{"fit", "--hole H7 --shaft g6", "needs the nominal size"},
		{"fit", "32 --hole g6", "upper case is a hole"},
		{"fit", "--hole ..32.1 --shaft 31.9", "both ends"},
		{"fit", "--hole -1 --shaft 31.9", "more than zero"},
		{"fit", "32 --clearance 0.05", "expected a range"},
		{"bush", "--clearance 0.009..0.050", "--shaft is missing"},
		{"bush", "--shaft 31.87", "--clearance is missing"},
		{"bush", "--shaft 31.87 N --clearance 0.009..0.050", "does not measure"},
		{"bush", "--shaft 31.87 --clearance 0.05", "no tolerance"},
		{"bush", "--shaft 31.87,31.80 --clearance 0.009..0.050", "grind it round"},
		{"bush", "--shaft '31.87 ± 0.05 mm' --clearance 0.009..0.050", "measure finer"},
		{"bush", "--shaft 31.87 --clearance 0.009..0.050 --confidence 2", "between 0.5 and 1"},
		{"bush", "31.87 --clearance 0.009..0.050", "have flags"},
		{"bush", "--shaft 31.87 --clearance 0.009..0.050 --clearance 1..2", "given 2 times"},
		{"bush", "--shaft 31.87 --clearance 0.009..0.050 --unit thou", "could be mm or thou"},
		{"bush", "--clearence 0.009..0.050", "did you mean --clearance?"},
		{"press", "--bore 25", "what is pressed into what"},
		{"press", "--bush 30 --housing 30.02", "no interference"},
		{"press", "--interference 0.05", "--at is missing"},
		{"press", "--interference 0.05 --bush 30 --housing 29.9", "either"},
		{"press", "--interference 0.05 --at 30 --housing-od 20", "larger than the joint"},
		{"press", "--interference 0.05 --at 30 --bore 31", "between 0 and"},
		{"press", "--interference 0.05 --at 30 --bore 25 --finish 30", "no wall is left of the bush"},
		{"press", "--interference 0.05 --at 30 --bore 25 --finish '25..31 mm'", "no wall is left of the bush"},
		{"press", "--interference 0.005 --at 30 --bore 25 --bush-rz '6.3 um' --housing-rz '10 um'", "takes up all"},
		{"press", "--interference 0.05 --at 30 --bush-material wood", "not one of"},
		{"warm", "--shaft 32 --bore 32.05", "--temp is missing"},
		{"warm", "--shaft 32 --bore 32.05 --temp 80 --bush 30", "grow outwards"},
		{"warm", "--shaft 32 --bore 32.05 --temp 80 --bush 30", "bore 32.0500, bush 30.0000 mm"},
		{"warm", "--shaft 32 --bore 32.05 --temp -300", "below absolute zero"},
		{"press", "--interference 0.05 --at 30 --bore 25 --bush-e 110000", "110000 GPa: no material is so stiff"},
		{"turn", "--play 0.12 --band 0.02..0.05", "--pitch is missing"},
		{"turn", "--play 0.12 --band 0.02.. --pitch 1.5", "upper end is needed"},
		{"turn", "--play 0.12 --band 0.02..0.05 --pitch 1.5 --tpi 18", "not both"},
		{"turn", "--play 0.12 --band 0.02..0.05 --pitch 0", "more than zero"},
		{"turn", "--play 0.12 --band 0.02..0.05 --pitch 1.5 --slots 0", "1 to 1000"},
		{"turn", "--play 0.12 --band 0.02..0.05 --pitch 1.5 --holes 2", "--slots is missing"},
		{"shim", "--play 0.3 --band 0.02..0.05", "--stock is missing"},
		{"shim", "--play 0.3 --band 0.02..0.05 --stock 0.1x0", "how many there are"},
		{"shim", "--play 0.3 --band 0.02..0.05 --stock -0.1", "thickness"},
		{"shim", "--play 300 --band 0.02..0.05 --stock 0.10001,0.2", "too unlike"},
		{"lash", "--wheel 450", "--play is missing"},
		{"lash", "--play 0.8 --wheel 450", "ends at a travel"},
		{"lash", "--play 0.8 --arm 150 --chain 'play 0.1 mm' --wheel 450", "a play there is in deg"},
		{"lash", "--play 0.8 --arm 150 --chain 'gear 3' --wheel 450", "expected 'arm 150 mm'"},
		{"lash", "--play 0.8 --arm 0 --wheel 450", "more than zero"},
		{"tilt", "--overhang 20 --span 120", "--reading is missing"},
		{"tilt", "--overhang 20 --span 0 --reading 1", "more than zero"},
		{"tilt", "--overhang 20 --span 120 --near 0.1", "go together"},
		{"tilt", "--overhang -2 --span 120 --reading 0.1", "zero or more"},
	} {
		a, err := do(t, x.verb, x.line)
		if err == nil {
			t.Errorf("%s %s: no error but %v", x.verb, x.line, a.Lines())
			continue
		}
		if !strings.Contains(err.Error(), x.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s %s: %q, expected %q in it", x.verb, x.line, err, x.want)
		}
	}
}

// FuzzRun: whatever is typed, no panic, no number that is none, and JSON that can
// be read back.
func FuzzRun(f *testing.F) {
	seeds := 0
	for i, s := range All() {
		for _, e := range s.Examples {
			f.Add(uint8(i), strings.TrimPrefix(e, "thouwright calc "+s.Verb+" "))
			seeds++
		}
	}
	if seeds < 20 {
		f.Fatalf("%d seeds", seeds)
	}
	f.Fuzz(func(t *testing.T, verb uint8, line string) {
		s := All()[int(verb)%len(All())]
		in, o, err := s.ParseArgs(shellWords(line))
		if err != nil {
			return
		}
		a, err := s.Run(in, o.Unit)
		if err != nil {
			if strings.TrimSpace(err.Error()) == "" {
				t.Fatal("an error without a word")
			}
			return
		}
		for _, r := range a.Results {
			for _, v := range []float64{r.Value, r.Low, r.High, r.U95} {
				if math.IsNaN(v) {
					t.Fatalf("%s %q: %s is not a number", s.Verb, line, r.Name)
				}
			}
		}
		for _, line := range a.Lines() {
			if strings.Contains(line, "NaN") {
				t.Fatalf("%s: %s", s.Verb, line)
			}
		}
		j, err := json.Marshal(a)
		if err != nil || !json.Valid(j) {
			t.Fatalf("%s %q: JSON %s, %v", s.Verb, line, j, err)
		}
	})
}
