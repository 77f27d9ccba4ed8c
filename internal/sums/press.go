package sums

import (
	"fmt"
	"math"
	"slices"

	"thouwright/internal/quantity"
)

var pressSum = Sum{
	Verb:  "press",
	Title: "Press fit of a bush",
	About: "A bush pressed into a housing: pressure, hoop stresses against yield, press force, how much the bore closes in, and the bore to cut before pressing. Beyond yield nothing is said of the close-in.",
	Fields: slices.Concat([]Field{
		{Name: "bush", Label: "outside diameter of the bush", Kind: Span, Unit: quantity.MM, Example: "30.035..30.056 mm", Help: "Limits or as measured; goes with the bore of the housing."},
		{Name: "housing", Label: "bore of the housing", Kind: Span, Unit: quantity.MM, Example: "30.000..30.021 mm"},
		{Name: "interference", Label: "interference on the diameter", Kind: Span, Unit: quantity.MM, Example: "0.018..0.059 mm", Help: "Instead of the two diameters; goes with the diameter of the joint."},
		{Name: "at", Label: "diameter of the joint", Kind: Quantity, Unit: quantity.MM, Example: "30 mm", Help: "Goes with the interference."},
		{Name: "bore", Label: "bore of the bush before pressing", Kind: Quantity, Unit: quantity.MM, Example: "25 mm", Help: "Without it, and without a finished bore wanted, a solid pin."},
		{Name: "housing-od", Label: "outside diameter of the housing", Kind: Quantity, Unit: quantity.MM, Example: "60 mm", Help: "Without it an endless wall, the stiffest."},
		{Name: "length", Label: "length of the joint", Kind: Quantity, Unit: quantity.MM, Example: "40 mm", Help: "For the press force."},
		{Name: "friction", Label: "friction", Kind: Span, Default: "0.08..0.20", Example: "0.08..0.20", Help: "Metal on metal, oiled to dry (common practice, no source)."},
		{Name: "finish", Label: "finished bore wanted after pressing", Kind: Span, Wanted: true, Unit: quantity.MM, Example: "25.000..25.021 mm", Help: "For the bore to cut before pressing."},
		{Name: "bush-rz", Label: "roughness Rz of the bush", Kind: Quantity, Unit: quantity.UM, Example: "6.3 um", Help: "Pressing smooths both surfaces; without it nothing is taken off."},
		{Name: "housing-rz", Label: "roughness Rz of the housing", Kind: Quantity, Unit: quantity.UM, Example: "10 um"},
		{Name: "bush-yield", Label: "yield strength of the bush", Kind: Quantity, Unit: quantity.MPa, Example: "125 MPa", Help: "From the metal's certificate or maker."},
		{Name: "housing-yield", Label: "yield strength of the housing", Kind: Quantity, Unit: quantity.MPa, Example: "250 MPa"},
	}, materialFields("bush", "bush", "bronze", true, false), materialFields("housing", "housing", "steel", true, false)),
	Formula: "Lamé, thick cylinders of unlike materials in plane stress",
	Source:  "Lamé; Shigley, Mechanical Engineering Design, eq. 3-56 and 3-57; smoothing 0.8 (Rz + Rz) after DIN 7190-1 and the materials' moduli, both from memory",
	Examples: []string{
		"thouwright calc press --bush 30.035..30.056 --housing 30.000..30.021 --bore 25 --housing-od 60 --length 40 --finish 25.000..25.021",
		"thouwright calc press --interference '0.050 mm' --at 30 --bore 25 --housing-od 60 --bush-material 'phosphor bronze' --bush-yield '195 MPa'",
	},
	Picture:  picture(pressDrawing),
	Cautions: []string{cautionPress, cautionHeat, cautionSize},
	run:      runPress,
	judge: func(v *values, a *Answer) {
		for _, part := range []string{"bush", "housing"} {
			s, _ := a.Result(part + "_stress")
			if y := v.num(part + "-yield"); v.has(part+"-yield") && s.High <= y && s.High+s.U95 > y {
				a.note("with its ± the stress in the " + part + " may pass its yield strength: press it, measure, and ream to size")
			}
		}
	},
}

