package sums

import (
	"fmt"
	"math"
	"slices"

	"thouwright/internal/quantity"
)

var warmSum = Sum{
	Verb:  "warm",
	Title: "Clearance at working temperature",
	About: "The clearance of a shaft in a bush when warm. A bush held by its housing does not expand as a free one: both are shown.",
	Fields: slices.Concat([]Field{
		{Name: "shaft", Label: "shaft", Kind: Span, Unit: quantity.MM, Required: true, Example: "31.975..31.991 mm", Help: "Limits or as measured."},
		{Name: "bore", Label: "bore of the bush, pressed in", Kind: Span, Unit: quantity.MM, Required: true, Example: "32.000..32.025 mm"},
		{Name: "temp", Label: "working temperature", Kind: Quantity, Unit: quantity.DegC, Example: "80 degC", Help: "Of all parts that have none of their own."},
		{Name: "shaft-temp", Label: "temperature of the shaft", Kind: Quantity, Unit: quantity.DegC, Example: "90 degC"},
		{Name: "bush-temp", Label: "temperature of the bush", Kind: Quantity, Unit: quantity.DegC, Example: "85 degC"},
		{Name: "housing-temp", Label: "temperature of the housing", Kind: Quantity, Unit: quantity.DegC, Example: "70 degC"},
		{Name: "from", Label: "temperature at which the sizes hold", Kind: Quantity, Unit: quantity.DegC, Default: "20 degC", Help: "ISO 1: 20 °C."},
		{Name: "bush", Label: "outside diameter of the bush", Kind: Quantity, Unit: quantity.MM, Example: "38 mm", Help: "Without it the bore is the housing's own and there is no bush."},
		{Name: "housing-od", Label: "outside diameter of the housing", Kind: Quantity, Unit: quantity.MM, Example: "60 mm", Help: "Without it an endless wall, the stiffest."},
		{Name: "interference", Label: "interference of bush and housing, cold", Kind: Quantity, Unit: quantity.MM, Example: "0.035 mm", Help: "Tells whether the bush stays tight; without it, it is taken to."},
		{Name: "clearance", Label: "clearance wanted", Kind: Span, Wanted: true, Unit: quantity.MM, Example: "0.009..0.050 mm"},
	}, materialFields("shaft", "shaft", "steel", false, true), materialFields("bush", "bush", "bronze", true, true), materialFields("housing", "housing", "cast iron", true, true)),
	Formula: "size (1 + α ΔT); a constrained bush by Lamé, thick cylinders in plane stress",
	Source:  "linear expansion, ISO 1:2022 for 20 °C; Lamé for the bush held by its housing; α from Callister, Table B.6; moduli from memory",
	Examples: []string{
		"thouwright calc warm --shaft 31.975..31.991 --bore 32.000..32.025 --bush 38 --housing-od 60 --temp '80 degC'",
		"thouwright calc warm --shaft '31.982 ± 0.003 mm' --bore '32.012 ± 0.004 mm' --temp '90 degC' --housing-material aluminium",
	},
	Picture:  picture(warmDrawing),
	Cautions: []string{cautionHeat, cautionAfter, cautionSize},
	run:      runWarm,
	judge: func(v *values, a *Answer) {
		c, _ := a.Result("clearance")
		switch {
		case c.Low < 0:
			a.note("warm the shaft can bind: the clearance falls below zero")
		case c.Low-c.U95 < 0:
			a.note("warm the shaft may bind: with its ± the clearance reaches below zero")
		}
		if v.has("clearance") {
			a.within(c.Low, c.High, c.U95, v.one("clearance"))
		}
	},
}

func runWarm(v *values) (*Answer, error) {
	a := &Answer{}
	sl, sh, err := v.closed("shaft")
	if err != nil {
		return nil, err
	}
	bl, bh, err := v.closed("bore")
	if err != nil {
		return nil, err
	}
	if sl <= 0 || bl <= 0 {
		return nil, fmt.Errorf("shaft and bore have to be more than zero")
	}
	rise := func(part string) (float64, error) {
		switch {
		case v.has(part + "-temp"):
			return v.num(part+"-temp") - v.num("from"), nil
		case v.has("temp"):
			return v.num("temp") - v.num("from"), nil
		}
		return 0, missing("temp", "the working temperature, such as 80 degC, or one for each part ("+part+"-temp)")
	}
	shaft, err := v.material("shaft")
	if err != nil {
		return nil, err
	}
	housing, err := v.material("housing")
	if err != nil {
		return nil, err
	}
	ts, err := rise("shaft")
	if err != nil {
		return nil, err
	}
	th, err := rise("housing")
	if err != nil {
		return nil, err
	}
	a.band("clearance_cold", "clearance cold", quantity.MM, bl-sh, bh-sl)
	s := 1 + shaft.alpha*ts
	a.assume(shaft.say("shaft"))
	low, high := 0.0, 0.0
	if !v.has("bush") {
		g := 1 + housing.alpha*th
		low, high = bl*g-sh*s, bh*g-sl*s
		a.assume("no bush: the shaft runs in the housing itself (give --bush, its outside diameter, where there is one)")
	} else {
		bush, err := v.material("bush")
		if err != nil {
			return nil, err
		}
		tb, err := rise("bush")
		if err != nil {
			return nil, err
		}
		r := ring{di: (bl + bh) / 2, d: v.num("bush"), do: math.Inf(1), inner: bush, outer: housing}
		outside := ""
		if v.has("housing-od") {
			r.do = v.num("housing-od")
			outside = ", housing " + number(r.do, quantity.MM)
		}
		if !(r.di < r.d && r.d < r.do) {
			return nil, fmt.Errorf("the diameters have to grow outwards: bore %s, bush %s%s mm", number(r.di, quantity.MM), number(r.d, quantity.MM), outside)
		}
		free := 1 + bush.alpha*tb
		a.band("clearance_free", "clearance warm if the bush were free", quantity.MM, bl*free-sh*s, bh*free-sl*s)
		// What the bush grows more than its housing adds to the interference.
		more := r.d * (bush.alpha*tb - housing.alpha*th)
		a.length("interference_change", "interference of bush and housing changes by", more)
		held := more
		if v.has("interference") {
			cold := v.num("interference")
			if cold < 0 {
				return nil, fmt.Errorf("--interference %s: below zero the bush is loose and free already", v.text("interference"))
			}
			if cold+more <= 0 {
				// Only what was pressed in can spring back.
				held = -cold
				a.note("warm the bush is loose in its housing: it may turn")
			}
			a.flag("bush_stays_tight", "the bush stays tight", cold+more > 0)
		} else {
			a.assume("the bush stays tight in its housing (give --interference to see)")
		}
		c := r.closeIn(held / r.give())
		a.length("close_in", "the housing keeps the bore from growing by", c)
		low, high = bl*free-c-sh*s, bh*free-c-sl*s
		a.assume(bush.say("bush"))
	}
	a.assume(housing.say("housing"))
	a.band("clearance", "clearance warm", quantity.MM, low, high)
	a.band("change", "change from cold", quantity.MM, low-(bl-sh), high-(bh-sl))
	a.assume("each part at one even temperature, bush free to grow lengthwise, all elastic")
	return a, nil
}
