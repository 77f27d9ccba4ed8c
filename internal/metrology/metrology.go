// Package metrology holds the uncertainty of a result (JCGM 100), what it says
// of conformance (JCGM 106, ISO 14253-1) and the statistics of repeated work.
// It is pure.
package metrology

// Shape is the distribution of one part of an uncertainty budget.
type Shape uint8

// The shapes.
const (
	Normal Shape = iota
	StudentT
	Rectangular
	Triangular
)

var shapeWords = [...]string{"normal", "t", "rectangular", "triangular"}

// String is the word used in budget.csv.
func (s Shape) String() string { return shapeWords[s] }

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
