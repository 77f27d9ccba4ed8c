package page

import (
	"math"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"thouwright/internal/advice"
	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
	"thouwright/internal/sums"
)

// What a failed take asks for leads to the sum's form: the right sum, what was
// measured filled in, worked out where nothing is lacking, and the same answer
// as the suggestion's own. A shim's stock only the person knows: the form waits
// for it.
func TestSuggestionOpensItsSum(t *testing.T) {
	mm := quantity.MM
	made := func(n uint64, component, check, position string, result, u95 float64, v ledger.Verdict) *ledger.Take {
		return &ledger.Take{Take: n, Tag: ledger.Tag{Stage: "as found", Component: component, Check: check, Position: position}, Unit: mm, Result: result, U95: u95, Verdict: v, Dof: math.Inf(1)}
	}
	limits := func(component, name, method string, low, high float64) sums.Check {
		return sums.Check{Component: component, Name: name, Method: method, Low: low, High: high, Unit: mm}
	}
	pin := limits("left swivel pin", "pin diameter", "size", 29.967, 29.991)
	nut := limits("front hub", "end play", "end-play", 0.03, 0.09)
	nut.Pitch, nut.Hand, nut.Slots = 1.5, "right", 6
	all := sums.Suggest([]*ledger.Take{
		made(1, "left swivel pin", "play in bushes", "right lock", 0.0812, 0.0052, ledger.Fail),
		made(2, "left swivel pin", "pin diameter", "upper", 29.912, 0.003, ledger.Fail),
		made(3, "front hub", "end play", "hub face", 0.310, 0.006, ledger.Fail),
		made(4, "drop arm", "end float", "shaft end", 0.310, 0.006, ledger.Fail),
	}, []sums.Check{limits("left swivel pin", "play in bushes", "play", 0.009, 0.050), pin, nut, limits("drop arm", "end float", "end-play", 0.02, 0.05)})
	if len(all) != 3 || all[0].Verb != "bush" || all[1].Verb != "turn" || all[2].Verb != "shim" {
		t.Fatalf("%+v", all)
	}
	sc := newScene()
	sc.set(func(l *ledger.Live) { l.Suggest = advice.Live(all) })
	ctx := open(t, serve(t, sc.d, Options{}))
	field := func(name, want string) {
		t.Helper()
		if got := js[string](t, ctx, `document.querySelector('.sumbody form').elements['`+name+`'].value`); got != want {
			t.Errorf("%s is filled with %q, want %q", name, got, want)
		}
	}

	// From the verdict on the bench view, by a touch.
	sc.verdict(take(1, "right lock", "0.0812", "0.0052", "fail", "above", "too loose by 0.031 mm, at least 0.026"))
	until(t, ctx, `document.querySelector('.word .asks a')`)
	if got := js[string](t, ctx, `document.querySelector('.word .asks').innerText`); !strings.Contains(got, "a bush finished to") || strings.Contains(got, "calc") {
		t.Errorf("the bench view says %q", got)
	}
	shot(t, ctx, "asks")
	tapOn(t, ctx, `document.querySelector('.word .asks a')`)
	until(t, ctx, `document.querySelector('.sumlist a[aria-current]')?.getAttribute('href') === '#sums=bush' && document.querySelector('.results')`)
	field("shaft", "29.9120 ± 0.0030 mm")
	field("clearance", "0.0090..0.0500 mm")
	bore, _ := all[0].Answer.Result("bore")
	if got := js[string](t, ctx, `document.querySelector('.results').innerText`); !strings.Contains(got, bore.Say(mm)) {
		t.Errorf("the page works out %q, the suggestion said %q", got, bore.Say(mm))
	}

	// From the job view, by the keyboard.
	view(t, ctx, "job")
	until(t, ctx, `document.querySelectorAll('.asked li').length === 3`)
	shot(t, ctx, "asked")
	js[bool](t, ctx, `[...document.querySelectorAll('.asked li')][1].querySelector('a').focus(), true`)
	do(t, ctx, chromedp.KeyEvent("\r"))
	until(t, ctx, `document.querySelector('.sumlist a[aria-current]')?.getAttribute('href') === '#sums=turn' && document.querySelector('.results')`)
	field("play", "0.3100 ± 0.0060 mm")
	field("pitch", "1.5 mm")
	field("slots", "6")
	way, _ := all[1].Answer.Result("way")
	if got := js[string](t, ctx, `document.querySelector('.results').innerText`); !strings.Contains(got, way.Text) {
		t.Errorf("the page works out %q, the suggestion said %q", got, way.Text)
	}
	if n := len(sc.d.commands()); n != 0 {
		t.Errorf("working out a sum gave the bench %d commands", n)
	}

	// What only the person knows is left to him.
	view(t, ctx, "job")
	tapOn(t, ctx, `[...document.querySelectorAll('.asked li')][2].querySelector('a')`)
	until(t, ctx, `document.querySelector('.sumlist a[aria-current]')?.getAttribute('href') === '#sums=shim' && document.querySelector('#given')`)
	field("play", "0.3100 ± 0.0060 mm")
	field("stock", "")
	if js[bool](t, ctx, `!!document.querySelector('.results') || document.querySelector('.sumbody form').checkValidity()`) {
		t.Error("shims were worked out without a stock to choose from")
	}
}

// What was worked out on the page is kept with the job by one button, with what
// it was worked out from.
func TestSumIsKept(t *testing.T) {
	sc := newScene()
	m := &hands{t: t, sc: sc, ctx: open(t, serve(t, sc.d, Options{}))}
	view(t, m.ctx, "sums=turn")
	until(t, m.ctx, `document.querySelector('.sumbody form')`)
	js[bool](t, m.ctx, `(f => { f.play.value = '0.31 mm'; f.band.value = '0.03..0.09 mm'; f.pitch.value = '1.5 mm'; f.requestSubmit(); return true })(Object.assign(document.querySelector('.sumbody form'), {}))`)
	m.tap("Keep with the job")
	c := m.gave("note")
	for _, want := range []string{"sum: Turn of an adjuster. Given: ", "play now 0.31 mm; ", " Gives: ", "tighten 60.0 deg"} {
		if !strings.Contains(c.Text, want) {
			t.Errorf("%q is not in the kept sum: %s", want, c.Text)
		}
	}
	until(t, m.ctx, `document.getElementById('toast').innerText.includes('kept with the job')`)
}
