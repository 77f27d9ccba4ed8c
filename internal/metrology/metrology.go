// Package metrology holds the uncertainty of a result (JCGM 100), what it says
// of conformance (JCGM 106, ISO 14253-1) and the statistics of repeated work.
// It is pure.
package metrology

import "math"

// Shape is the distribution of one part of an uncertainty budget.
type Shape uint8

// The shapes.
const (
	Normal Shape = iota
	StudentT
	Rectangular
	Triangular
	// Declining is the density 2 (1 - P/d)/d on [0, d] of a play under one
	// step: the only shape that is not symmetrical about the result. A budget
	// that holds it belongs to an upper bound (see Bound).
	Declining
)

var shapeWords = [...]string{"normal", "t", "rectangular", "triangular", "declining"}

// String is the word used in budget.csv.
func (s Shape) String() string { return shapeWords[s] }

// ParseShape reads the word of budget.csv; ok is false for any other.
func ParseShape(word string) (s Shape, ok bool) {
	for i, w := range shapeWords {
		if w == word {
			return Shape(i), true
		}
	}
	return 0, false
}

// The names of the parts that a method's budget is made of, as they stand in
// budget.csv. A derived value tells by them what its inputs share.
const (
	PartScatter       = "scatter"
	PartStep          = "step"
	PartCreep         = "creep"
	PartError         = "gauge error"
	PartErrorAssumed  = "gauge error (assumed)" // none was given: at least one step
	PartHysteresis    = "hysteresis"
	PartAngles        = "angles"
	PartRepeatability = "repeatability"
	PartTemperature   = "temperature" // ', ' and of what
	PartMaster        = "master"
	PartSetting       = "setting" // of the zero, in comparative gauging
	PartArm           = "arm"     // at which a force is pulled
)

// Part is one part of a budget. Value is the half-width (rectangular,
// triangular) or the standard deviation (normal, t) as it was given; U is the
// standard uncertainty it contributes to the result, sensitivity included.
// Value / Divisor = U. Dof is +Inf where the part is known, not estimated.
type Part struct {
	Name    string
	Value   float64
	Shape   Shape
	Divisor float64
	U       float64
	Dof     float64
}

// Rect is a part known to lie within plus and minus half (JCGM 100, 4.3.7).
func Rect(name string, half float64) Part {
	return Part{name, half, Rectangular, math.Sqrt(3), half / math.Sqrt(3), math.Inf(1)}
}

// Tri is a part between plus and minus half, most likely in the middle: the
// difference of two equal rectangles (JCGM 100, 4.3.9 and F.2.2.1).
func Tri(name string, half float64) Part {
	return Part{name, half, Triangular, math.Sqrt(6), half / math.Sqrt(6), math.Inf(1)}
}

// Gauss is a part known by its standard deviation.
func Gauss(name string, sd float64) Part {
	return Part{name, sd, Normal, 1, sd, math.Inf(1)}
}

// FromU95 is a part known by the half-width that holds 95 % of a normal distribution,
// as certificates state it.
func FromU95(name string, u95 float64) Part { return Gauss(name, u95/Normal95) }

// Normal95 is the 97.5 % quantile of the normal distribution.
const Normal95 = 1.959964

// Student is a part estimated from repetition: its standard uncertainty and
// the degrees of freedom of the estimate.
func Student(name string, u, dof float64) Part {
	return Part{name, u, StudentT, 1, u, dof}
}

// Budget is a result's uncertainty, part by part, all in the result's unit.
type Budget []Part

// Limits is the permitted interval; open ends are infinite.
type Limits struct{ Low, High float64 }

// Rule is how a verdict is reached.
type Rule string

// The rules: guarded asks for the confidence, simple compares the result alone.
const (
	Guarded Rule = "guarded"
	Simple  Rule = "simple"
)
