package page

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/png"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"thouwright/internal/ledger"
)

// What is promised at three metres: 22 minutes of arc are 19.2 mm. A screen of
// 1280 x 800 on 10 inches has 5.94 pixels to the millimetre.
var (
	pixelsPerMM = math.Hypot(1280, 800) / (10 * 25.4)
	digitHigh   = math.Tan(22.0/60*math.Pi/180) * 3000 * pixelsPerMM
)

// inked is the height in pixels of what is drawn inside an element: the rows
// in which some pixel differs from the element's ground.
func inked(t *testing.T, shot image.Image, box [4]float64) float64 {
	t.Helper()
	x0, y0, x1, y1 := int(box[0]), int(box[1]), int(box[0]+box[2]), int(box[1]+box[3])
	ground := shot.At(x0, y0)
	first, last := -1, -1
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			if differs(shot.At(x, y), ground) {
				if first < 0 {
					first = y
				}
				last = y
				break
			}
		}
	}
	if first < 0 {
		t.Fatal("nothing is drawn there")
	}
	return float64(last - first + 1)
}

func differs(a, b interface{ RGBA() (r, g, b, a uint32) }) bool {
	ar, ag, ab, _ := a.RGBA()
	br, bg, bb, _ := b.RGBA()
	d := func(x, y uint32) float64 { return math.Abs(float64(x) - float64(y)) }
	return d(ar, br)+d(ag, bg)+d(ab, bb) > 3*0x4000
}

const boxOf = `(r => [r.left, r.top, r.width, r.height])(document.querySelector(%s).getBoundingClientRect())`

func TestLegibleAtThreeMetres(t *testing.T) {
	if digitHigh < 114 || digitHigh > 115 {
		t.Fatalf("19.2 mm are %.1f pixels?", digitHigh)
	}
	sc := newScene()
	ctx := open(t, serve(t, sc.d, Options{}))
	do(t, ctx, media("prefers-reduced-motion", "reduce"))
	for _, c := range []struct{ verdict, side, word string }{{"pass", "", "PASS"}, {"fail", "above", "FAIL"}, {"fail", "below", "FAIL"}, {"undecided", "", "UNDECIDED"}} {
		k := take(9, "right lock", "0.0300", "0.0050", c.verdict, c.side, "may be good: 0.004 mm inside the limit, known to 0.005")
		if c.verdict == "undecided" {
			k["settles"] = "a proof of the gauge over a short movement: its error, not its step, leaves this open"
		}
		sc.verdict(k)
		sc.reading("dial-1", 1.888)
		until(t, ctx, `document.getElementById('word').textContent === '`+c.word+`' && document.getElementById('reading').textContent.includes('1.888')`)
		b, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
		if err != nil {
			t.Fatal(err)
		}
		pic, err := png.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		box := func(sel string) [4]float64 {
			return js[[4]float64](t, ctx, strings.Replace(boxOf, "%s", "'"+sel+"'", 1))
		}
		reading, word, shape := inked(t, pic, box("#reading")), inked(t, pic, box("#word")), inked(t, pic, box(".word .shape"))
		if reading < digitHigh {
			t.Errorf("digits are %.0f pixels high, %.1f mm, want %.1f", reading, reading/pixelsPerMM, digitHigh)
		}
		if word < digitHigh {
			t.Errorf("%s is %.0f pixels high, want %.1f", c.word, word, digitHigh)
		}
		if shape < 2*digitHigh {
			t.Errorf("the shape of %s %s is %.0f pixels high, want %.1f", c.word, c.side, shape, 2*digitHigh)
		}
		wordBox := box("#word")
		if wordBox[0]+js[float64](t, ctx, `document.getElementById('word').scrollWidth`) > 1280 {
			t.Errorf("%s runs out of the screen", c.word)
		}
		if by := k["settles"]; by != "" && !js[bool](t, ctx, `document.querySelector('.word .lines').textContent.includes('would decide it: `+by+`')`) {
			t.Errorf("%s does not say what would decide it", c.word)
		}
	}
}

// Each verdict differs from every other by its word and its shape, so a person
// who sees no colours misses nothing.
func TestVerdictsDifferWithoutColour(t *testing.T) {
	sc := newScene()
	ctx := open(t, serve(t, sc.d, Options{}))
	seen := map[string]string{}
	for i, c := range []struct{ verdict, side string }{{"pass", ""}, {"fail", "above"}, {"fail", "below"}, {"undecided", ""}, {"", ""}} {
		say := fmt.Sprintf("verdict %d", i)
		sc.verdict(take(9, "right lock", "0.03", "0.005", c.verdict, c.side, say))
		until(t, ctx, `document.querySelector('.word .lines').textContent.includes('`+say+`')`)
		drawn := js[string](t, ctx, `[...document.querySelectorAll('.word .shape > *')].map(e => e.tagName + (e.getAttribute('d') ?? e.getAttribute('r'))).join()`)
		if other, dup := seen[drawn]; dup {
			t.Errorf("%s %s has the shape of %s", c.verdict, c.side, other)
		}
		seen[drawn] = c.verdict + c.side
	}
}

