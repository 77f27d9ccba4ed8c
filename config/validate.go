package config

import (
	"fmt"
	"math"
	"strings"

	"thouwright/drivers"
	"thouwright/internal/form"
	"thouwright/internal/method"
	"thouwright/internal/quantity"
	"thouwright/internal/rules"
)

// Validate checks bench, job and drivers against each other; j may be nil, and
// cat too, which leaves what concerns drivers unchecked. What
// each file says by itself was checked when it was read. Without a problem
// that is not a warning, Spec succeeds for every check at every stage.
func Validate(b *Bench, j *Job, cat *drivers.Catalogue) []Problem {
	fb := &finder{file: b.File, lines: b.lines}
	if cat != nil {
		for i := range b.Gauges {
			fb.driver(i, &b.Gauges[i], cat)
		}
	}
	if j == nil {
		return inOrder(fb.ps)
	}
	fj := &finder{file: j.File, lines: j.lines}
	for i := range j.Components {
		for k := range j.Components[i].Checks {
			fj.against(b, j, i, k, cat)
		}
	}
	fj.derived(j)
	for i, r := range j.Rules {
		if _, errs := rules.Compile([]Rule{r}); len(errs) > 0 {
			fj.add(path("rule", i, "when"), "%s", strings.Replace(errs[0].Error(), "rule 1 ", fmt.Sprintf("rule %d ", i+1), 1))
		}
	}
	return append(inOrder(fb.ps), inOrder(fj.ps)...)
}

// driver checks a gauge's driver, and the gauge's unit against it.
func (f *finder) driver(i int, g *Gauge, cat *drivers.Catalogue) {
	d, err := cat.Find(g.Driver)
	if broken := cat.Broken(g.Driver); broken != nil {
		f.add(path("gauge", i, "driver"), "gauge %q: its driver has a mistake: %v", g.Name, broken)
		return
	}
	if err != nil {
		var names []string
		for _, d := range cat.All() {
			names = append(names, d.Name)
		}
		f.add(path("gauge", i, "driver"), "gauge %q: %s", g.Name, unknownWord("driver", g.Driver, names))
		return
	}
	if u := gaugeUnit(g); u != quantity.None && d.Unit != quantity.None && u.Kind() != d.Unit.Kind() {
		f.add(path("gauge", i, "driver"), "gauge %q: the driver %s reads %s, but the gauge's figures are in %s: one of the two is wrong", g.Name, d.Name, d.Unit, u)
	}
}

// readsIn is the unit a gauge reads in as far as bench file and driver say.
func readsIn(g *Gauge, cat *drivers.Catalogue) quantity.Unit {
	if u := gaugeUnit(g); u != quantity.None || cat == nil {
		return u
	}
	if d, err := cat.Find(g.Driver); err == nil {
		return d.Unit
	}
	return quantity.None
}

func contains(words []string, w string) bool {
	for _, x := range words {
		if x == w {
			return true
		}
	}
	return false
}

func unknownWord(what, found string, words []string) string {
	if w := form.Likely(found, words); w != "" {
		return fmt.Sprintf("%s: found %q, which is not known; did you mean %q?", what, found, w)
	}
	if len(words) == 0 {
		return fmt.Sprintf("%s: found %q, but there are none", what, found)
	}
	more := ""
	if len(words) > 12 {
		words, more = words[:12], ", …"
	}
	return fmt.Sprintf("%s: found %q, which is not known; known are %s%s", what, found, quoted(words), more)
}

