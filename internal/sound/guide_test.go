package sound

import (
	"testing"

	"thouwright/internal/ledger"
)

// The ear is told which way to turn: a drag above its band sounds as a play
// below its own does, for both are too tight.
func TestGuideSoundsTheWayToTurn(t *testing.T) {
	for _, c := range []struct {
		what string
		g    ledger.Guide
		up   bool
	}{
		{"a play too loose", ledger.Guide{Where: "above", Way: "tighten", Ratio: 2}, true},
		{"a play too tight", ledger.Guide{Where: "below", Way: "slacken", Ratio: 2}, false},
		{"a drag too tight", ledger.Guide{Where: "above", Way: "slacken", Ratio: 2}, false},
		{"a drag too loose", ledger.Guide{Where: "below", Way: "tighten", Ratio: 2}, true},
	} {
		n := guideScore(c.g)
		if len(n) == 0 {
			t.Fatalf("%s: silence", c.what)
		}
		if up := n[0].to > n[0].hz; up != c.up {
			t.Errorf("%s slides up: %v", c.what, up)
		}
	}
}
