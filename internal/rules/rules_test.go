package rules

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

var tight = &ledger.Take{
	Take: 7, Tag: ledger.Tag{Component: "left hub", Position: "outer", Check: "end play"}, CheckID: "hub",
	Method: "end-play", Gauge: "dial-1", Unit: quantity.Thou, Result: 0.5, U95: 0.4, Low: 2, High: 5,
	Verdict: ledger.Fail, Side: "below", PBelow: 0.999, PIn: 0.001, Confidence: 0.95, Strokes: 6,
}

func TestRulesApply(t *testing.T) {
	set, errs := Compile([]Rule{
		{When: "method == 'end-play' && side == 'below'", Say: "too tight: back off", Sound: "fail"},
		{When: "result_mm > 0.1", Say: "no"},
		{When: "result_mm < 0.013 and strokes >= 6 and check contains 'play'", Sound: "undecided"},
		{When: "p_in < 0.5 && position in ['outer', 'inner']", Say: "look again"},
		{When: "abs(result - low) > 1", Say: "far off"},
	})
	if len(errs) > 0 {
		t.Fatal(errs)
	}
	hits, err := set.Apply(tight)
	if err != nil {
		t.Fatal(err)
	}
	var got []int
	for _, h := range hits {
		got = append(got, h.Rule)
	}
	if len(got) != 4 || got[0] != 1 || got[1] != 3 || got[2] != 4 || got[3] != 5 {
		t.Errorf("rules %v apply, want 1 3 4 5", got)
	}
	if hits[0].Say != "too tight: back off" || hits[0].Sound != "fail" {
		t.Errorf("hit %+v", hits[0])
	}
	// Not a length: no mm, and comparisons with it do not hold.
	drag := *tight
	drag.Unit = quantity.NM
	drag.Method = "drag"
	hits, _ = set.Apply(&drag)
	for _, h := range hits {
		if h.Rule == 3 {
			t.Error("a torque was compared in mm")
		}
	}
	if hits, err := (*Set)(nil).Apply(tight); hits != nil || err != nil {
		t.Error("a sheet without rules says something")
	}
}

func TestRuleMistakes(t *testing.T) {
	for _, c := range []struct{ when, say, sound, want string }{
		{"", "x", "", "no condition"},
		{"side == 'below'", "", "", "neither says nor sounds"},
		{"side == 'below'", "x", "loud", "unknown sound"},
		{"sid == 'below'", "x", "", "unknown name sid"},
		{"side == 'under'", "x", "", `side is never "under"`},
		{"'endplay' == method", "x", "", `method is never "endplay"`},
		{"result", "x", "", "expected bool"},
		{"result > ", "x", "", "unexpected token"},
		{"result > 'a'", "x", "", "invalid operation"},
		{"len(note) > 3", "x", "", "len has no place"},
		{"all(1..1000000, all(1..1000000, # > 0))", "x", "", "has no place in a condition"},
		{"let r = result; r > 1", "x", "", "has no place in a condition"},
		{"take in 1..5", "x", "", "a range (..) has no place"},
		{strings.Repeat("result > 1 && ", 400) + "true", "x", "", "maximum allowed nodes"},
	} {
		set, errs := Compile([]Rule{{When: "true", Say: "always"}, {When: c.when, Say: c.say, Sound: c.sound}})
		if len(errs) != 1 {
			t.Errorf("%q: %d errors, want 1", c.when, len(errs))
			continue
		}
		msg := errs[0].Error()
		if !strings.HasPrefix(msg, "rule 2 ") || !strings.Contains(msg, c.want) || strings.Contains(msg, "\n") {
			t.Errorf("%q: %q, want one line naming rule 2 and %q", c.when, msg, c.want)
		}
		if hits, _ := set.Apply(tight); len(hits) != 1 {
			t.Errorf("%q: the sound rule beside it is lost", c.when)
		}
	}
}

func TestDerived(t *testing.T) {
	at := map[Input]float64{
		{"bush", "upper"}: 30.041, {"bush", "lower"}: 30.036, {"pin", "upper"}: 29.981, {"pin", "lower"}: 29.979, {"shim", ""}: 0.5,
	}
	for _, c := range []struct {
		text   string
		want   float64
		smooth bool
	}{
		{`bush["upper"] - pin["upper"]`, 0.060, true},
		{`min(bush["upper"], bush["lower"]) - max(pin["upper"], pin["lower"])`, 0.055, false},
		{`mean(bush["upper"], bush["lower"]) / 1`, 30.0385, true},
		{`mean([bush["upper"], bush["lower"]])`, 30.0385, true},
		{`sum(bush["upper"], pin["upper"])`, 60.022, true},
		{`max(pin["upper"], pin["lower"]) - min(pin["upper"], pin["lower"])`, 0.002, false},
		{`abs(pin["lower"] - pin["upper"])`, 0.002, false},
		{`-2 * shim + 1.5 * 1.5`, 1.25, true},
		{`bush["upper"] - bush["upper"] + (3 / 4)`, 0.75, true},
	} {
		e, err := CompileDerived(c.text)
		if err != nil {
			t.Errorf("%s: %v", c.text, err)
			continue
		}
		var v []float64
		for _, in := range e.Inputs() {
			x, ok := at[in]
			if !ok {
				t.Fatalf("%s: input %v", c.text, in)
			}
			v = append(v, x)
		}
		got, err := e.Eval(v)
		if err != nil || math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s = %v, %v, want %v", c.text, got, err, c.want)
		}
		if e.Smooth() != c.smooth {
			t.Errorf("%s: smooth %v", c.text, e.Smooth())
		}
	}
	e, _ := CompileDerived(`1 / shim`)
	if _, err := e.Eval([]float64{0}); err == nil {
		t.Error("a division by zero is a number")
	}
}