// against checks one check of the job against the bench.
func (f *finder) against(b *Bench, j *Job, i, k int, cat *drivers.Catalogue) {
	c := &j.Components[i].Checks[k]
	who := checkName(j, i, k) + ": "
	at := func(key string) []any { return path("component", i, "check", k, key) }
	if c.Method == method.Derived {
		f.inputsFit(at("value"), who, b, j, i, k)
		return
	}
	before := len(f.ps)
	g := b.Gauge(c.Gauge)
	if g == nil {
		f.add(at("gauge"), "%s%s", who, unknownGauge("gauge", c.Gauge, b))
	}
	if c.Minus != "" && b.Gauge(c.Minus) == nil {
		f.add(at("minus"), "%s%s", who, unknownGauge("minus", c.Minus, b))
	}
	if g == nil || len(f.ps) > before {
		return
	}
	f.unitsFit(at, who, b, c, g, cat)
	if len(f.ps) > before {
		return
	}
	for _, stage := range append([]string{""}, j.Stages...) {
		s, err := Spec(b, j, i, k, stage)
		if err != nil {
			f.add(at("limits"), "%v", err)
			return
		}
		if stage == "" || len(c.StageLimits) > 0 {
			f.reach(at, who, c, g, s)
		}
		if len(f.ps) > before {
			break
		}
	}
	if g.Range == nil && (c.Method == method.Play || c.Method == method.EndPlay) {
		f.warn(at("gauge"), "%sgauge %q has no range in the bench file: a plunger at the end of its travel looks like a stop, and the play comes out too small; add range = \"0..10 mm\", or what it reads at its ends", who, g.Name)
	}
	if g.Error == nil && g.ErrorLocal == nil {
		f.warn(at("gauge"), "%sgauge %q has neither error nor error_local in the bench file: one step is assumed and every record says so; enter its certificate's figure", who, g.Name)
	}
}

func unknownGauge(key, found string, b *Bench) string {
	if len(b.Gauges) == 0 {
		return fmt.Sprintf("%s: found %q, but the bench file has no [[gauge]] yet", key, found)
	}
	return unknownWord(key, found, b.names())
}

// inputsFit checks that what a derived value is made of can be said in the unit of its
// limits.
func (f *finder) inputsFit(at []any, who string, b *Bench, j *Job, i, k int) {
	s, err := Spec(b, j, i, k, "")
	expr, bad := rules.CompileDerived(j.Components[i].Checks[k].Value)
	if err != nil || bad != nil || s.Unit == quantity.None {
		return // said elsewhere, or it takes its inputs' unit
	}
	for _, in := range expr.Inputs() {
		for n, part := range j.Components {
			for m, other := range part.Checks {
				if other.ID != in.ID || other.Method == method.Derived {
					continue
				}
				from, err := Spec(b, j, n, m, "")
				if err != nil || from.Unit == quantity.None || from.Unit.Kind() == s.Unit.Kind() {
					continue
				}
				arm := ""
				if from.Unit.Kind() == quantity.Force && s.Unit.Kind() == quantity.Torque {
					arm = fmt.Sprintf(": add arm = \"180 mm\" to %s, the distance from the axis at which its gauge pulls", in.ID)
				}
				f.add(at, "%svalue: %s is in %s, the limits are in %s%s", who, in, from.Unit, s.Unit, arm)
				return
			}
		}
	}
}

// unitsFit checks that what the gauge reads is what the method measures and
// the limits are written in.
func (f *finder) unitsFit(at func(string) []any, who string, b *Bench, c *Check, g *Gauge, cat *drivers.Catalogue) {
	unit := readsIn(g, cat)
	own := unit.Kind()
	want := kindsOf(c.Method)
	if own != quantity.Bare && want != nil && !want[own] {
		f.add(at("gauge"), "%sgauge %q reads %s, but %s is measured in %s", who, g.Name, unit, c.Method, kindWords(c.Method))
		return
	}
	if m := b.Gauge(c.Minus); m != nil {
		if u := readsIn(m, cat); u.Kind() != quantity.Bare && !want[u.Kind()] {
			f.add(at("minus"), "%sgauge %q reads %s, but %s is measured in %s", who, m.Name, u, c.Method, kindWords(c.Method))
			return
		}
	}
	if c.Method != method.Drag {
		return
	}
	var limits quantity.Kind
	if u, _, err := limitsAt(b, c, g, ""); err == nil {
		limits = u.Kind()
	}
	switch {
	case limits == quantity.Bare:
		f.add(at("limits"), "%sneither limits nor the gauge %q say whether it is a force or a torque: add limits, or unit = \"N\" to the gauge", who, g.Name)
	case own == quantity.Force && limits == quantity.Torque && c.Arm == nil:
		f.add(at("arm"), "%sthe gauge %q reads a force, the limits are a torque: add arm = \"180 mm\", the distance from the axis at which it pulls", who, g.Name)
	case own == quantity.Torque && limits == quantity.Force:
		f.add(at("limits"), "%sthe gauge %q reads a torque, the limits are a force: write the limits as a torque", who, g.Name)
	case own == quantity.Torque && c.Arm != nil:
		f.add(at("arm"), "%sthe gauge %q reads a torque already: remove arm", who, g.Name)
	}
}