// Digits change and nothing else moves: not by one pixel, not by the browser's
// own count of layout shifts.
func TestDigitsDoNotShift(t *testing.T) {
	sc := newScene()
	ctx := open(t, serve(t, sc.d, Options{}))
	sc.reading("dial-1", 8.888)
	until(t, ctx, `document.getElementById('reading').textContent.includes('8.888')`)
	js[bool](t, ctx, `window.shift = 0, new PerformanceObserver(l => { for (const e of l.getEntries()) shift += e.value }).observe({ type: 'layout-shift' }), true`)
	boxes := `JSON.stringify(['#reading', '.reading .unit', '.where .position', '.gap', '.word', '.foot .acts'].map(s => document.querySelector(s).getBoundingClientRect()))`
	before := js[string](t, ctx, boxes)
	for _, v := range []struct {
		mm   float64
		text string
	}{{1.111, "1.111"}, {-1.111, "\u22121.111"}, {0, "0.000"}, {-7.404, "\u22127.404"}, {9.999, "9.999"}} {
		sc.reading("dial-1", v.mm)
		until(t, ctx, `document.getElementById('reading').textContent.includes('`+v.text+`')`)
		if after := js[string](t, ctx, boxes); after != before {
			t.Errorf("at %s the page moved:\n%s\n%s", v.text, before, after)
		}
	}
	if n := js[float64](t, ctx, `shift`); n != 0 {
		t.Errorf("the browser counts a layout shift of %g", n)
	}
}

// axe is the accessibility checker as fetched by scripts/test-needs.sh.
func axe(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile("../../.tools/node_modules/axe-core/axe.min.js")
	if err != nil {
		t.Fatal("the accessibility test needs axe-core in .tools: run scripts/test-needs.sh")
	}
	return string(b)
}

type violation struct {
	ID, Help string
	Nodes    []struct {
		HTML, FailureSummary string
	}
}

// unfolded is the form of a job with a part of every kind of field in it, all that
// is folded away opened; any other view stays as it is.
func unfolded(t *testing.T, ctx context.Context, v string) {
	t.Helper()
	if v != "sheet" {
		return
	}
	for _, words := range []string{"+ Clearance", "+ from nothing"} {
		until(t, ctx, button(words))
		js[bool](t, ctx, button(words)+`.click(), true`)
	}
	js[bool](t, ctx, `(m => { m.value = 'size'; m.dispatchEvent(new Event('change')); document.querySelectorAll('details').forEach(d => { d.open = true }); return true })(document.querySelector('.sheetcheck select'))`)
}

// Every view, wide and narrow, light and dark, passes axe-core's checks for
// WCAG 2.2 A and AA (contrast among them) and its best practices.
func TestAccessibility(t *testing.T) {
	checker := axe(t)
	sc := newScene()
	sc.set(func(l *ledger.Live) {
		l.Problems = []ledger.Problem{{File: "bench.toml", Line: 12, Text: `unknown key "prot": did you mean "port"?`}, {File: "bench.toml", Line: 3, Text: "certificate is past due", Warning: true}}
	})
	s := serve(t, sc.d, Options{SaveSheet: func(string, []byte) error { return nil }, Listen: "0.0.0.0:0"})
	ctx := open(t, s)
	js[bool](t, ctx, checker+`; true`)
	check := func(where string) {
		t.Helper()
		out := js[string](t, ctx, `axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'], resultTypes: ['violations'] }).then(r => JSON.stringify(r.violations))`)
		var all []violation
		if err := json.Unmarshal([]byte(out), &all); err != nil {
			t.Fatal(err)
		}
		for _, v := range all {
			for i, n := range v.Nodes {
				if i < 3 {
					t.Errorf("%s: %s (%s): %s\n%s", where, v.ID, v.Help, n.HTML, n.FailureSummary)
				}
			}
		}
	}
	for _, scheme := range []string{"light", "dark"} {
		for _, size := range [][2]int64{{360, 740}, {1280, 800}} {
			look(t, ctx, size[0], size[1], scheme)
			for _, v := range []string{"bench", "job", "gauges", "sums=bush", "sums=turn", "record", "screens", "sheet"} {
				view(t, ctx, v)
				unfolded(t, ctx, v)
				time.Sleep(150 * time.Millisecond)
				check(fmt.Sprint(v, " ", scheme, " ", size[0]))
			}
		}
		view(t, ctx, "bench")
		for _, c := range [][2]string{{"pass", ""}, {"fail", "above"}, {"undecided", ""}} {
			sc.verdict(take(9, "right lock", "0.03", "0.005", c[0], c[1], "words "+c[0]))
			until(t, ctx, `document.querySelector('.word .lines').textContent.includes('words `+c[0]+`')`)
			check("verdict " + c[0] + " " + scheme)
		}
		until(t, ctx, `document.querySelector('.reading.old')`)
		check("stale " + scheme)
		js[bool](t, ctx, `document.querySelector('button[aria-label=Keys]').click(), true`)
		check("keys " + scheme)
		js[bool](t, ctx, `document.querySelector('dialog').close(), true`)
	}
}

