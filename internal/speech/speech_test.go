package speech

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// How the trade says numbers: common practice, no source.
func TestNumbersAsTheTradeSaysThem(t *testing.T) {
	for _, c := range []struct {
		v          float64
		from, unit quantity.Unit
		want       string
	}{
		{3.2, quantity.Thou, quantity.Thou, "three point two thou"},
		{0.0032, quantity.In, quantity.Thou, "three point two thou"},
		{0.08128, quantity.MM, quantity.Thou, "three point two thou"},
		{1, quantity.Thou, quantity.Thou, "one thou"},
		{0.4, quantity.Thou, quantity.In, "four tenths"},
		{0.1, quantity.Thou, quantity.Thou, "one tenth"},
		{0.96, quantity.Thou, quantity.Thou, "one thou"},
		{2.5, quantity.Thou, quantity.Thou, "two and a half thou"},
		{-1.2, quantity.Thou, quantity.Thou, "minus one point two thou"},
		{1.1806, quantity.In, quantity.In, "one point one eight zero six inches"},
		{0.032, quantity.MM, quantity.MM, "three point two hundredths"},
		{0.030, quantity.MM, quantity.MM, "three hundredths"},
		{0.01, quantity.MM, quantity.MM, "one hundredth"},
		{0.30, quantity.MM, quantity.MM, "thirty hundredths"},
		{0.0045, quantity.MM, quantity.MM, "four and a half microns"},
		{29.974, quantity.MM, quantity.MM, "twenty-nine point nine seven four millimetres"},
		{30, quantity.MM, quantity.MM, "thirty millimetres"},
		{118.005, quantity.MM, quantity.MM, "one hundred and eighteen point zero zero five millimetres"},
		{32, quantity.UM, quantity.UM, "thirty-two microns"},
		{4.2, quantity.NM, quantity.Thou, "four point two newton metres"},
		{0.45, quantity.Lbf, quantity.Lbf, "zero point four five pounds"},
		{12.44, quantity.N, quantity.N, "twelve point four newtons"},
		{0, quantity.MM, quantity.Thou, "zero tenths"},
		{math.NaN(), quantity.MM, quantity.MM, "no number"},
		{math.Inf(1), quantity.MM, quantity.MM, "no number"},
	} {
		if got := Value(c.v, c.from, c.unit); got != c.want {
			t.Errorf("%v %v in %v: %q, want %q", c.v, c.from, c.unit, got, c.want)
		}
	}
}

func TestTakesInWords(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		take ledger.Take
		want string
	}{
		{ledger.Take{Method: "play", Unit: quantity.MM, Result: 0.0533, Low: 0.009, High: 0.05, Verdict: ledger.Pass}, "pass, two point one thou"},
		{ledger.Take{Method: "play", Unit: quantity.Thou, Result: 3.2, Low: -inf, High: 2, Verdict: ledger.Fail, Side: "above"}, "fail, three point two thou, too much, one point two thou over"},
		{ledger.Take{Method: "end-play", Unit: quantity.Thou, Result: 0.4, Low: 1, High: 4, Verdict: ledger.Fail, Side: "below"}, "fail, four tenths, too tight, six tenths under"},
		{ledger.Take{Method: "play", Unit: quantity.Thou, Result: 2.1, U95: 0.8, Low: -inf, High: 2, Verdict: ledger.Undecided}, "undecided, two point one thou, known to eight tenths"},
		{ledger.Take{Method: "play", Unit: quantity.Thou, Result: 0.4, Bound: true, Low: -inf, High: 2, Verdict: ledger.Pass}, "pass, less than four tenths"},
		{ledger.Take{Method: "derived", Tag: ledger.Tag{Check: "clearance"}, Unit: quantity.Thou, Result: 2, Low: 1, High: 3, Verdict: ledger.Pass}, "clearance, pass, two thou"},
		{ledger.Take{Method: "run-out", Unit: quantity.Thou, Result: 7, Low: -inf, High: inf}, "seven thou"},
	} {
		if got := Take(&c.take, quantity.Thou); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

func TestPlacesAndGuides(t *testing.T) {
	at := func(c, k, p string) ledger.Tag { return ledger.Tag{Component: c, Check: k, Position: p} }
	for _, c := range []struct{ got, want string }{
		{Moved(at("pin", "play", "left lock"), at("pin", "play", "right lock")), "right lock"},
		{Moved(at("pin", "play", "left lock"), at("pin", "drag", "lock to lock")), "drag, lock to lock"},
		{Moved(at("pin", "play", "left lock"), at("hub", "end play", "")), "hub, end play"},
		{Guide("end-play", ledger.Guide{Where: "below", Way: "slacken", Turn: "20 deg"}), "too tight, slacken twenty degrees"},
		{Guide("end-play", ledger.Guide{Where: "above", Way: "tighten", Turn: "one slot"}), "too much, tighten one slot"},
		{Guide("drag", ledger.Guide{Where: "above", Way: "slacken"}), "too tight, slacken"},
		{Guide("drag", ledger.Guide{Where: "below", Way: "tighten"}), "too loose, tighten"},
		{Guide("end-play", ledger.Guide{Where: "in"}), "in the band"},
		{Guide("end-play", ledger.Guide{Where: "in", Sure: true, Way: "lock"}), "in the band, fasten the lock"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}

// The sides never share a word, and no number leaves a digit or sign for the
// speech program to say its own way.
func TestWordsOnly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-999_999, 999_999).Draw(t, "v")
		v *= math.Pow(10, -float64(rapid.IntRange(0, 7).Draw(t, "down")))
		u := rapid.SampledFrom([]quantity.Unit{quantity.MM, quantity.UM, quantity.In, quantity.Thou, quantity.N, quantity.NM, quantity.Deg}).Draw(t, "unit")
		from := u
		if u.IsLength() {
			from = quantity.MM
			v = math.Mod(v, 900)
		}
		if s := Value(v, from, u); strings.ContainsAny(s, "0123456789.%+") || s == "" {
			t.Fatalf("%v %v in %v: %q", v, from, u, s)
		}
	})
	for _, m := range []string{"play", "end-play", "run-out", "size", "drag", "derived", "other"} {
		if TooWord(m, "below") == TooWord(m, "above") {
			t.Errorf("%s: both sides are %q", m, TooWord(m, "above"))
		}
	}
}
