package sums

import (
	"fmt"
	"math"

	"thouwright/internal/quantity"
)

var bushSum = Sum{
	Verb:  "bush",
	Title: "Bush to shaft",
	About: "The finished bore for a shaft as it now measures, so that the clearance lies in the range with the stated confidence; and for the shaft ground to clean up. How far a shaft may be ground comes only from the maker's least diameter, case depth and fillets.",
	Fields: []Field{
		{Name: "shaft", Label: "shaft as measured", Kind: Quantity, Unit: quantity.MM, Required: true, Many: true, Example: "31.87 ± 0.003 mm", Help: "Each place and direction once: the largest and the smallest both have to fit."},
		{Name: "clearance", Label: "clearance wanted", Kind: Span, Wanted: true, Unit: quantity.MM, Required: true, Example: "0.009..0.050 mm"},
		{Name: "ground", Label: "diameter the shaft is ground to", Kind: Quantity, Unit: quantity.MM, Example: "31.80 mm", Help: "Without it the bore is for the shaft as it is."},
		{Name: "bore-u95", Label: "expanded uncertainty of measuring the bore", Kind: Quantity, Unit: quantity.MM, Example: "0.004 mm", Help: "Counts against the tolerance, with the shaft's ±."},
		{Name: "confidence", Label: "confidence that the clearance lies in the range", Kind: Share, Default: "0.95"},
		{Name: "original", Label: "diameter before any grinding or wear", Kind: Quantity, Unit: quantity.MM, Example: "32.000 mm", Help: "Together with the depth of the case: how much of it is left."},
		{Name: "least", Label: "maker's least diameter", Kind: Quantity, Unit: quantity.MM, Example: "31.75 mm", Help: "Without it how far the shaft may be ground is not known."},
		{Name: "case", Label: "depth of the hardened case, when new", Kind: Quantity, Unit: quantity.MM, Example: "0.8 mm"},
		{Name: "case-left", Label: "case that has to remain", Kind: Quantity, Unit: quantity.MM, Example: "0.5 mm", Help: "From the maker."},
		{Name: "fillet", Label: "maker's fillet radius", Kind: Quantity, Unit: quantity.MM, Example: "1.5 mm", Help: "Read back on the work order; it has to stand after grinding."},
	},
	Formula: "bore = shaft + clearance, each limit drawn in by the uncertainty (guarded acceptance)",
	Source:  "JCGM 106:2012, 8.3; ISO 14253-1:2017",
	Examples: []string{
		"thouwright calc bush --shaft '31.87 mm' --clearance '0.009..0.050 mm'",
		"thouwright calc bush --shaft '31.872 ± 0.003 mm' --shaft '31.866 ± 0.003 mm' --clearance 0.009..0.050 --bore-u95 0.004 --least 31.75",
		"thouwright calc bush --shaft 31.87 --clearance 0.009..0.050 --ground 31.80 --original 32 --case 0.8 --case-left 0.5",
	},
	Picture:  picture(bushDrawing),
	Cautions: []string{cautionGrind, cautionPress, cautionAfter, cautionSize},
	run:      runBush,
}