// reach checks that the gauge can reach what the check asks for.
func (f *finder) reach(at func(string) []any, who string, c *Check, g *Gauge, s method.Spec) {
	mm := func(v float64) string { return trim(v) + " " + s.Unit.String() }
	lo, hi := s.Limits.Low, s.Limits.High
	travel := s.Gauge.RangeHigh - s.Gauge.RangeLow
	switch c.Method {
	case method.Size:
		beyond := func(edge float64) bool {
			return bounded(lo) && lo < s.Gauge.RangeLow+edge || bounded(hi) && hi > s.Gauge.RangeHigh-edge
		}
		switch {
		case c.Master != nil || math.IsInf(travel, 0):
		case beyond(0):
			f.add(at("limits"), "%sthe limits lie outside the range of gauge %q (%s): choose a gauge that reaches them, or gauge against a master", who, g.Name, g.Range)
		case beyond(travel / 20):
			f.warn(at("limits"), "%sthe limits reach into the last 5 %% of the range of gauge %q (%s), where no reading is trusted: choose one that reads nearer its middle, or leave out its range", who, g.Name, g.Range)
		}
		if bounded(lo) && lo < s.ExpectLow || bounded(hi) && hi > s.ExpectHigh {
			f.add(at("expect"), "%sexpect %s leaves out part of the limits, so a good part would not be seen: widen it well beyond both limits", who, c.Expect)
		}
		if c.Master != nil && (s.Master < s.ExpectLow || s.Master > s.ExpectHigh) {
			f.warn(at("master"), "%sthe master %s lies outside expect %s: comparing is best near the master's size", who, c.Master, c.Expect)
		}
		if r := s.Gauge; c.Master != nil && !math.IsInf(travel, 0) && (r.RangeLow+travel/20 > 0 || r.RangeHigh-travel/20 < 0) {
			f.warn(at("master"), "%sset to zero on its master, gauge %q reads near the end of its range %s, where no reading is trusted: write the range as it reads then, such as %s..%s", who, g.Name, g.Range, trim(-travel/2), mm(travel/2))
		}
	case method.Play, method.EndPlay, method.RunOut:
		if bounded(hi) && hi > 0.9*travel { // 5 % at each end of the travel is not trusted
			f.add(at("limits"), "%sthe limits go up to %s, more than the trusted travel of gauge %q (%s): choose one with more", who, mm(hi), g.Name, g.Range)
		}
		if s.Gauge.ErrorLocal > 0 && bounded(hi) && hi > s.Gauge.ErrorSpan {
			counts := "the error of the whole travel will count there"
			if !s.Gauge.HasError {
				counts = "it will count there once for each such movement; give error too, if the certificate has it"
			}
			f.warn(at("limits"), "%sthe limits go up to %s, beyond the %s for which error_local of gauge %q holds: %s", who, mm(hi), g.ErrorLocal.Over, g.Name, counts)
		}
	}
}

func bounded(v float64) bool { return !math.IsInf(v, 0) }

func trim(v float64) string { return fmt.Sprintf("%.6g", v) }
