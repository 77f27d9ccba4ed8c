package config

import (
	"math"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thouwright/drivers"
	"thouwright/internal/quantity"
)

var someDrivers = drivers.BuiltIn()

func example(t *testing.T) (*Bench, *Job) {
	t.Helper()
	b, ps := LoadBench("example/bench.toml")
	if b == nil {
		t.Fatal(lines(ps))
	}
	j, ps := LoadJob("example/jobs/2026-041.toml")
	if j == nil {
		t.Fatal(lines(ps))
	}
	return b, j
}

func TestExampleIsConsistent(t *testing.T) {
	b, j := example(t)
	if ps := Validate(b, j, someDrivers); len(ps) > 0 {
		t.Error(strings.Join(lines(ps), "\n"))
	}
}

// The cross checks: one change to the example, and the lines it must bring.
func TestFilesAreCheckedAgainstEachOther(t *testing.T) {
	bench, err := os.ReadFile("example/bench.toml")
	if err != nil {
		t.Fatal(err)
	}
	job, err := os.ReadFile("example/jobs/2026-041.toml")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, inBench, inJob, to string
		want                     []string
	}{
		{"driver", `driver = "signed-decimal"` + "\nunit = \"N\"", "", `driver = "signed-decimel"` + "\nunit = \"N\"",
			[]string{`b:56: gauge "pull-1": driver: found "signed-decimel", which is not known; did you mean "signed-decimal"?`}},
		{"gauge", "", `gauge = "mic-1"`, `gauge = "mic1"`,
			[]string{`j:36: component "left swivel pin", check "pin diameter": gauge: found "mic1", which is not known; did you mean "mic-1"?`}},
		{"minus", "", `gauge = "dial-1"`, "gauge = \"dial-1\"\n  minus = \"pull-1\"",
			[]string{`j:23: component "left swivel pin", check "play in bushes": gauge "pull-1" reads N, but play is measured in a length (mm, um, in, thou)`}},
		{"kind", "", `gauge = "dial-1"`, `gauge = "pull-1"`,
			[]string{`j:22: component "left swivel pin", check "play in bushes": gauge "pull-1" reads N, but play is measured in a length (mm, um, in, thou)`}},
		{"arm", "", "  arm = \"180 mm\"\n", "",
			[]string{`j:66: component "left swivel pin", check "turning drag": the gauge "pull-1" reads a force, the limits are a torque: add arm = "180 mm", the distance from the axis at which it pulls`}},
		{"travel", "", `limits = "..0.250 mm"`, `limits = "..12 mm"`,
			[]string{`j:103: component "belt pulley", check "run-out of the rim": the limits go up to 12 mm, more than the trusted travel of gauge "dial-2" (0..12.7 mm): choose one with more`,
				`j:103: warning: component "belt pulley", check "run-out of the rim": the limits go up to 12 mm, beyond the 0.3 mm for which error_local of gauge "dial-2" holds: the error of the whole travel will count there`}},
		{"span", "error = \"0.004 mm\"\nerror_local = \"0.0015 mm over 0.3 mm\"", "", "error_local = \"0.0015 mm over 0.2 mm\"",
			[]string{`j:103: warning: component "belt pulley", check "run-out of the rim": the limits go up to 0.25 mm, beyond the 0.2 mm for which error_local of gauge "dial-2" holds: it will count there once for each such movement; give error too, if the certificate has it`}},
		{"range", "step = \"0.001 mm\"\nerror = \"0.003 mm\"", "", "step = \"0.001 mm\"\nrange = \"40..50 mm\"\nerror = \"0.003 mm\"",
			[]string{`j:51: component "left swivel pin", check "bush bore": the limits lie outside the range of gauge "bore-1" (40..50 mm): choose a gauge that reaches them, or gauge against a master`}},
		{"range's end", "step = \"0.001 mm\"\nerror = \"0.003 mm\"", "", "step = \"0.001 mm\"\nrange = \"10..31 mm\"\nerror = \"0.003 mm\"",
			[]string{`j:51: warning: component "left swivel pin", check "bush bore": the limits reach into the last 5 % of the range of gauge "bore-1" (10..31 mm), where no reading is trusted: choose one that reads nearer its middle, or leave out its range`}},
		{"expect", "", "expect = \"29.5..30.5 mm\"\n  limits", "expect = \"29.97..30.5 mm\"\n  limits",
			[]string{`j:38: component "left swivel pin", check "pin diameter": expect 29.97..30.5 mm leaves out part of the limits, so a good part would not be seen: widen it well beyond both limits`}},
		{"no error", "error = \"0.5 N\"\n", "", "",
			[]string{`j:69: warning: component "left swivel pin", check "turning drag": gauge "pull-1" has neither error nor error_local in the bench file: one step is assumed and every record says so; enter its certificate's figure`}},
		{"derived id", "", `bush["upper"] -`, `bosh["upper"] -`,
			[]string{`j:57: component "left swivel pin", check "clearance, upper bush": value: no check has the id "bosh": did you mean "bush"?`}},
		{"derived position", "", `bush["upper"] -`, `bush["uper"] -`,
			[]string{`j:57: component "left swivel pin", check "clearance, upper bush": value: bush has no position "uper": it is measured at "upper", "lower"; did you mean "upper"?`}},
		{"derived bare", "", `bush["upper"] -`, `bush -`,
			[]string{`j:57: component "left swivel pin", check "clearance, upper bush": value: bush is measured at "upper", "lower": say which, such as bush["upper"]`}},
		{"derived of itself", "", "name = \"clearance, upper bush\"\n  method = \"derived\"\n  value = 'bush[", "id = \"c\"\n  name = \"clearance, upper bush\"\n  method = \"derived\"\n  value = 'c + bush[",
			[]string{`j:58: component "left swivel pin", check "clearance, upper bush": value: it depends on itself through other derived values`}},
		{"rule", "", `when = "method ==`, `when = "metod ==`,
			[]string{`j:107: rule 1 (when = "metod == 'end-play' && side == 'below'"): unknown name metod, at character 1`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			bt, jt := string(bench), string(job)
			if c.inBench != "" || c.inJob == "" {
				bt = replaceOnce(t, bt, c.inBench, c.to)
			} else {
				jt = replaceOnce(t, jt, c.inJob, c.to)
			}
			b, ps := ParseBench("b", []byte(bt))
			if b == nil {
				t.Fatal(lines(ps))
			}
			j, ps := ParseJob("j", []byte(jt))
			if j == nil {
				t.Fatal(lines(ps))
			}
			if d := cmp.Diff(c.want, lines(Validate(b, j, someDrivers))); d != "" {
				t.Errorf("problems (-want +got):\n%s", d)
			}
		})
	}
}

