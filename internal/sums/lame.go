package sums

import (
	"fmt"
	"math"
	"strings"

	"thouwright/internal/metal"
	"thouwright/internal/quantity"
)

// material is a metal as the sums use it.
type material struct {
	e     float64 // Young's modulus, MPa
	nu    float64 // Poisson's ratio
	alpha float64 // linear expansion, 1/K
}

func materialOf(name string) material {
	m, _ := metal.Find(name)
	return material{m.E, m.Nu, m.Alpha}
}

// materialFields are a part's material and the numbers that overrule it.
func materialFields(part, label, def string, elastic, thermal bool) []Field {
	f := []Field{{Name: part + "-material", Label: "material of the " + label, Kind: Choice, Default: def, Choices: metal.Names(), Help: "One of " + strings.Join(metal.Names(), ", ") + "."}}
	if elastic {
		f = append(f,
			Field{Name: part + "-e", Label: "Young's modulus of the " + label, Kind: Quantity, Unit: quantity.GPa, Example: "110 GPa", Help: "Instead of the table's."},
			Field{Name: part + "-nu", Label: "Poisson's ratio of the " + label, Kind: Number, Example: "0.34", Help: "Instead of the table's."})
	}
	if thermal {
		f = append(f, Field{Name: part + "-alpha", Label: "expansion of the " + label + " in 1e-6 per °C", Kind: Number, Example: "18.0", Help: "Instead of the table's."})
	}
	return f
}

// material is a part's material, overruled where the user says so. The sum's
// fields say which numbers it has.
func (v *values) material(part string) (material, error) {
	m := materialOf(v.text(part + "-material"))
	has := func(n string) bool {
		_, ok := v.sum.Field(part + n)
		return ok && v.has(part+n)
	}
	if has("-e") {
		m.e = v.num(part + "-e")
	}
	if has("-nu") {
		m.nu = v.num(part + "-nu")
	}
	if has("-alpha") {
		m.alpha = v.num(part+"-alpha") * 1e-6
	}
	switch {
	case m.e <= 0:
		return m, fmt.Errorf("--%s-e: has to be more than zero", part)
	case m.e > 1e6: // MPa; diamond
		return m, fmt.Errorf("--%s-e %s: no material is so stiff; expected something like 110 GPa, or 110000 MPa", part, v.text(part+"-e"))
	case m.nu < 0 || m.nu > 0.5:
		return m, fmt.Errorf("--%s-nu: lies between 0 and 0.5", part)
	}
	return m, nil
}

func (m material) say(part string) string {
	return fmt.Sprintf("%s: Young's modulus %.4g GPa, Poisson's ratio %.3g, expansion %.3g e-6 per °C", part, m.e/1e3, m.nu, m.alpha*1e6)
}

// ring is a bush of outside diameter d and bore di pressed into a housing of
// outside diameter do; lengths in mm, stresses in MPa. di = 0 is a solid pin, do
// infinite an endless wall. Lamé's thick cylinders in plane stress.
type ring struct {
	di, d, do    float64
	inner, outer material
}

// wall is (do²+d²)/(do²-d²), 1 for an endless wall.
func (r ring) wall() float64 {
	if math.IsInf(r.do, 1) {
		return 1
	}
	return (r.do*r.do + r.d*r.d) / (r.do*r.do - r.d*r.d)
}

// tube is (d²+di²)/(d²-di²), 1 for a solid pin.
func (r ring) tube() float64 { return (r.d*r.d + r.di*r.di) / (r.d*r.d - r.di*r.di) }

// give is the interference on the diameter that 1 MPa takes up, in mm.
func (r ring) give() float64 {
	return r.d * ((r.wall()+r.outer.nu)/r.outer.e + (r.tube()-r.inner.nu)/r.inner.e)
}

// pressure is the contact pressure of an interference on the diameter.
func (r ring) pressure(interference float64) float64 { return math.Max(0, interference) / r.give() }

// closeIn is how much smaller the bore becomes, on the diameter.
func (r ring) closeIn(p float64) float64 {
	return 2 * p * r.d * r.d * r.di / (r.inner.e * (r.d*r.d - r.di*r.di))
}

// growth is how much larger the housing's outside becomes, on the diameter.
func (r ring) growth(p float64) float64 {
	if math.IsInf(r.do, 1) {
		return 0
	}
	return 2 * p * r.d * r.d * r.do / (r.outer.e * (r.do*r.do - r.d*r.d))
}

// bushHoop is the largest hoop stress in the bush: at its bore, or all through a
// solid pin. Negative: compression.
func (r ring) bushHoop(p float64) float64 {
	if r.di == 0 {
		return -p
	}
	return -2 * p * r.d * r.d / (r.d*r.d - r.di*r.di)
}

// housingHoop is the hoop stress at the housing's bore.
func (r ring) housingHoop(p float64) float64 { return p * r.wall() }

// bushEquivalent and housingEquivalent are von Mises' stresses at the same
// places, which the yield is compared with.
func (r ring) bushEquivalent(p float64) float64 {
	if r.di == 0 {
		return p // hoop and radial both -p
	}
	return -r.bushHoop(p) // no radial stress at the free bore
}

func (r ring) housingEquivalent(p float64) float64 {
	h := r.housingHoop(p)
	return math.Sqrt(h*h + h*p + p*p)
}
