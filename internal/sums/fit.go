package sums

import (
	"fmt"
	"math"
	"slices"

	"thouwright/internal/fits"
	"thouwright/internal/quantity"
)

var fitSum = Sum{
	Verb:  "fit",
	Title: "Fit",
	About: "A fit such as 32 H7/g6, or two ranges, to limits and least and greatest clearance or interference; and backwards: the standard classes that two ranges are, and the standard fits that stay within a clearance.",
	Fields: []Field{
		{Name: "what", Label: "fit, tolerance class or nominal size", Kind: Text, Positional: true, Example: "32 H7/g6", Help: "32 H7/g6, 32 H7, 32 g6; or the size alone, with the clearance wanted."},
		{Name: "hole", Label: "hole, as limits or as measured", Kind: Span, Unit: quantity.MM, Example: "32.000..32.025 mm", Class: true, Help: "Limits, one measured size with its ±, or a class such as H7."},
		{Name: "shaft", Label: "shaft, as limits or as measured", Kind: Span, Unit: quantity.MM, Example: "31.975..31.991 mm", Class: true, Help: "Limits, one measured size with its ±, or a class such as g6."},
		{Name: "clearance", Label: "clearance wanted (below zero: interference)", Kind: Span, Wanted: true, Unit: quantity.MM, Example: "0.009..0.050 mm", Help: "Finds the standard fits whose whole clearance lies within."},
		{Name: "all", Label: "list every fit found", Kind: Switch, Help: "Otherwise the first twelve."},
	},
	Formula: "least clearance = least hole - largest shaft, greatest clearance = largest hole - least shaft",
	Source:  "ISO 286-1:2010 up to 500 mm; the list of recommended fits of its Annex B is from memory",
	Examples: []string{
		"thouwright calc fit '32 H7/g6'",
		"thouwright calc fit --hole 32.000..32.025 --shaft 31.975..31.991",
		"thouwright calc fit 32 --clearance 0.009..0.050",
		"thouwright calc fit '32 H7' --shaft '31.962 ± 0.003 mm'",
	},
	Picture:  picture(fitDrawing),
	Cautions: []string{cautionSize},
	run:      runFit,
	judge: func(v *values, a *Answer) {
		least, ok1 := a.Result("least_clearance")
		greatest, ok2 := a.Result("greatest_clearance")
		if ok1 && ok2 && v.has("clearance") {
			a.within(least.Value, greatest.Value, max(least.U95, greatest.U95), v.one("clearance"))
		}
	},
}

// side is a hole or a shaft: its limits in mm and, where known, its class.
type side struct {
	low, high float64
	class     fits.Class
	given     bool
	measured  bool // one size, not limits
}

func runFit(v *values) (*Answer, error) {
	a := &Answer{}
	var nominal float64
	var hole, shaft side
	if v.has("what") {
		text := v.text("what")
		if q, err := quantity.ParseQuantity(text); err == nil && (q.Unit == quantity.None || q.Unit.IsLength()) {
			if q.Unit == quantity.None {
				q.Unit = quantity.MM // as in a fit's own name, whatever unit is asked
			}
			if nominal, err = q.In(quantity.MM); err != nil {
				return nil, err
			}
			if !v.has("clearance") && !v.has("hole") && !v.has("shaft") {
				return nil, fmt.Errorf("%q is only a size: add the class, as in '%s H7/g6', or --clearance to find fits", text, text)
			}
		} else {
			f, err := fits.Parse(text)
			if err != nil {
				return nil, err
			}
			nominal = f.Nominal
			if lo, hi, ok := f.HoleLimits(); ok {
				hole = side{low: lo, high: hi, class: f.Hole, given: true}
			}
			if lo, hi, ok := f.ShaftLimits(); ok {
				shaft = side{low: lo, high: hi, class: f.Shaft, given: true}
			}
		}
	}
	for _, x := range []struct {
		name string
		to   *side
	}{{"hole", &hole}, {"shaft", &shaft}} {
		if !v.has(x.name) {
			continue
		}
		if x.to.given {
			return nil, fmt.Errorf("--%s %s: the %s is given twice, %s stands in the fit too", x.name, v.text(x.name), x.name, x.to.class)
		}
		if c := v.one(x.name).class; !c.IsZero() {
			if c.IsHole() != (x.name == "hole") {
				return nil, fmt.Errorf("--%s %s: upper case is a hole, lower case a shaft", x.name, c)
			}
			if nominal == 0 {
				return nil, fmt.Errorf("--%s %s: a class needs the nominal size, as in calc fit 32 --%s %s", x.name, c, x.name, c)
			}
			lo, hi, err := c.Limits(nominal)
			if err != nil {
				return nil, err
			}
			*x.to = side{low: lo, high: hi, class: c, given: true}
			continue
		}
		lo, hi, err := v.closed(x.name)
		if err != nil {
			return nil, err
		}
		if lo <= 0 {
			return nil, fmt.Errorf("--%s %s: a size has to be more than zero", x.name, v.text(x.name))
		}
		*x.to = side{low: lo, high: hi, given: true, measured: !v.one(x.name).span}
	}
	if !hole.given && !shaft.given {
		if v.has("clearance") && nominal > 0 {
			return a, a.fitsWithin(v, nominal)
		}
		return nil, fmt.Errorf("nothing to work on: give a fit such as 32 H7/g6, --hole and --shaft, or a size with --clearance")
	}
	if hole.given {
		a.side("hole", hole)
	}
	if shaft.given {
		a.side("shaft", shaft)
	}
	if hole.given && shaft.given {
		least, greatest := hole.low-shaft.high, hole.high-shaft.low
		a.length("least_clearance", "least clearance", least)
		a.length("greatest_clearance", "greatest clearance", greatest)
		a.word("kind", "fit", kindOf(least, greatest))
		if least < 0 {
			a.note("a clearance below zero is interference: the shaft is the larger one")
		}
	} else if v.has("clearance") {
		return nil, fmt.Errorf("--clearance needs the size alone (calc fit 32 --clearance 0.009..0.050) or both hole and shaft; for a bush to a shaft see calc bush")
	}
	a.backwards(nominal, hole, shaft)
	a.assume("sizes at 20 °C (ISO 1); form errors are not counted")
	return a, nil
}