func replaceOnce(t *testing.T, s, old, to string) string {
	t.Helper()
	if !strings.Contains(s, old) {
		t.Fatalf("%q is not in the example", old)
	}
	return strings.Replace(s, old, to, 1)
}

func near(a, b float64) bool {
	return a == b || math.Abs(a-b) <= 1e-12*math.Max(math.Abs(a), math.Abs(b))
}

// A gauge in inches against limits in millimetres: 1 in = 25.4 mm exactly.
func TestSpecIsInTheLimitsUnit(t *testing.T) {
	b, j := example(t)
	s, err := Spec(b, j, 0, 0, "assembled")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"step", s.Gauge.Step, 0.0127}, {"error", s.Gauge.Error, 0.0254},
		{"error_local", s.Gauge.ErrorLocal, 0.00254}, {"its span", s.Gauge.ErrorSpan, 0.254},
		{"range low", s.Gauge.RangeLow, 0}, {"range high", s.Gauge.RangeHigh, 10.16},
		{"low", s.Limits.Low, 0.009}, {"high", s.Limits.High, 0.050},
		{"tilt", s.TiltDeg, 0}, {"tilt bound", s.TiltMax, 3}, {"confidence", s.Confidence, 0.95},
	} {
		if !near(c.got, c.want) {
			t.Errorf("%s = %v, want %v", c.what, c.got, c.want)
		}
	}
	if s.Unit != quantity.MM || s.Strokes != 6 || s.MaxStrokes != 12 {
		t.Errorf("unit %v, strokes %d..%d", s.Unit, s.Strokes, s.MaxStrokes)
	}
	if s, err = Spec(b, j, 0, 0, "as found"); err != nil || !math.IsInf(s.Limits.Low, -1) || s.Limits.High != 0.120 {
		t.Errorf("as found: limits %v, %v", s.Limits, err)
	}
	// 0.1 N at 180 mm is 0.018 N·m.
	if s, err = Spec(b, j, 0, 5, ""); err != nil || !near(s.Gauge.Step, 0.018) || s.Unit != quantity.NM {
		t.Errorf("drag: step %v %v, %v", s.Gauge.Step, s.Unit, err)
	}
	// Nor does it take limits to make a torque of it: a preload may be worked out from it.
	j.Components[0].Checks[5].Limits = nil
	if s, err = Spec(b, j, 0, 5, ""); err != nil || !near(s.Gauge.Step, 0.018) || s.Unit != quantity.NM {
		t.Errorf("drag without limits: step %v %v, %v", s.Gauge.Step, s.Unit, err)
	}
	// 32 H7/g6: ISO 286-2 tables, H7 0/+25, g6 -9/-25 µm.
	c := &j.Components[0].Checks[0]
	c.Limits, c.StageLimits, c.Fit = nil, nil, "32 H7/g6"
	if s, err = Spec(b, j, 0, 0, ""); err != nil || !near(s.Limits.Low, 0.009) || !near(s.Limits.High, 0.050) {
		t.Errorf("fit: limits %v, %v", s.Limits, err)
	}
	// A lower limit of zero on play is an open end (methods, Verdict).
	r, _ := quantity.ParseRange("0..2 thou")
	c.Limits, c.Fit = &r, ""
	if s, err = Spec(b, j, 0, 0, ""); err != nil || !math.IsInf(s.Limits.Low, -1) || s.Limits.High != 2 || s.Gauge.Step != 0.5 {
		t.Errorf("thou: limits %v step %v, %v", s.Limits, s.Gauge.Step, err)
	}
}

