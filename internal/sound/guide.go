package sound

import (
	"math"

	"thouwright/internal/ledger"
)

// guideScore is the sound while an adjuster is turned. Sliding tones belong to
// the guide alone. Above the band (too loose) they slide up and are short,
// below it (too tight) they slide down and are long; their number, one to four,
// says how far off. In the band there is one calm, steady tone, with a short one
// a fifth above it when the band is reached with confidence.
func guideScore(g ledger.Guide) []note {
	var one note
	switch g.Where {
	case "above":
		one = note{hz: 700, to: 1400, ms: short + 30, rest: apart}
	case "below":
		one = note{hz: 900, to: 450, ms: long + 30, rest: apart}
	default:
		calm := []note{{hz: 528, ms: 400, soft: 80, level: 0.7}}
		if g.Sure {
			calm[0].rest = apart
			calm = append(calm, note{hz: 792, ms: short + 30, soft: 40, level: 0.7})
		}
		return calm
	}
	score := make([]note, guideCount(g.Ratio))
	for i := range score {
		score[i] = one
	}
	score[len(score)-1].rest = 0
	return score
}

// guideCount turns the distance from the band's middle (in half-bands, 1 is its
// edge) into a number that can be counted by ear.
func guideCount(ratio float64) int {
	switch off := math.Abs(ratio) - 1; {
	case off <= 0.5:
		return 1
	case off <= 1.5:
		return 2
	case off <= 3.5:
		return 3
	}
	return 4
}
