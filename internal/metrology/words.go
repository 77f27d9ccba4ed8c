package metrology

import (
	"math"
	"strings"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// tooWords are what a result above or below its limits is called, by method.
var tooWords = map[string][2]string{ // below, above
	"play":     {"too tight", "too loose"},
	"end-play": {"too tight", "too loose"},
	"run-out":  {"under the limits", "runs out too far"},
	"size":     {"too small", "too large"},
	"drag":     {"too loose", "too tight"},
	"derived":  {"too small", "too large"},
}

func too(method, side string) string {
	w, ok := tooWords[method]
	if !ok {
		w = [2]string{"below the limits", "above the limits"}
	}
	if side == Below {
		return w[0]
	}
	return w[1]
}

// Words says a take for people, in its own unit: 'too loose by 1.2 thou, at
// least 0.6'.
func Words(t *ledger.Take, v Verdict, c Combined) string { return WordsIn(t.Unit, t, v, c) }

// WordsIn is Words in the unit a person reads, which must be of the take's kind
// (else the take's own is used). What follows 'at least' is exceeded with the
// take's confidence.
func WordsIn(unit quantity.Unit, t *ledger.Take, v Verdict, c Combined) string {
	u95 := c.U95
	if t.U95 > 0 { // of a kept take: a Monte Carlo's budget does not combine to it again
		u95 = t.U95
	}
	say := speaker(t.Unit, unit, u95)
	conf := t.Confidence
	if !(conf > 0.5 && conf < 1) {
		conf = 0.95
	}
	if why := t.Distrusted(); why != "" {
		return say.full(t.Result) + ", not trusted: " + why
	}
	if math.IsInf(u95, 1) {
		return say.full(t.Result) + ", of unknown uncertainty"
	}
	if t.Bound {
		return boundWords(t, v, say)
	}
	if v.Verdict == ledger.NoVerdict {
		return say.full(t.Result) + " plus or minus " + say.full(u95)
	}
	// How far beyond a limit the result lies, and the least it can be.
	over, side := t.Result-t.High, Above
	if v.Side == Below || v.Side == "" && v.PBelow > v.PAbove {
		over, side = t.Low-t.Result, Below
	}
	var b strings.Builder
	switch v.Verdict {
	case ledger.Fail:
		least := over + c.Quantile(1-conf)
		if side == Below {
			least = over - c.Quantile(conf)
		}
		b.WriteString(too(t.Method, side) + " by " + say.full(over))
		if sure := say.most(least); least > 0 && sure != say.bare(over) && sure != say.bare(0) {
			b.WriteString(", at least " + sure)
		}
	case ledger.Pass:
		b.WriteString(say.full(t.Result) + ", " + room(t, say))
	default:
		maybe := "may be good: "
		if over > 0 {
			maybe = "may be " + too(t.Method, side) + ": "
		}
		switch {
		case say.bare(math.Abs(over)) == say.bare(0):
			b.WriteString(maybe + "on the limit, known to " + say.full(u95))
		case over > 0:
			b.WriteString(maybe + say.full(over) + " beyond the limit, known to " + say.bare(u95))
		case math.IsInf(over, -1):
			b.WriteString(say.full(t.Result) + ", known to " + say.bare(u95))
		default:
			b.WriteString(maybe + say.full(-over) + " inside the limit, known to " + say.bare(u95))
		}
	}
	return b.String()
}

// room is how much is left to the nearer limit.
func room(t *ledger.Take, say speech) string {
	left := min(t.High-t.Result, t.Result-t.Low)
	if left < 0 { // rule simple never gets here; a guarded pass lies within
		left = 0
	}
	return say.bare(left) + " inside the limits"
}

func boundWords(t *ledger.Take, v Verdict, say speech) string {
	say.places++
	s := "less than " + say.full(t.Result)
	switch v.Verdict {
	case ledger.Pass:
		return s + ", good"
	case ledger.Fail:
		if v.PBelow > v.PAbove {
			return s + ", " + too(t.Method, Below)
		}
		return s + ", " + too(t.Method, Above)
	case ledger.Undecided:
		return s + ": finer than this gauge can tell"
	}
	return s
}

// speech writes lengths as one says them: in the display unit, with the places
// that the uncertainty deserves.
type speech struct {
	from, to quantity.Unit
	places   int
}

func speaker(from, to quantity.Unit, u95 float64) speech {
	if to == quantity.None || to.Kind() != from.Kind() {
		to = from
	}
	s := speech{from, to, 3}
	if u := s.in(math.Abs(u95)); u > 0 && !math.IsInf(u, 0) {
		// One digit of the uncertainty is enough for the ear; two where it
		// begins with a 1.
		e := math.Floor(math.Log10(u))
		s.places = int(-e)
		if u/math.Pow(10, e) < 2 {
			s.places++
		}
		s.places = min(max(s.places, 0), 6)
	}
	return s
}

func (s speech) in(v float64) float64 {
	if c, err := quantity.Convert(v, s.from, s.to); err == nil {
		return c
	}
	return v
}

func (s speech) bare(v float64) string { return fixed(s.in(v), s.places) }

// least and most are bare rounded up and down: of what is promised, nothing is added. A
// hair of float64 noise is not a digit.
func (s speech) least(v float64) string { return s.directed(v, math.Ceil, -1e-6) }

func (s speech) most(v float64) string { return s.directed(v, math.Floor, 1e-6) }

func (s speech) directed(v float64, round func(float64) float64, hair float64) string {
	p := math.Pow10(s.places)
	return fixed(round(s.in(v)*p+hair)/p, s.places)
}

func (s speech) full(v float64) string {
	return s.named(s.bare(v))
}

func (s speech) named(number string) string {
	if u := s.to.String(); u != "" {
		return number + " " + u
	}
	return number
}
