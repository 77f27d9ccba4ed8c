// Package speech puts results into words for the ear.
package speech

import (
	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// Take says a take's result.
func Take(t *ledger.Take, unit quantity.Unit) string { return string(t.Verdict) + ": " + t.Say }
