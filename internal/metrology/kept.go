package metrology

import (
	"math"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// BudgetOf is a kept take's budget again, as it was combined; factor takes its
// unit into another.
func BudgetOf(lines []ledger.BudgetLine, factor float64) Budget {
	b := make(Budget, 0, len(lines))
	for _, l := range lines {
		shape, _ := ParseShape(l.Distribution)
		dof := l.Dof
		if math.IsNaN(dof) || dof == 0 {
			dof = math.Inf(1)
		}
		b = append(b, Part{Name: l.Part, Value: l.Value * factor, Shape: shape, Divisor: l.Divisor, U: l.U * factor, Dof: dof})
	}
	return b
}

// WordsKept says a kept take for people in the unit they read.
func WordsKept(unit quantity.Unit, t *ledger.Take) string {
	v := Verdict{Verdict: t.Verdict, Side: t.Side, PIn: t.PIn, PBelow: t.PBelow, PAbove: t.PAbove}
	return WordsIn(unit, t, v, BudgetOf(t.Budget, 1).Combine())
}
