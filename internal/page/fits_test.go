package page

import (
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"thouwright/internal/ledger"
)

// fullScreens are moments of a job in which the bench view has the most to
// say: long numbers, the next gauge's reach, a procedure, the stations of a
// turn.
var fullScreens = []struct {
	name string
	set  func(*scene)
}{
	{"verdict while another gauge is next", func(sc *scene) {
		t := take(9, "right lock", "0.1502", "0.0121", "undecided", "above", "may be too loose: 0.2 thou beyond the limit, known to 0.5")
		sc.set(func(l *ledger.Live) {
			l.Unit = "thou"
			l.Active = &ledger.LiveActive{Component: "left swivel pin", Check: "diameter", Position: "upper bush", Method: "size", Gauge: "mic-1", Unit: "mm", Low: "27.959", High: "27.98", Phase: ledger.PhaseWaiting,
				Say: "gauge the part three times, or press once", Wanted: 3, Zone: "can pass from 1100.82 to 1101.50 thou, and serve limits down to 0.162 thou apart", Next: "upper swivel bush / bore / upper bush",
				Cautions: []string{"Never weld, heat or straighten steering parts; crack-test ground steering shafts; grinding can remove the hardened case.", "A pass is about this dimension only, not roadworthiness. The maker's procedure, local rules and a qualified person come first."}}
		})
		sc.reading("mic-1", 32.999)
		sc.verdict(t)
	}},
	{"a size in thou", func(sc *scene) {
		sc.set(func(l *ledger.Live) {
			l.Unit, l.LastTake = "thou", nil
			l.Active = &ledger.LiveActive{Component: "left swivel pin", Check: "diameter", Position: "upper bush", Method: "size", Gauge: "mic-1", Unit: "mm", Low: "27.959", High: "27.98", Phase: ledger.PhaseMeasuring,
				Strokes: 1, Wanted: 3, Result: "27.9680", U95: "0.0027", Reason: "not counted: outside what is expected of this part", Next: "upper swivel bush / bore / upper bush", Cautions: []string{"A pass is about this dimension only, not roadworthiness. The maker's procedure, local rules and a qualified person come first."}}
		})
		sc.reading("mic-1", 28.444)
	}},
	{"the stations of a turn", func(sc *scene) {
		sc.set(func(l *ledger.Live) {
			l.Unit, l.LastTake = "thou", nil
			l.Active = &ledger.LiveActive{Component: "belt pulley", Check: "run-out of the rim", Method: "run-out", Gauge: "dial-1", Unit: "mm", High: "0.25", Phase: ledger.PhaseMeasuring, Strokes: 18, Wanted: 24,
				Say: "turn once round by hand, slowly; after the whole turn accept it", Zone: "can pass up to 9.77 thou, and serve limits down to 0.076 thou", Next: "left swivel / turning drag",
				Cautions: []string{"Turn by hand with the drive isolated; nothing loose near rotating parts.", "A pass is about this dimension only, not roadworthiness. The maker's procedure, local rules and a qualified person come first."}}
		})
		sc.reading("dial-1", 5.111)
	}},
	{"a procedure at an adjuster", func(sc *scene) {
		t := take(9, "", "0.0657", "0.0043", "undecided", "", "set: fasten the lock, then measure again")
		t["component"], t["check"], t["low"], t["high"], t["method"] = "left front hub", "end play", "0.03", "0.1", "end-play"
		sc.set(func(l *ledger.Live) {
			l.Unit = "thou"
			l.Active = &ledger.LiveActive{Component: "left front hub", Check: "end play", Method: "end-play", Gauge: "dial-1", Unit: "mm", Low: "0.03", High: "0.1", Phase: ledger.PhaseAdjusting, Adjustable: true,
				Steps: []string{"turn the hub five times to seat the rollers", "tighten or slacken the nut", "fasten the lock", "measure"}, Wanted: 6, Zone: "can pass from 1.26 to 3.86 thou, and serve limits down to 0.170 thou apart",
				Cautions: []string{"Stands and chocks, never a jack alone; do not rock a jacked vehicle.", "New split pin, lock tab and seals; the final torque is the maker's. Locking moves the play: only a take made after it counts.", "A pass is about this dimension only, not roadworthiness. The maker's procedure, local rules and a qualified person come first."}}
		})
		sc.reading("dial-1", 5.012)
		sc.set(func(l *ledger.Live) { l.LastTake = &t })
	}},
	{"a preload that is worked out, at its nut", func(sc *scene) {
		sc.set(func(l *ledger.Live) {
			l.Unit, l.LastTake = "thou", nil
			l.Active = &ledger.LiveActive{Component: "pinion bearing", Check: "turning drag", Position: "bearings set", Method: "drag", Gauge: "dial-1", Unit: "N·m", Phase: ledger.PhaseAdjusting, Adjustable: true, Wanted: 1,
				Say: "pull slowly and evenly, once round, then let go", Steps: []string{"tighten as the maker says while turning the bearing", "turn five times to seat the rollers", "lock", "measure"},
				Guide:    &ledger.Guide{Where: "below", Ratio: 3.1, Way: "tighten", Now: "drag of the preload: too small by 0.25 N·m, at least 0.22"},
				Cautions: []string{"Stands and chocks, never a jack alone; do not rock a jacked vehicle.", "Turn by hand with the drive isolated; nothing loose near rotating parts.", "Mind stored spring force when the load is let go.", "New split pin, lock tab and seals; the final torque is the maker's. Locking moves the play: only a take made after it counts.", "A pass is about this dimension only, not roadworthiness. The maker's procedure, local rules and a qualified person come first."}}
		})
		sc.reading("dial-1", 0.012)
	}},
}