// Only of a sum or a difference of inputs does the value change with one of them by as
// much everywhere.
func TestSlope(t *testing.T) {
	a, b, c := Input{"a", ""}, Input{"b", ""}, Input{"c", ""}
	for _, x := range []struct {
		text   string
		in     Input
		want   float64
		linear bool
	}{
		{`a - b`, a, 1, true}, {`a - b`, b, -1, true}, {`0.3 - (b - a)`, a, 1, true}, {`2 * a - mean(b, c)`, c, -0.5, true},
		{`(a - b) / 4`, a, 0.25, true}, {`a + b - a`, a, 0, true},
		{`a * b`, a, 0, false}, {`a * b / c`, a, 0, false}, {`a * (b - c)`, a, 0, false}, {`a / b`, b, 0, false}, {`b / a`, a, 0, false},
		{`a * a - b`, a, 0, false}, {`a / (b - b)`, a, 0, false}, {`abs(a - b)`, a, 0, false}, {`max(a, b)`, a, 0, false}, {`a - b`, c, 0, false},
	} {
		e, err := CompileDerived(x.text)
		if err != nil {
			t.Fatal(err)
		}
		if s, linear := e.Slope(x.in); linear != x.linear || linear && math.Abs(s-x.want) > 1e-12 {
			t.Errorf("%s by %s: %v, linear %v", x.text, x.in, s, linear)
		}
	}
}

func TestDerivedMistakes(t *testing.T) {
	for text, want := range map[string]string{
		``:                              "no value",
		`3 + 4`:                         "no measured value",
		`bush["upper"] > 3`:             "no place in a value",
		`bush["upper"] + shim[""]`:      "empty position",
		`bush["upper"] + bush`:          "with and without",
		`bush[1]`:                       "position in quotes",
		`sqrt(bush)`:                    "unknown function",
		`abs(bush, pin)`:                "one value",
		`bush ^ 2`:                      "no place in a value",
		`min()`:                         "1 or more",
		`bush["upper"] -`:               "unexpected token",
		`true ? bush : pin`:             "expected numbers",
		`let x = bush; x`:               "expected numbers",
		`map(1..9, # * bush)`:           "unknown function",
		strings.Repeat("a+", 600) + "a": "maximum allowed nodes",
		`bush["upper"].x`:               "position in quotes",
		`"text"`:                        "expected numbers",
		`not bush`:                      "no place in a value",
	} {
		e, err := CompileDerived(text)
		if err == nil {
			t.Errorf("%s: compiled to %v", text, e.Inputs())
		} else if !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %q, want one line with %q", text, err, want)
		}
	}
}

// Whatever a person types, the answer is a value or one line.
func TestDerivedNeverPanics(t *testing.T) {
	word := rapid.SampledFrom([]string{"bush", `["upper"]`, "(", ")", "+", "-", "*", "/", "^", "min", "mean", ",", "3", ".5", "1e9", "[", "]", "?", ":", "#", "..", "|", "let", "'", `"`, "not", "in"})
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOfN(word, 1, 12).Draw(t, "words"), " ")
		e, err := CompileDerived(text)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Fatalf("%q: more than one line: %q", text, err)
			}
			return
		}
		v := make([]float64, len(e.Inputs()))
		for i := range v {
			v[i] = 1.5
		}
		if x, err := e.Eval(v); err == nil && (math.IsNaN(x) || math.IsInf(x, 0)) {
			t.Fatalf("%q = %v", text, x)
		}
	})
}

// Whatever a person types as a condition, the sheet loads or says one line, and
// a take is judged in bounded time.
func FuzzRule(f *testing.F) {
	seeds := []string{
		"method == 'end-play' && side == 'below'", "result_mm > 0.1 or p_in < 0.5", "position in ['outer', 'inner'] ? true : false",
		"check matches '^play.*$'", "all(1..1000000, # > 0)", "let x = result; x > low", "abs(min(result, u95)) ** 2 >= 1e300", "lower(note) contains \"moved\"", "not bound and dof > 3",
	}
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, when string) {
		if len(when) > 2000 {
			return
		}
		set, errs := Compile([]Rule{{When: when, Say: "x"}})
		for _, err := range errs {
			if strings.Contains(err.Error(), "\n") {
				t.Fatalf("more than one line: %q", err)
			}
		}
		start := time.Now()
		hits, err := set.Apply(tight)
		if d := time.Since(start); d > 5*time.Second {
			t.Fatalf("%q takes %v", when, d)
		}
		if len(hits) > 1 || err != nil && strings.Contains(err.Error(), "\n") {
			t.Fatalf("%v, %v", hits, err)
		}
	})
}