// kindOf says what a pair is; as fits.Fit.Kind, for limits that no class gives.
func kindOf(least, greatest float64) string {
	const hair = 1e-7
	switch {
	case least >= -hair:
		return "clearance"
	case greatest <= hair:
		return "interference"
	}
	return "transition"
}

func (a *Answer) side(name string, s side) {
	label := name
	if !s.class.IsZero() {
		label += " " + s.class.String()
	}
	a.band(name, label, quantity.MM, s.low, s.high)
}

// backwards names the standard classes that the ranges are.
func (a *Answer) backwards(nominal float64, hole, shaft side) {
	classes := func(x side, n float64, isHole bool) []fits.Class {
		switch {
		case !x.given:
			return []fits.Class{{}}
		case !x.class.IsZero():
			return []fits.Class{x.class}
		}
		return fits.MatchClass(n, x.low, x.high, isHole)
	}
	named := func(x side) bool { return !x.given || !x.class.IsZero() }
	if hole.measured || shaft.measured || named(hole) && named(shaft) {
		return
	}
	var found []string
	for _, n := range nominals(nominal, hole, shaft) {
		for _, h := range classes(hole, n, true) {
			for _, s := range classes(shaft, n, false) {
				if f, err := fits.New(n, h, s); err == nil {
					found = append(found, f.String())
				}
			}
		}
	}
	label := "standard fit with just these limits"
	if !hole.given || !shaft.given {
		label = "standard class with just these limits"
	}
	a.list("standard", label, found)
	if least, greatest := hole.low-shaft.high, hole.high-shaft.low; len(found) == 0 && hole.given && shaft.given && least < greatest {
		n := nominal
		if n == 0 {
			n = math.Round(hole.low*1e4) / 1e4
		}
		a.note(fmt.Sprintf("standard fits that stay within this clearance: thouwright calc fit %v --clearance '%s..%s mm'", n, number(least, quantity.MM), number(greatest, quantity.MM)))
	}
}

// nominals are the sizes tried: the given one, or a limit itself, as on the hole
// and the shaft basis, and the nearest round numbers.
func nominals(given float64, hole, shaft side) []float64 {
	if given > 0 {
		return []float64{given}
	}
	var out []float64
	try := func(n float64) {
		n = math.Round(n*1e4) / 1e4
		if n > 0 && n <= fits.MaxSize && !slices.Contains(out, n) {
			out = append(out, n)
		}
	}
	sum, ends := 0.0, 0.0
	for _, x := range []side{hole, shaft} {
		if x.given {
			sum, ends = sum+x.low+x.high, ends+2
		}
	}
	for _, step := range []float64{1, 0.5, 0.1} {
		try(math.Round(sum/ends/step) * step)
	}
	if hole.given {
		try(hole.low)
	}
	if shaft.given {
		try(shaft.high)
	}
	return out
}

// fitsWithin lists the standard fits inside a clearance.
func (a *Answer) fitsWithin(v *values, nominal float64) error {
	x := v.one("clearance")
	if x.low > x.high || !x.span {
		return fmt.Errorf("--clearance %s: expected a range, such as 0.009..0.050 mm", x.text)
	}
	if _, err := fits.Tolerance(nominal, 7); err != nil {
		return err
	}
	found := fits.Matches(nominal, x.low, x.high)
	a.value("count", "standard fits that stay within", quantity.None, float64(len(found)))
	var names []string
	for i, m := range found {
		names = append(names, m.Fit.String())
		if i >= 12 && !v.on("all") {
			continue
		}
		lo, hi, _ := m.Fit.Clearance()
		r := Result{Name: m.Fit.String(), Form: Band, Unit: quantity.MM, Low: lo, High: hi}
		words := r.Say(v.unit)
		if m.Preferred {
			words += ", recommended"
		}
		a.note(m.Fit.String() + ": clearance " + words)
	}
	a.add(Result{Name: "fits", Label: "fits", Form: List, Words: names, Quiet: true})
	if len(found) == 0 {
		a.Failed = true
		a.note("no standard fit stays within: the range is too narrow for grades 5 to 11, or lies where none is")
	}
	a.assume("grades 5 to 11, one part on the H or h basis, the shaft as fine as the hole or up to two grades finer")
	return nil
}