// Whatever the bench view has to say, nothing runs out of the side of a phone
// or a wall screen, and on a screen that lies down what one can do and must mind
// stands on it without scrolling.
func TestAllOfTheBenchIsSeen(t *testing.T) {
	sc := newScene()
	ctx := open(t, serve(t, sc.d, Options{}))
	for _, f := range fullScreens {
		f.set(sc)
		until(t, ctx, `document.querySelector('.where .what').textContent && document.getElementById('reading').textContent.includes('.')`)
		for _, size := range [][2]int64{{360, 740}, {800, 1280}, {1280, 800}, {1920, 1080}} {
			look(t, ctx, size[0], size[1], "light")
			time.Sleep(100 * time.Millisecond)
			if w := js[float64](t, ctx, `document.scrollingElement.scrollWidth`); w > float64(size[0]) {
				t.Errorf("%s: %g pixels wide on a screen of %d", f.name, w, size[0])
			}
			if out := js[string](t, ctx, `[...document.querySelectorAll('.bench *')].filter(e => !e.closest('svg') && e.checkVisibility() && !e.matches('.hide') && e.getBoundingClientRect().right > innerWidth + 1).map(e => e.className + ': ' + e.textContent).join('; ')`); out != "" {
				t.Errorf("%s: runs out of a screen of %d: %s", f.name, size[0], out)
			}
			if low := js[float64](t, ctx, `Math.max(...['.foot', '.cautions'].map(s => document.querySelector(s).getBoundingClientRect().bottom))`); size[0] > size[1] && low > float64(size[1]) {
				t.Errorf("%s: ends at %g on a screen %d high", f.name, low, size[1])
			}
		}
		shot(t, ctx, fmt.Sprintf("full-%s", f.name))
	}
}

// While a verdict stands the drawing, its limits and the result beside it are
// those of its take, though another check with another gauge is next.
func TestVerdictIsDrawn(t *testing.T) {
	sc := newScene()
	ctx := open(t, serve(t, sc.d, Options{}))
	fullScreens[0].set(sc)
	until(t, ctx, `document.getElementById('word').textContent === 'UNDECIDED'`)
	until(t, ctx, `document.querySelector('.result').textContent.replaceAll('\u2009', '').includes('5.91')`)
	if z := js[string](t, ctx, `document.querySelector('.result .zone').textContent`); z != "" {
		t.Errorf("beside the verdict stands what the next gauge can do: %s", z)
	}
	figs := js[[]string](t, ctx, `[...document.querySelectorAll('.gap .figs')].map(e => e.textContent)`)
	if fmt.Sprint(figs) != "[0.355 1.968]" {
		t.Errorf("limits drawn: %v", figs)
	}
	// To scale: the play over the upper limit is the take's, 0.1502 over 0.050.
	got := js[float64](t, ctx, `(() => { const xs = document.querySelector('.gap .face').getAttribute('d').match(/M([\d.-]+)/g).map(s => +s.slice(1)); const w = document.querySelector('.gap .window'); return (xs[1] - xs[0] - 26) / (+w.getAttribute('x') + +w.getAttribute('width') - xs[0] - 26) })()`)
	if got < 2.98 || got > 3.03 {
		t.Errorf("the play is drawn %.3f times the upper limit, is 3.004", got)
	}
	if js[bool](t, ctx, `document.querySelector('.gap circle.bob').style.visibility !== 'hidden'`) {
		t.Error("another gauge's reading hangs in the drawing of the verdict")
	}
	// The stroke that follows ends it.
	sc.set(func(l *ledger.Live) {
		a := *l.Active
		a.Phase, a.Strokes = ledger.PhaseMeasuring, 1
		l.Active = &a
	})
	until(t, ctx, `[...document.querySelectorAll('.gap .figs')].map(e => e.textContent).join() === '1100.749,1101.574'`)
	sc.reading("mic-1", 27.97)
	until(t, ctx, `document.querySelector('.gap circle.bob').style.visibility !== 'hidden' && document.querySelector('.gap circle.bob').getAttribute('cx')`)
}