// A dial is set to zero on its master: a range from 0 up then has its readings at its
// end, where none is trusted.
func TestAMasterAtTheEndOfTheRange(t *testing.T) {
	for _, c := range []struct{ span, want string }{
		{"0..12.7 mm", `j:9: warning: component "c", check "bore": set to zero on its master, gauge "g" reads near the end of its range 0..12.7 mm, where no reading is trusted: write the range as it reads then, such as -6.35..6.35 mm`},
		{"-12..0.5 mm", `j:9: warning: component "c", check "bore": set to zero on its master, gauge "g" reads near the end of its range -12..0.5 mm, where no reading is trusted: write the range as it reads then, such as -6.25..6.25 mm`},
		{"-6.35..6.35 mm", ""}, {"-1..10 mm", ""},
	} {
		b, ps := ParseBench("b", []byte("[[gauge]]\nname = \"g\"\nport = \"tcp://bench:1\"\ndriver = \"signed-decimal\"\nunit = \"mm\"\nerror_local = \"0.001 mm over 1 mm\"\nrange = \""+c.span+"\"\n"))
		if b == nil {
			t.Fatal(lines(ps))
		}
		j, ps := ParseJob("j", []byte("number = \"1\"\n[[component]]\nname = \"c\"\n[[component.check]]\nname = \"bore\"\nmethod = \"size\"\ngauge = \"g\"\nlimits = \"30..30.021 mm\"\nmaster = \"30 mm\"\n"))
		if j == nil {
			t.Fatal(lines(ps))
		}
		if got := strings.Join(lines(Validate(b, j, someDrivers)), "\n"); got != c.want {
			t.Errorf("%s: %q, want %q", c.span, got, c.want)
		}
	}
}

// A gauge whose range nobody wrote down cannot tell a stop from the end of its travel:
// a play comes out too small, and passes.
func TestAPlayWantsTheGaugesRange(t *testing.T) {
	for _, c := range []struct {
		method, span string
		said         bool
	}{{"play", "", true}, {"end-play", "", true}, {"play", "range = \"0..12.7 mm\"\n", false}, {"size", "", false}} {
		b, ps := ParseBench("b", []byte("[[gauge]]\nname = \"g\"\nport = \"tcp://bench:1\"\ndriver = \"signed-decimal\"\nunit = \"mm\"\nerror_local = \"0.001 mm over 1 mm\"\n"+c.span))
		if b == nil {
			t.Fatal(lines(ps))
		}
		j, ps := ParseJob("j", []byte("number = \"1\"\n[[component]]\nname = \"c\"\n[[component.check]]\nname = \"n\"\nmethod = \""+c.method+"\"\ngauge = \"g\"\nlimits = \"0.01..0.1 mm\"\n"))
		if j == nil {
			t.Fatal(lines(ps))
		}
		got := strings.Join(lines(Validate(b, j, someDrivers)), "\n")
		if strings.Contains(got, `warning: component "c", check "n": gauge "g" has no range in the bench file`) != c.said || !c.said && got != "" {
			t.Errorf("%s with %q: %q", c.method, c.span, got)
		}
	}
}

// A preload in N·m cannot be worked out of pulls in N: it takes the arm of each.
func TestADerivedValuesInputsFitItsLimits(t *testing.T) {
	b, ps := ParseBench("b", []byte("[[gauge]]\nname = \"pull\"\nport = \"/dev/null\"\ndriver = \"signed-decimal\"\nunit = \"N\"\nerror = \"0.1 N\"\n"))
	if b == nil {
		t.Fatal(lines(ps))
	}
	job := `number = "1"
[[component]]
name = "bearing"
[[component.check]]
id = "seals"
name = "seals"
method = "drag"
gauge = "pull"
arm = "200 mm"
[[component.check]]
id = "drag"
name = "drag"
method = "drag"
gauge = "pull"
arm = "200 mm"
[[component.check]]
name = "preload"
method = "derived"
value = "drag - seals"
limits = "0.4..0.6 N·m"
`
	for _, c := range []struct {
		old, to string
		want    []string
	}{
		{"number", "number", nil},
		{"limits = \"0.4..0.6 N·m\"\n", "", nil},
		{"name = \"drag\"\nmethod = \"drag\"\ngauge = \"pull\"\narm = \"200 mm\"", "name = \"drag\"\nmethod = \"drag\"\ngauge = \"pull\"",
			[]string{`j:18: component "bearing", check "preload": value: drag is in N, the limits are in N·m: add arm = "180 mm" to drag, the distance from the axis at which its gauge pulls`}},
		{"0.6 N·m", "0.6 N", []string{`j:19: component "bearing", check "preload": value: drag is in N·m, the limits are in N`}},
	} {
		j, ps := ParseJob("j", []byte(replaceOnce(t, job, c.old, c.to)))
		if j == nil {
			t.Fatal(lines(ps))
		}
		if d := cmp.Diff(c.want, lines(Validate(b, j, someDrivers))); d != "" {
			t.Errorf("%q (-want +got):\n%s", c.to, d)
		}
	}
}