// joint reads the interference and the rings' diameters.
func (v *values) joint() (r ring, low, high float64, err error) {
	r.do = math.Inf(1)
	switch {
	case v.has("interference") && (v.has("bush") || v.has("housing")):
		return r, 0, 0, fmt.Errorf("give either --interference with --at, or --bush with --housing")
	case v.has("interference"):
		if !v.has("at") {
			return r, 0, 0, missing("at", "the diameter at which the interference is, such as 30 mm")
		}
		if r.d, err = v.positive("at"); err != nil {
			return
		}
		if low, high, err = v.closed("interference"); err != nil {
			return
		}
	case v.has("bush") && v.has("housing"):
		bl, bh, err := v.closed("bush")
		if err != nil {
			return r, 0, 0, err
		}
		hl, hh, err := v.closed("housing")
		if err != nil {
			return r, 0, 0, err
		}
		r.d = (bl + bh + hl + hh) / 4
		low, high = bl-hh, bh-hl
	default:
		return r, 0, 0, fmt.Errorf("what is pressed into what: give --bush and --housing (diameters), or --interference with --at")
	}
	if v.has("housing-od") {
		r.do = v.num("housing-od")
	}
	if r.do <= r.d || r.d <= 0 {
		return r, 0, 0, fmt.Errorf("--housing-od %s: has to be larger than the joint, %s mm", v.text("housing-od"), number(r.d, quantity.MM))
	}
	if r.inner, err = v.material("bush"); err == nil {
		r.outer, err = v.material("housing")
	}
	return r, low, high, err
}

func runPress(v *values) (*Answer, error) {
	a := &Answer{}
	r, low, high, err := v.joint()
	if err != nil {
		return nil, err
	}
	if high <= 0 {
		gap := number(-high, quantity.MM)
		if low != high {
			gap += " to " + number(-low, quantity.MM)
		}
		return nil, fmt.Errorf("there is no interference: the bush is %s mm smaller than its housing", gap)
	}
	switch {
	case v.has("bore"):
		r.di = v.num("bore")
	case v.has("finish"):
		r.di = v.one("finish").num
	}
	if r.di < 0 || r.di >= r.d {
		return nil, fmt.Errorf("--bore %s: lies between 0 and the joint's %s mm", number(r.di, quantity.MM), number(r.d, quantity.MM))
	}
	if v.has("finish") {
		if x := v.one("finish"); x.low >= r.d || x.high >= r.d && !math.IsInf(x.high, 1) {
			return nil, fmt.Errorf("--finish %s: no wall is left of the bush, the joint is %s mm", v.text("finish"), number(r.d, quantity.MM))
		}
	}
	a.band("interference", "interference", quantity.MM, low, high)
	smooth := 0.8 * (v.num("bush-rz") + v.num("housing-rz"))
	if v.has("bush-rz") || v.has("housing-rz") {
		a.length("smoothing", "taken off by smoothing of the roughness", smooth)
		low, high = low-smooth, high-smooth
		a.band("effective_interference", "interference that is left", quantity.MM, math.Max(0, low), math.Max(0, high))
	} else {
		a.assume("no smoothing of the roughness: give --bush-rz and --housing-rz to count it")
	}
	if high <= 0 {
		return nil, fmt.Errorf("smoothing of the roughness takes up all of the interference")
	}
	if low <= 0 {
		a.note("at the least interference the bush is loose: it may turn or wander")
	}
	p1, p2 := r.pressure(low), r.pressure(high)
	a.band("pressure", "pressure in the joint", quantity.MPa, p1, p2)
	a.band("bush_hoop", "hoop stress in the bush (compression below zero)", quantity.MPa, r.bushHoop(p2), r.bushHoop(p1))
	a.band("housing_hoop", "hoop stress in the housing", quantity.MPa, r.housingHoop(p1), r.housingHoop(p2))
	bush, bushKnown := a.yield("bush", r.bushEquivalent(p1), r.bushEquivalent(p2), v)
	housing, housingKnown := a.yield("housing", r.housingEquivalent(p1), r.housingEquivalent(p2), v)
	beyond := bush || housing
	if v.has("length") {
		l, err := v.positive("length")
		if err != nil {
			return nil, err
		}
		f1, f2, err := v.closed("friction")
		if err != nil || f1 < 0 || f2 > 2 {
			return nil, fmt.Errorf("--friction %s: expected a range such as 0.08..0.20", v.text("friction"))
		}
		area := math.Pi * r.d * l
		a.band("press_force", "press force at full depth", quantity.N, f1*p1*area, f2*p2*area)
	} else {
		a.note("press force: give --length")
	}
	switch {
	case beyond:
		a.word("beyond_yield", "beyond yield", "yes")
	case bushKnown && housingKnown:
		a.word("beyond_yield", "beyond yield", "no")
	default:
		a.word("beyond_yield", "beyond yield", "not known")
	}
	switch {
	case r.di == 0:
	case beyond:
		a.note("beyond yield nothing is said of the close-in: press it, measure, and ream to size")
	default:
		a.closing(v, r, low, high)
	}
	if !math.IsInf(r.do, 1) && !beyond {
		a.band("housing_growth", "the housing's outside grows by", quantity.MM, r.growth(p1), r.growth(p2))
	}
	a.note("the surest way: press in first, then ream both bushes in line")
	a.assume(r.inner.elastic("bush"))
	a.assume(r.outer.elastic("housing"))
	a.assume("a joint much longer than its wall, housing round and even, both parts at 20 °C")
	return a, nil
}