// The record's view fills a screen that lies down to its foot, and no more.
func TestRecordFillsTheScreen(t *testing.T) {
	ctx := open(t, serve(t, newScene().d, Options{Record: func(w io.Writer, number, format string) error {
		_, err := io.WriteString(w, "<!doctype html><title>x</title><p>a record")
		return err
	}}))
	view(t, ctx, "record")
	for _, size := range [][2]int64{{1280, 800}, {1920, 1080}, {360, 740}} {
		look(t, ctx, size[0], size[1], "light")
		until(t, ctx, `!document.querySelector('.paper').hidden`)
		foot := js[float64](t, ctx, `document.querySelector('.paper').getBoundingClientRect().bottom`)
		if wide := size[0] > size[1]; wide && (foot > float64(size[1]) || foot < float64(size[1])-24) {
			t.Errorf("on %d x %d the record ends at %g", size[0], size[1], foot)
		}
		if tall := js[float64](t, ctx, `document.querySelector('.paper').clientHeight`); tall < 350 {
			t.Errorf("on %d x %d the record is %g high", size[0], size[1], tall)
		}
	}
	shot(t, ctx, "record-real")
}

// A place's history is read on a phone without moving it sideways.
func TestHistoryFitsAPhone(t *testing.T) {
	sc := newScene()
	ctx := open(t, serve(t, sc.d, Options{}))
	look(t, ctx, 360, 740, "light")
	view(t, ctx, "job")
	tapOn(t, ctx, `[...document.querySelectorAll('.chip')].find(c => c.innerText.includes('straight ahead'))`)
	until(t, ctx, `document.querySelector('dialog[open] .history')`)
	if out := js[string](t, ctx, `[...document.querySelectorAll('dialog *')].filter(e => e.checkVisibility() && e.getBoundingClientRect().right > 352).map(e => e.textContent).join('; ')`); out != "" {
		t.Errorf("runs out of the side: %s", out)
	}
	says := js[string](t, ctx, `document.querySelector('dialog').innerText`)
	for _, want := range []string{"0.0809 ± 0.0058 mm", "too loose by 0.031 mm, at least 0.026", "replaces 1", "replaced by 3", "as found"} {
		if !strings.Contains(says, want) {
			t.Errorf("%q is not in the history: %s", want, says)
		}
	}
	shot(t, ctx, "history")
}

// What is to be done has a shape of its own: rocking, turning, measuring.
func TestHandsHaveTheirShapes(t *testing.T) {
	sc := newScene()
	ctx := open(t, serve(t, sc.d, Options{}))
	seen := map[string]string{}
	for _, c := range [][2]string{{"play", "ROCK IT"}, {"run-out", "TURN IT"}, {"size", "MEASURE"}} {
		sc.set(func(l *ledger.Live) {
			l.LastTake = nil
			l.Active = &ledger.LiveActive{Component: "part", Check: c[0], Method: c[0], Gauge: "dial-1", Unit: "mm", Phase: ledger.PhaseReady, Say: "do it"}
		})
		until(t, ctx, `document.getElementById('word').textContent === '`+c[1]+`'`)
		drawn := js[string](t, ctx, `document.querySelector('.word .shape').innerHTML`)
		if seen[drawn] != "" {
			t.Errorf("%s has the shape of %s", c[0], seen[drawn])
		}
		seen[drawn] = c[0]
	}
}
