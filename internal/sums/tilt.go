package sums

import (
	"fmt"
	"math"

	"thouwright/internal/quantity"
)

var tiltSum = Sum{
	Verb:  "tilt",
	Title: "Play read outside two bushes",
	About: "A shaft in two bushes tilts, so a gauge on its overhang reads more than the clearance. From a reading to the clearance it can come from, or from clearances to the reading to expect.",
	Fields: []Field{
		{Name: "reading", Label: "play as read", Kind: Quantity, Unit: quantity.MM, Example: "0.080 mm", Help: "Gives the clearance, if both bushes have the same."},
		{Name: "clearance", Label: "clearance of both bushes", Kind: Span, Wanted: true, Unit: quantity.MM, Example: "0.009..0.050 mm", Help: "Gives the readings to expect; with a reading, whether it shows the clearance to be within."},
		{Name: "near", Label: "clearance of the bush near the gauge", Kind: Quantity, Unit: quantity.MM, Example: "0.05 mm", Help: "Goes with that of the far bush: the greatest reading of two different bushes."},
		{Name: "far", Label: "clearance of the far bush", Kind: Quantity, Unit: quantity.MM, Example: "0.03 mm"},
		{Name: "overhang", Label: "overhang: from the near bush's outer edge to the gauge", Kind: Quantity, Unit: quantity.MM, Required: true, Example: "20 mm"},
		{Name: "span", Label: "span: from outer edge to outer edge of the two bushes", Kind: Quantity, Unit: quantity.MM, Required: true, Example: "120 mm"},
	},
	Formula: "c to c (1 + 2 a/S); c1 (1 + a/S) + c2 a/S",
	Source:  "rigid shaft touching the bushes' outer edges, by similar triangles",
	Examples: []string{
		"thouwright calc tilt --reading '0.080 mm' --overhang '20 mm' --span '120 mm'",
		"thouwright calc tilt --near 0.05 --far 0.03 --overhang 20 --span 120",
		"thouwright calc tilt --clearance '0.009..0.050 mm' --overhang '20 mm' --span '120 mm'",
		"thouwright calc tilt --reading '0.040 ± 0.004 mm' --clearance '0.009..0.050 mm' --overhang '20 mm' --span '120 mm'",
	},
	Picture:  picture(tiltDrawing),
	Cautions: []string{cautionTurn, cautionSize},
	run:      runTilt,
	judge:    judgeTilt,
}

// judgeTilt says whether a reading shows the clearance to be within the one given,
// its ± counted.
func judgeTilt(v *values, a *Answer) {
	if !v.has("reading") || !v.has("clearance") {
		return
	}
	over, span := v.one("overhang"), v.one("span")
	k := over.num / span.num
	r, c := v.one("reading"), v.one("clearance")
	// The least clearance that the reading can come from, and the greatest.
	least, greatest := r.num/(1+2*k), r.num
	uK := math.Hypot(over.u95/span.num, k*span.u95/span.num)
	from, to := least-math.Hypot(r.u95, 2*least*uK)/(1+2*k), greatest+r.u95
	shows := "not shown: the tilt hides it; measure nearer to the bush, or finer"
	const hair = 1e-9 // mm
	switch {
	case from >= c.low-hair && to <= c.high+hair:
		shows = "yes"
	case from > c.high+hair:
		shows = "no: too much"
	case to < c.low-hair:
		shows = "no: too little"
	}
	a.word("shows_within", "the reading shows the clearance to be within", shows)
}

func runTilt(v *values) (*Answer, error) {
	a := &Answer{}
	span, err := v.positive("span")
	if err != nil {
		return nil, err
	}
	over := v.num("overhang")
	if over < 0 {
		return nil, fmt.Errorf("--overhang %s: the gauge stands outside the bushes, so zero or more", v.text("overhang"))
	}
	k := over / span
	a.value("factor", "a reading may be this many times the clearance", quantity.None, 1+2*k)
	any := false
	if v.has("reading") {
		r := v.num("reading")
		if r < 0 {
			return nil, fmt.Errorf("--reading %s: a play is zero or more", v.text("reading"))
		}
		a.band("clearance", "clearance, if both bushes have the same", quantity.MM, r/(1+2*k), r)
		any = true
	}
	if v.has("clearance") {
		lo, hi, err := v.closed("clearance")
		if err != nil {
			return nil, err
		}
		if lo < 0 {
			return nil, fmt.Errorf("--clearance %s: zero or more", v.text("clearance"))
		}
		a.band("reading", "readings to expect", quantity.MM, lo, hi*(1+2*k))
		if lo*(1+2*k) <= hi {
			a.band("sure_reading", "readings that show the clearance to be within", quantity.MM, lo*(1+2*k), hi)
		} else {
			a.note("no reading here can show that the clearance is within: measure nearer to the bush")
		}
		a.note("a reading above those to expect shows too much clearance, one below too little")
		any = true
	}
	if v.has("near") != v.has("far") {
		return nil, fmt.Errorf("--near and --far go together: the clearances of the two bushes")
	}
	if v.has("near") {
		c1, c2 := v.num("near"), v.num("far")
		if c1 < 0 || c2 < 0 {
			return nil, fmt.Errorf("--near and --far: zero or more")
		}
		a.length("greatest_reading", "greatest reading", c1*(1+k)+c2*k)
		any = true
	}
	if !any {
		return nil, missing("reading", "the play as read, such as 0.080 mm, or --clearance, or --near with --far")
	}
	a.assume("a rigid shaft, straight bushes in line, the gauge square to the shaft and pushed from stop to stop")
	return a, nil
}