// On a phone 360 pixels wide nothing runs out of the side, and whatever is
// touched is at least 24 pixels each way (WCAG 2.2, 2.5.8).
func TestNarrow(t *testing.T) {
	sc := newScene()
	ctx := open(t, serve(t, sc.d, Options{SaveSheet: func(string, []byte) error { return nil }}))
	look(t, ctx, 360, 740, "light")
	for _, v := range []string{"bench", "job", "gauges", "sums", "sums=press", "record", "screens", "sheet"} {
		view(t, ctx, v)
		unfolded(t, ctx, v)
		time.Sleep(150 * time.Millisecond)
		if w := js[float64](t, ctx, `document.scrollingElement.scrollWidth`); w > 360 {
			t.Errorf("%s is %g pixels wide", v, w)
		}
		if small := js[string](t, ctx, `[...document.querySelectorAll('button, a, select, input, summary')].filter(e => e.checkVisibility() && !e.matches('.skip')).map(e => [e, e.getBoundingClientRect()]).filter(([, r]) => r.width < 24 || r.height < 24).map(([e]) => e.outerHTML.slice(0, 90)).join('\n')`); small != "" {
			t.Errorf("%s: too small to touch: %s", v, small)
		}
	}
}

// Who asked for less motion sees no running trail, only where the part is.
func TestReducedMotion(t *testing.T) {
	sc := newScene()
	ctx := open(t, serve(t, sc.d, Options{}))
	feed := func() {
		for i := 0; i < 4; i++ {
			sc.reading("dial-1", 3.42+float64(i)/200)
			time.Sleep(readingGap)
		}
	}
	feed()
	until(t, ctx, `document.querySelector('.gap .trail').getAttribute('d')?.length > 20`)
	do(t, ctx, media("prefers-reduced-motion", "reduce"))
	feed()
	until(t, ctx, `document.querySelector('.gap .trail').getAttribute('d') === '' && document.querySelector('.gap circle.bob').getAttribute('cx')`)
	if n := js[float64](t, ctx, `document.getAnimations().length`); n != 0 {
		t.Errorf("%g animations run", n)
	}
}

// Limits of another unit are shown a digit finer than the sheet writes them and
// rounded into the range: 0.030 to 0.1 mm is not '1.2 to 4 thou'.
func TestLimitsAreRoundedIntoTheRange(t *testing.T) {
	ctx := open(t, serve(t, newScene().d, Options{}))
	got := js[[]string](t, ctx, `import('/assets/units.js').then(u => [u.range('0.03', '0.1', 'mm', 'thou'), u.range('0.02', '0.15', 'mm', 'thou'), u.range('0.02', '0.15', 'mm', 'mm'), u.range('', '0.25', 'mm', 'thou'), u.range('1', '', 'thou', 'mm'), u.range('2', '5', 'thou', 'thou'), u.range('28', '28.033', 'mm', 'thou')])`)
	want := []string{"1.19 to 3.93 thou", "0.79 to 5.90 thou", "0.02 to 0.15 mm", "at most 9.84 thou", "at least 0.0254 mm", "2 to 5 thou", "1102.363 to 1103.661 thou"}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%q, expected %q", got[i], want[i])
		}
	}
}

// A result is shown with the two digits its uncertainty leaves it, and one whose
// uncertainty is not known yet with no digits that no gauge has.
func TestResultDigits(t *testing.T) {
	ctx := open(t, serve(t, newScene().d, Options{}))
	got := js[[]string](t, ctx, `import('/assets/units.js').then(u => [['27.96825', '', 'mm', 'thou'], ['27.96825', '', 'mm', 'mm'], ['27.96825', '0.0027', 'mm', 'thou'], ['0.00085', '', 'in', 'thou'], ['0.0418', '0.0052', 'mm', 'in'], ['2.5', '', 'N·m', 'thou'], ['12', '', 'thou', 'mm'], ['<0.02', '', 'mm', 'thou']].map(a => u.result(...a)).map(r => r.text + (r.u && ' ± ' + r.u) + ' ' + r.unit))`)
	want := []string{"1101.11 thou", "27.968 mm", "1101.11 ± 0.11 thou", "0.85 thou", "0.00165 ± 0.00020 in", "2.5 N·m", "0.305 mm", "<0.8 thou"}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%q, expected %q", got[i], want[i])
		}
	}
}
