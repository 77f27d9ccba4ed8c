package config

import (
	"fmt"
	"regexp"
	"sort"

	"thouwright/internal/fits"
	"thouwright/internal/method"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// Methods lists the methods a check can name.
var Methods = []string{method.Play, method.EndPlay, method.RunOut, method.Size, method.Drag, method.Derived}

var idForm = regexp.MustCompile(`^[A-Za-z_][A-Za-z0-9_]{0,63}$`)

// reserved words of the expressions of derived values and rules.
var reserved = map[string]bool{"not": true, "and": true, "or": true, "in": true, "let": true, "if": true, "else": true, "true": true, "false": true, "nil": true, "matches": true, "contains": true,
	"min": true, "max": true, "abs": true, "mean": true, "sum": true}

func sortedCues(m map[string]bool) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}

// problems checks the sheet by itself. Of a sheet that could not be read
// whole, what is missing is not held against it a second time.
func (j *Job) problems(torn bool) []Problem {
	f := &finder{file: j.File, lines: j.lines, torn: torn}
	if j.Number == "" {
		f.missing(nil, "no number: add number = \"2026-041\" at the top; it names the job's folder")
	} else if !GoodNumber(j.Number) {
		f.add(path("number"), "number: found %q, but %s", j.Number, numberRule)
	}
	stages := f.distinct(path("stages"), "stages", "", j.Stages, mostPositions)
	if len(j.Components) == 0 && !torn {
		f.warn(nil, "no [[component]] yet: nothing of this job can be measured")
	}
	seen, ids, checks := map[string]bool{}, map[string]string{}, 0
	for i := range j.Components {
		c := &j.Components[i]
		who := fmt.Sprintf("component %q", c.Name)
		switch {
		case c.Name == "":
			who = fmt.Sprintf("component %d", i+1)
			f.missing(path("component", i), "%s: no name: add name = \"left swivel pin\" or what it is", who)
		case seen[c.Name]:
			f.add(path("component", i, "name"), "%s: the name is taken by another component: give each its own", who)
		}
		seen[c.Name] = true
		if len(c.Checks) == 0 && !torn {
			f.warn(path("component", i), "%s: no [[component.check]] under it: nothing of it can be measured", who)
		}
		f.thermal(func(key string) []any { return path("component", i, key) }, who+": ", Thermal{c.Material, c.Temperature, c.SinceHandling}, j.Room)
		names := map[string]bool{}
		for k := range c.Checks {
			ch := &c.Checks[k]
			f.check(i, k, who, ch, stages)
			f.warmths(func(key string) []any { return path("component", i, "check", k, key) }, fmt.Sprintf("%s, check %q: ", who, ch.Name), j, c, ch)
			if ch.Name != "" && names[ch.Name] {
				f.add(path("component", i, "check", k, "name"), "%s, check %d: the name %q is taken by another check of it: give each its own", who, k+1, ch.Name)
			}
			names[ch.Name] = true
			if first, twice := ids[ch.ID]; twice && ch.ID != "" {
				f.add(path("component", i, "check", k, "id"), "%s, check %q: the id %q is taken by %s: give each its own", who, ch.Name, ch.ID, first)
			}
			ids[ch.ID] = fmt.Sprintf("%s, check %q", who, ch.Name)
		}
		if checks += len(c.Checks); checks > mostChecks {
			f.add(path("component", i), "the job holds more than %d checks: split it", mostChecks)
			break
		}
	}
	f.temperature(path("room"), "", "room", j.Room)
	f.notes(j, stages, seen)
	for i, r := range j.Rules {
		who := fmt.Sprintf("rule %d: ", i+1)
		if r.When == "" && !torn {
			f.add(path("rule", i), "%sno condition: add when = \"side == 'below'\" or another", who)
		}
		if r.Say == "" && r.Sound == "" && !torn {
			f.add(path("rule", i), "%sneither say nor sound: it would do nothing", who)
		}
		if r.Sound != "" {
			f.oneOf(path("rule", i, "sound"), who, "sound", r.Sound, "pass", "fail", "undecided")
		}
	}
	return f.ps
}