func runBush(v *values) (*Answer, error) {
	a := &Answer{}
	large, small, u95 := math.Inf(-1), math.Inf(1), 0.0
	for _, x := range v.get("shaft") {
		if x.num <= 0 {
			return nil, fmt.Errorf("--shaft %s: has to be more than zero", x.text)
		}
		large, small = math.Max(large, x.num), math.Min(small, x.num)
		u95 = math.Max(u95, x.u95)
	}
	least, greatest, err := v.closed("clearance")
	if err != nil {
		return nil, err
	}
	if greatest <= least {
		return nil, fmt.Errorf("--clearance %s: a single value leaves no tolerance to machine to; give a range", v.text("clearance"))
	}
	asIs := u95
	if v.has("ground") {
		g, err := v.positive("ground")
		if err != nil {
			return nil, err
		}
		if g > small {
			a.note(fmt.Sprintf("ground to %s the shaft would not clean up everywhere: it measures %s at its smallest", v.text("ground"), number(small, quantity.MM)+" mm"))
		}
		large, small, u95 = g, g, v.one("ground").u95
	}
	if v.num("bore-u95") < 0 {
		return nil, fmt.Errorf("--bore-u95 %s: has to be zero or more", v.text("bore-u95"))
	}
	u := math.Hypot(u95, v.num("bore-u95")) / coverage95
	// The bore has to clear the largest place and not be loose on the smallest.
	low, high := large+least, small+greatest
	from, to, ok := guarded(low, high, u, v.num("confidence"))
	if low > high {
		return nil, fmt.Errorf("no one bore gives that clearance everywhere: the shaft varies by %s mm and the clearance by only %s mm; grind it round first (--ground)", number(large-small, quantity.MM), number(greatest-least, quantity.MM))
	}
	if !ok {
		return nil, fmt.Errorf("no bore can be shown to give that clearance at confidence %s: the uncertainty ± %s mm is too much for %s mm; measure finer", v.text("confidence"), number(u*coverage95, quantity.MM), number(high-low, quantity.MM))
	}
	a.limits("bore", "finished bore, between", from, to)
	a.settle("aim", "aim at", (from+to)/2)
	a.add(Result{Name: "clearance_at_aim", Label: "clearance then, at the largest place", Unit: quantity.MM, Value: (from+to)/2 - large, U95: u * coverage95, settled: true})
	if large > small {
		a.add(Result{Name: "clearance_at_smallest", Label: "and at the smallest place", Unit: quantity.MM, Value: (from+to)/2 - small, U95: u * coverage95, settled: true})
	}
	if u > 0 {
		a.settle("guard", "drawn in at each limit by", from-low)
		a.assume("the uncertainty is normal; the guard holds for the shaft's and the bore's together")
	} else {
		a.note("no uncertainty given (write it as 31.87 ± 0.003 mm): the bore uses the whole range and holds only if the sizes are true")
	}
	a.grinding(v, asIs)
	a.assume("sizes at 20 °C (ISO 1), the bush already pressed in: it closes in when pressed, so ream to this size afterwards")
	return a, nil
}

// grinding says what is known of how far the shaft may be ground.
func (a *Answer) grinding(v *values, u95 float64) {
	small := math.Inf(1)
	for _, x := range v.get("shaft") {
		small = math.Min(small, x.num)
	}
	cleanUp := small - u95
	a.settle("clean_up", "grinding cleans up at, or below", cleanUp)
	size := cleanUp
	if v.has("ground") {
		size = v.num("ground")
	}
	byCase := math.Inf(-1) // the least diameter that the case allows
	switch {
	case v.has("case") && !v.has("original"):
		a.note("how much case is left is not known: give --original, the diameter before wear and grinding")
	case v.has("case"):
		left := v.num("case") - (v.num("original")-size)/2
		a.length("case_left", "hardened case left after grinding to "+number(size, quantity.MM)+" mm", left)
		if v.has("case-left") {
			byCase = v.num("original") - 2*(v.num("case")-v.num("case-left"))
			a.settle("case_allows", "the case that has to remain allows grinding down to", byCase)
		}
		switch {
		case left <= 0:
			a.note("the case would be ground through: do not")
		case size < byCase-1e-9:
			a.note("less case than has to remain: do not")
		case !v.has("case-left"):
			a.note("how much case has to remain: not known, ask the maker")
		}
	}
	const question = "how far it may be ground"
	mm := func(x float64) string { return number(x, quantity.MM) + " mm" }
	switch least := v.num("least"); {
	case !v.has("least"):
		a.word("may_be_ground", question, "not known: ask the maker (least diameter, case depth, fillets)")
	case size < least-1e-9:
		a.word("may_be_ground", question, fmt.Sprintf("no further: %s is below the maker's least diameter %s", mm(size), v.text("least")))
	case size < byCase-1e-9:
		a.word("may_be_ground", question, fmt.Sprintf("no further: at %s less case is left than has to remain", mm(size)))
	case byCase > least:
		a.word("may_be_ground", question, fmt.Sprintf("down to %s, where the case that has to remain begins, if the fillets allow", mm(byCase)))
		a.settle("metal_left", "left to grind above that, on the diameter", size-byCase)
	default:
		allow := "case depth and fillets allow"
		if !math.IsInf(byCase, -1) {
			allow = "the fillets allow"
		}
		a.word("may_be_ground", question, fmt.Sprintf("down to the maker's least diameter %s, if %s", v.text("least"), allow))
		a.settle("metal_left", "left to grind above the maker's least diameter, on the diameter", size-least)
	}
	if v.has("fillet") {
		a.assume("the fillets keep the maker's radius " + v.text("fillet"))
	} else {
		a.assume("the fillets keep the maker's radius, whatever it is")
	}
}
