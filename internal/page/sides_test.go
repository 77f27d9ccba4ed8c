package page

import (
	"fmt"
	"strings"
	"testing"

	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
	"thouwright/internal/speech"
)

// Which side of a band is too tight depends on what is measured: a play above
// it is too loose, a drag above it too tight. A wrong word loosens a loose
// bearing, so page, speech and the take's words (which the record prints) are
// held against each other, for the guide at the adjuster and for the verdict.
func TestSidesAreNamedRightly(t *testing.T) {
	sc := newScene()
	ctx := open(t, serve(t, sc.d, Options{}))
	drawn := map[string]string{}
	for i, c := range []struct{ method, side, word, way string }{
		{"end-play", "above", "too loose", "tighten"}, {"end-play", "below", "too tight", "slacken"},
		{"drag", "above", "too tight", "slacken"}, {"drag", "below", "too loose", "tighten"},
	} {
		g := ledger.Guide{Where: c.side, Ratio: 2, Way: c.way}
		if got := speech.Guide(c.method, g); c.method == "drag" && got != c.word+", "+c.way {
			t.Errorf("%s %s is spoken as %q", c.method, c.side, got)
		}
		sc.set(func(l *ledger.Live) {
			a := *l.Active
			a.Method, a.Phase, a.Guide = c.method, ledger.PhaseAdjusting, &g
			l.Active, l.LastTake = &a, nil
		})
		until(t, ctx, fmt.Sprintf(`document.getElementById('word').textContent === '%s' && document.querySelector('.word .lines').innerText.includes('%s')`, strings.ToUpper(c.way), c.word))

		result := map[string]float64{"above": 9, "below": 0.1}[c.side]
		tk := &ledger.Take{Method: c.method, Unit: quantity.Thou, Result: result, U95: 0.01, Low: 1, High: 5, Verdict: ledger.Fail, Side: c.side, Confidence: 0.95}
		words := metrology.Words(tk, metrology.Verdict{Verdict: ledger.Fail, Side: c.side}, metrology.Combined{U95: 0.01})
		if !strings.HasPrefix(words, c.word+" by") {
			t.Errorf("a %s %s its limits is %q", c.method, c.side, words)
		}
		shown := take(20+i, "right lock", "9", "0.01", "fail", c.side, words)
		shown["method"] = c.method
		sc.set(func(l *ledger.Live) { a := *l.Active; a.Guide = nil; l.Active = &a })
		sc.verdict(shown)
		until(t, ctx, fmt.Sprintf(`document.getElementById('word').textContent === 'FAIL' && document.querySelector('.word .lines').innerText.startsWith('%s')`, words))
		shape := js[string](t, ctx, `[...document.querySelectorAll('.word .shape path')].map(e => e.getAttribute('d')).join()`)
		if before, had := drawn[c.word]; had && before != shape {
			t.Errorf("%s has another shape for a %s than for an end play", c.word, c.method)
		}
		drawn[c.word] = shape
	}
	if drawn["too tight"] == drawn["too loose"] {
		t.Error("too tight and too loose have one shape")
	}
}