// distinct checks a list of names and returns them as a set.
func (f *finder) distinct(at []any, key, who string, names []string, most int) map[string]bool {
	set := map[string]bool{}
	if len(names) > most {
		f.add(at, "%s%s: found %d entries, at most %d", who, key, len(names), most)
	}
	for i, n := range names {
		if n == "" {
			f.add(append(at[:len(at):len(at)], i), "%s%s: entry %d is empty: name it or remove it", who, key, i+1)
		} else if set[n] {
			f.add(append(at[:len(at):len(at)], i), "%s%s: %q stands twice: give each its own name", who, key, n)
		}
		set[n] = true
	}
	return set
}

func (f *finder) check(i, k int, component string, c *Check, stages map[string]bool) {
	at := func(key string) []any { return path("component", i, "check", k, key) }
	who := fmt.Sprintf("%s, check %d: ", component, k+1)
	if c.Name == "" {
		f.missing(at("name"), "%sno name: add name = \"play in bushes\" or what is measured", who)
	} else {
		who = fmt.Sprintf("%s, check %q: ", component, c.Name)
	}
	if c.ID != "" && (!idForm.MatchString(c.ID) || reserved[c.ID]) {
		f.add(at("id"), "%sid: found %q, expected a word of letters, digits and '_' that expressions do not use themselves, such as pin_play", who, c.ID)
	}
	known := false
	if c.Method == "" {
		f.missing(at("method"), "%sno method: add method = one of %s", who, orList(Methods))
	} else {
		known = f.oneOf(at("method"), who, "method", c.Method, Methods...)
	}
	if known {
		f.belongs(at, who, c)
	}
	f.distinct(at("positions"), "positions", who, c.Positions, mostPositions)
	f.limits(at, who, c, stages)
	f.strokes(at, who, c)
	if c.Confidence != 0 && (c.Confidence <= 0.5 || c.Confidence >= 1) {
		f.add(at("confidence"), "%sconfidence: found %v, expected a part of one between 0.5 and 1, such as 0.95", who, c.Confidence)
	}
	if c.Rule != "" {
		f.oneOf(at("rule"), who, "rule", string(c.Rule), string(metrology.Guarded), string(metrology.Simple))
	}
	if c.Advance != "" {
		f.oneOf(at("advance"), who, "advance", c.Advance, AdvancePause, AdvanceAtOnce, AdvanceSwitch)
	}
	for _, a := range [2][2]string{{"tilt", c.Tilt}, {"direction", c.Direction}} {
		if _, _, err := ParseAngle(a[1]); err != nil {
			f.add(at(a[0]), "%s%s: %v", who, a[0], err)
		}
	}
	if c.Adjuster != nil {
		f.adjuster(i, k, who, c.Adjuster)
	}
}

func (f *finder) strokes(at func(string) []any, who string, c *Check) {
	s, m := c.Strokes, c.MaxStrokes
	if s == 0 && !f.lines.Has(at("strokes")...) {
		s = DefaultStrokes
	} else if s < minStrokes || s > mostStrokes || s%2 != 0 {
		f.add(at("strokes"), "%sstrokes: found %d, expected an even number from %d to %d, so that drift falls out and scatter can be judged", who, s, minStrokes, mostStrokes)
		return
	}
	if m != 0 || f.lines.Has(at("max_strokes")...) {
		if m < s || m > mostStrokes {
			f.add(at("max_strokes"), "%smax_strokes: found %d, expected %d (strokes) to %d", who, m, s, mostStrokes)
		}
	}
}

func (f *finder) adjuster(i, k int, who string, a *Adjuster) {
	at := func(key string) []any { return path("component", i, "check", k, "adjuster", key) }
	who += "adjuster, "
	if a.Pitch != nil {
		if v, err := a.Pitch.In(quantity.MM); err != nil || a.Pitch.Unit == quantity.None || v <= 0 || v > 50 {
			f.add(at("pitch"), "%spitch: found %q, expected a length per turn, such as \"1.5 mm\"; for threads per inch write tpi = 18", who, a.Pitch)
		}
		if a.TPI != 0 {
			f.add(at("tpi"), "%sfound pitch and tpi, expected one of the two", who)
		}
	} else if a.TPI < 0 || a.TPI > 200 {
		f.add(at("tpi"), "%stpi: found %v, expected threads per inch, such as 18", who, a.TPI)
	}
	if a.Hand != "" {
		f.oneOf(at("hand"), who, "hand", a.Hand, "right", "left")
	}
	for _, n := range []struct {
		key string
		n   int
	}{{"slots", a.Slots}, {"holes", a.Holes}} {
		if n.n < 0 || n.n > 360 {
			f.add(at(n.key), "%s%s: found %d, expected 0 to 360", who, n.key, n.n)
		}
	}
	for s, step := range a.Steps {
		if step == "" {
			f.add(append(at("steps"), s), "%ssteps: entry %d is empty: write it or remove it", who, s+1)
		}
	}
}

