package sound

import (
	"math"

	"thouwright/internal/ledger"
)

// guideScore is the sound while an adjuster is turned. Sliding tones belong to
// the guide alone. Too loose (a play above its band, a drag below its own) they
// slide up and are short, too tight they slide down and are long, so that the ear
// knows which way to turn whatever is measured; their number, one to four, says
// how far off. In the band there is one calm, steady tone, with a short one
// a fifth above it when the band is reached with confidence.
func guideScore(g ledger.Guide) []note {
	var one note
	switch side(g) {
	case "loose":
		one = note{hz: 700, to: 1400, ms: short + 30, rest: apart}
	case "tight":
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

// side is which way the adjuster is out: by the way it has to go, and where
// that is not told by where a play would lie.
func side(g ledger.Guide) string {
	out := g.Where == "above" || g.Where == "below"
	switch {
	case out && g.Way == "tighten", out && g.Way != "slacken" && g.Where == "above":
		return "loose"
	case out:
		return "tight"
	}
	return ""
}
