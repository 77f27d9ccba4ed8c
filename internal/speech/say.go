package speech

import (
	"math"
	"strings"

	"thouwright/internal/ledger"
	"thouwright/internal/method"
	"thouwright/internal/quantity"
)

// Take says a take's result, verdict first: "pass, two point one thou" or
// "fail, three point two thou, too much, one point two thou over". unit is the
// unit a person reads.
func Take(t *ledger.Take, unit quantity.Unit) string {
	if t.Method == method.Derived && t.Tag.Check != "" { // nobody measured it just now: it needs its name
		return t.Tag.Check + ", " + result(t, unit)
	}
	return result(t, unit)
}

func result(t *ledger.Take, unit quantity.Unit) string {
	value := Value(t.Result, t.Unit, unit)
	if t.Bound {
		value = "less than " + value
	}
	if why := t.Distrusted(); why != "" {
		return "not trusted, " + why
	}
	switch t.Verdict {
	case ledger.Pass:
		return "pass, " + value
	case ledger.Fail:
		side, over := sideOf(t)
		words := "fail, " + value + ", " + TooWord(t.Method, side)
		if over > 0 && !t.Bound {
			words += ", " + Value(over, t.Unit, unit) + " " + beyond(side)
		}
		return words
	case ledger.Undecided:
		return "undecided, " + value + ", known to " + Value(t.U95, t.Unit, unit)
	}
	return value
}

// sideOf is the side on which a result lies and how far beyond the limit.
func sideOf(t *ledger.Take) (side string, over float64) {
	side = t.Side
	if side == "" {
		side = "above"
		if t.PBelow > t.PAbove || t.Result < t.Low {
			side = "below"
		}
	}
	over = t.Result - t.High
	if side == "below" {
		over = t.Low - t.Result
	}
	if math.IsInf(over, 0) || math.IsNaN(over) {
		over = 0
	}
	return side, over
}

func beyond(side string) string {
	if side == "below" {
		return "under"
	}
	return "over"
}

// TooWord is what a result beyond its limits is called for the ear: never the
// same word for both sides, for a wrong one loosens a loose bearing.
func TooWord(m, side string) string {
	below := side == "below"
	pick := func(b, a string) string {
		if below {
			return b
		}
		return a
	}
	switch m {
	case method.Play, method.EndPlay:
		return pick("too tight", "too much")
	case method.Size, method.Derived:
		return pick("too small", "too large")
	case method.Drag:
		return pick("too loose", "too tight")
	case method.RunOut:
		return pick("below the limits", "too much")
	}
	return pick("below the limits", "above the limits")
}

// Place says what is measured next: component, check where it is not the one
// before, and position.
func Place(component, check, position string) string {
	var parts []string
	for _, p := range []string{component, check, position} {
		if p = strings.TrimSpace(p); p != "" && (len(parts) == 0 || parts[len(parts)-1] != p) {
			parts = append(parts, p)
		}
	}
	return strings.Join(parts, ", ")
}

// Moved says what changed between two places: from one position to the next of
// the same check only the position, else what is new and all that lies below
// it.
func Moved(from, to ledger.Tag) string {
	switch {
	case from.Component != to.Component:
		return Place(to.Component, to.Check, to.Position)
	case from.Check != to.Check:
		return Place("", to.Check, to.Position)
	}
	return to.Position
}

// Guide says a live adjustment: "too tight, slacken 20 deg", "in the band,
// fasten the lock". The words for the sides are those of play.
func Guide(m string, g ledger.Guide) string {
	if g.Where != "below" && g.Where != "above" {
		if g.Sure || g.Way == "lock" {
			return "in the band, fasten the lock"
		}
		return "in the band"
	}
	s := TooWord(m, g.Where)
	if g.Way == "tighten" || g.Way == "slacken" {
		s += ", " + g.Way
		if g.Turn != "" {
			s += " " + Turn(g.Turn)
		}
	}
	return s
}

// Turn says "20 deg" as "twenty degrees"; words go through as they are.
func Turn(t string) string {
	if q, err := quantity.ParseQuantity(t); err == nil && q.Unit.Kind() == quantity.Angle {
		if v, err := q.In(quantity.Deg); err == nil {
			return counted(v, 0, "degree", "degrees")
		}
	}
	return t
}