// limits checks limits, stage_limits and fit by themselves.
func (f *finder) limits(at func(string) []any, who string, c *Check, stages map[string]bool) {
	ranges := []struct {
		key  string
		path []any
		r    *quantity.Range
	}{{"limits", at("limits"), c.Limits}}
	var names []string
	for stage := range c.StageLimits {
		names = append(names, stage)
	}
	sort.Strings(names)
	for _, stage := range names {
		r := c.StageLimits[stage]
		p := append(at("stage_limits"), stage)
		ranges = append(ranges, struct {
			key  string
			path []any
			r    *quantity.Range
		}{fmt.Sprintf("stage_limits, %q", stage), p, &r})
		if !stages[stage] {
			f.add(p, "%sstage_limits: the job has no stage %q: add it to stages = […] at the top, or correct the name", who, stage)
		}
	}
	for _, r := range ranges {
		if r.r == nil {
			continue
		}
		if r.r.Unit == quantity.None {
			if c.Method != method.Derived {
				f.add(r.path, "%s%s: found %q, expected a unit behind the numbers, such as \"%s mm\"", who, r.key, r.r, r.r)
			}
			continue
		}
		if want := kindsOf(c.Method); want != nil && !want[r.r.Unit.Kind()] {
			f.add(r.path, "%s%s: found %q, but %s is measured in %s", who, r.key, r.r, c.Method, kindWords(c.Method))
		}
		if r.r.Unit.Kind() == quantity.Length || r.r.Unit.Kind() == quantity.Force || r.r.Unit.Kind() == quantity.Torque {
			if positive[c.Method] && r.r.HasHigh && r.r.High.Float() <= 0 {
				f.add(r.path, "%s%s: found %q, but %s is never below zero, so nothing could pass", who, r.key, r.r, c.Method)
			}
		}
		if r.r.HasLow && r.r.HasHigh && r.r.Low.Float() == r.r.High.Float() {
			f.add(r.path, "%s%s: found %q, limits without room between them: nothing could pass", who, r.key, r.r)
		}
	}
	if c.Fit == "" {
		return
	}
	if c.Limits != nil {
		f.add(at("fit"), "%sfound limits and fit, expected one of the two", who)
	}
	if _, err := fitLimits(c); err != nil {
		f.add(at("fit"), "%sfit: %v", who, err)
	}
}

// fitLimits is the permitted interval in mm that a check's fit stands for: the
// clearance of a pair, or the limits of size of a hole or shaft alone.
func fitLimits(c *Check) (metrology.Limits, error) {
	ft, err := fits.Parse(c.Fit)
	if err != nil {
		return metrology.Limits{}, err
	}
	switch c.Method {
	case method.Size:
		if ft.IsPair() {
			return metrology.Limits{}, fmt.Errorf("found %q, but a size is that of a hole or of a shaft: write one class, such as %q", c.Fit, fmt.Sprintf("%v %s", ft.Nominal, ft.Hole))
		}
		if low, high, ok := ft.HoleLimits(); ok {
			return metrology.Limits{Low: low, High: high}, nil
		}
		low, high, _ := ft.ShaftLimits()
		return metrology.Limits{Low: low, High: high}, nil
	case method.Play, method.Derived:
		least, greatest, ok := ft.Clearance()
		if !ok {
			return metrology.Limits{}, fmt.Errorf("found %q, but a clearance needs hole and shaft: write both classes, such as 32 H7/g6", c.Fit)
		}
		if greatest <= 0 {
			return metrology.Limits{}, fmt.Errorf("%q is a press fit: there is no play to measure", c.Fit)
		}
		return metrology.Limits{Low: least, High: greatest}, nil
	}
	return metrology.Limits{}, fmt.Errorf("a fit gives limits for play, size and derived only: write limits = \"…\"")
}