func (m material) elastic(part string) string {
	return fmt.Sprintf("%s: Young's modulus %.4g GPa, Poisson's ratio %.3g", part, m.e/1e3, m.nu)
}

// yield compares a part's equivalent stress with its yield strength and tells
// whether the greatest interference passes it, and whether that is known.
func (a *Answer) yield(part string, s1, s2 float64, v *values) (beyond, known bool) {
	a.band(part+"_stress", "equivalent stress in the "+part+" (von Mises)", quantity.MPa, s1, s2)
	if !v.has(part + "-yield") {
		a.note("yield strength of the " + part + " not given: the figures hold only while its stress stays below it")
		return false, false
	}
	y := v.num(part + "-yield")
	if y <= 0 {
		return true, true
	}
	a.value(part+"_of_yield", "that is, of its yield strength at most (%)", quantity.None, 100*s2/y)
	if s2 > y {
		a.note(fmt.Sprintf("the %s yields: %.0f MPa against %s", part, s2, v.text(part+"-yield")))
		return true, true
	}
	return false, true
}

// closing says how much the bore closes in, and what to cut before pressing.
func (a *Answer) closing(v *values, r ring, low, high float64) {
	at := func(di, interference float64) float64 {
		r.di = di
		return r.closeIn(r.pressure(interference))
	}
	a.band("close_in", "the bore closes in by", quantity.MM, at(r.di, low), at(r.di, high))
	if v.has("bore") {
		a.band("bore_after", "bore after pressing", quantity.MM, r.di-at(r.di, high), r.di-at(r.di, low))
	}
	if !v.has("finish") {
		return
	}
	x := v.one("finish")
	// The close-in depends on the bore it is cut to: solve bore - closeIn = wanted.
	before := func(wanted, interference float64) float64 {
		b := wanted
		for range 50 {
			b = wanted + at(b, interference)
		}
		return b
	}
	from, to := before(x.low, high), before(x.high, low)
	if from > to || math.IsInf(x.low, 0) || math.IsInf(x.high, 0) {
		a.note("no bore cut before pressing is sure to finish within --finish, because the interference varies too much: cut it smaller and ream after pressing")
		return
	}
	if !(to < r.d) { // or no number at all: it closes in by more than there is
		a.note("no bore cut before pressing finishes within --finish: hardly any wall would be left of the bush")
		return
	}
	a.add(Result{Name: "bore_before", Label: "bore to cut before pressing, between", Form: Band, Unit: quantity.MM, Low: from, High: to, settled: true, inward: true, drawn: true})
}
