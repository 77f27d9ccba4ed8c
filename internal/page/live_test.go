package page

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"thouwright/internal/ledger"
)

// The views as they are played, with a screenshot of each when asked for.
func TestViewsInBrowser(t *testing.T) {
	sc := newScene()
	ctx := open(t, serve(t, sc.d, Options{SaveSheet: func(string, []byte) error { return nil }}))
	sc.rock(3.412, 0.0418, 5)
	until(t, ctx, `document.querySelectorAll('.gap .rest').length >= 3 && document.querySelectorAll('.gap .rest.out').length === 1`)
	if got := js[string](t, ctx, `document.querySelector('.word').innerText`); !strings.Contains(got, "4/6") || !strings.Contains(got, "rock it") {
		t.Errorf("while measuring the page says %q", got)
	}
	if n := js[float64](t, ctx, `document.querySelectorAll('.pip.full').length * 100 + document.querySelectorAll('.pip').length`); n != 407 {
		t.Errorf("pips: %g, want 4 full of 6 and one crossed", n)
	}
	// The picture is to scale: the stops lie as far apart as the result says,
	// measured by the window of the limits.
	if off := js[float64](t, ctx, `(() => {
		const xs = document.querySelector('.gap .face').getAttribute('d').match(/M([\d.-]+)/g).map(s => +s.slice(1))
		const w = document.querySelector('.gap .window'), x = +w.getAttribute('x'), width = +w.getAttribute('width')
		const perMM = width / (0.050 - 0.009)
		return Math.abs((xs[1] - xs[0] - 26) / perMM - 0.0418)
	})()`); off > 0.0002 {
		t.Errorf("the drawn play is off by %g mm", off)
	}
	shot(t, ctx, "measuring")
	for _, v := range []string{"job", "gauges", "sums=bush", "record", "screens", "sheet"} {
		view(t, ctx, v)
		shot(t, ctx, strings.ReplaceAll(v, "=", "-"))
	}
	view(t, ctx, "bench")
	sc.verdict(take(4, "right lock", "0.0418", "0.0052", "undecided", "", "0.008 mm inside the upper limit, ± 0.005"))
	until(t, ctx, `document.getElementById('word').textContent === 'UNDECIDED'`)
	shot(t, ctx, "undecided")
	sc.verdict(take(5, "right lock", "0.0312", "0.0052", "pass", "", "inside the limits"))
	until(t, ctx, `document.getElementById('word').textContent === 'PASS'`)
	shot(t, ctx, "pass")
	sc.verdict(take(6, "right lock", "0.0812", "0.0052", "fail", "above", "too loose by 0.031 mm, at least 0.026"))
	until(t, ctx, `document.getElementById('word').textContent === 'FAIL'`)
	shot(t, ctx, "fail")
	sc.set(func(l *ledger.Live) {
		l.Active = &ledger.LiveActive{Component: "front hub", Check: "end play", Position: "hub face", Method: "end-play", Gauge: "dial-1", Unit: "mm", Low: "0.03", High: "0.09", Phase: ledger.PhaseAdjusting, Say: "turn the nut, then push and pull", Strokes: 2, Wanted: 6,
			Result: "0.124", U95: "0.006", Minus1: "1.200", Plus1: "1.324", Adjustable: true, Steps: []string{"tighten to 30 N·m while turning", "back off 60 deg", "turn five times to seat", "lock", "measure"}, StepNow: 2,
			Guide: &ledger.Guide{Where: "above", Ratio: 2.1, Way: "tighten", Turn: "20 deg"}}
	})
	until(t, ctx, `document.getElementById('word').textContent === 'TIGHTEN'`)
	if got := js[string](t, ctx, `document.querySelector('.word').innerText`); !strings.Contains(got, "20 deg") || !strings.Contains(got, "too loose") {
		t.Errorf("adjusting: %q", got)
	}
	shot(t, ctx, "adjusting")
	const preload = "preload: 0.302 N·m, too small by 0.098 N·m, at least 0.090"
	sc.set(func(l *ledger.Live) {
		a := *l.Active
		a.Method, a.Unit, a.Low, a.High, a.Result, a.Say = "drag", "N·m", "", "", "", "pull slowly"
		a.Guide = &ledger.Guide{Where: "below", Ratio: 2.1, Way: "tighten", Now: preload}
		l.Active = &a
	})
	until(t, ctx, `document.querySelector('.word').innerText.includes('`+preload+`')`)
	sc.set(func(l *ledger.Live) { l.Active, l.Job, l.Checks, l.LastTake = nil, nil, nil, nil })
	until(t, ctx, `document.getElementById('word').textContent === 'NO JOB'`)
	shot(t, ctx, "nojob")
}

// What a person does by touch and by keyboard reaches the desk, and a refusal
// reaches the person.
func TestActions(t *testing.T) {
	sc := newScene()
	kept := make(chan string, 1)
	ctx := open(t, serve(t, sc.d, Options{SaveSheet: func(n string, text []byte) error {
		if strings.Contains(string(text), "refuse") {
			return errors.New("jobs/" + n + ".toml:2: refused")
		}
		kept <- n + "\n" + string(text)
		return nil
	}}))
	last := func(want string) ledger.Command {
		t.Helper()
		for i := 0; i < 500; i++ {
			if did := sc.d.commands(); len(did) > 0 && did[len(did)-1].Do == want {
				return did[len(did)-1]
			}
			time.Sleep(10 * time.Millisecond)
		}
		t.Fatalf("%s never came: %+v", want, sc.d.commands())
		return ledger.Command{}
	}
	tap := func(words string) {
		t.Helper()
		expr := `[...document.querySelectorAll('dialog[open] button, button')].find(b => b.innerText.trim().startsWith('` + words + `'))`
		until(t, ctx, expr)
		at := js[[2]float64](t, ctx, `(b => { b.scrollIntoView({ block: 'center' }); const r = b.getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2] })(`+expr+`)`)
		do(t, ctx, chromedp.TapXY(at[0], at[1]))
	}
	press := func(k string) { t.Helper(); do(t, ctx, chromedp.KeyEvent(k)) }
	do(t, ctx, chromedp.EmulateViewport(800, 1280, chromedp.EmulateTouch))
	for words, want := range map[string]string{"Accept": "accept", "Start over": "restart", "Redo": "redo", "Back": "back"} {
		tap(words)
		last(want)
	}
	for key, want := range map[string]string{"\r": "accept", "s": "restart", "r": "redo", "b": "back", "l": "lock", "t": "step"} {
		press(key)
		last(want)
	}
	press("u")
	if c := last("unit"); c.Text != "um" {
		t.Errorf("after mm the unit is %q", c.Text)
	}
	press("n")
	until(t, ctx, `document.querySelector('dialog textarea') === document.activeElement`)
	js[string](t, ctx, `document.activeElement.value = ''`)
	press("seal worn rb")
	tap("Keep")
	if c := last("note"); c.Text != "seal worn rb" {
		t.Errorf("the note is %q", c.Text)
	}
	until(t, ctx, `!document.querySelector('dialog')`)
	press("j")
	tap("T28-009")
	if c := last("job"); c.Job != "T28-009" {
		t.Errorf("chose job %q", c.Job)
	}
	press("g")
	tap("assembled")
	if c := last("stage"); c.Stage != "assembled" {
		t.Errorf("chose stage %q", c.Stage)
	}
	press("p")
	tap("left swivel pin: lower")
	if c := last("position"); c.Component != "left swivel pin" || c.Check != "pin diameter" || c.Position != "lower" {
		t.Errorf("went to %+v", c)
	}
	// The history of a place, and its redo by name.
	press("2")
	tap("straight ahead")
	until(t, ctx, `document.querySelector('dialog table')?.innerText.includes('replaced by 3')`)
	shot(t, ctx, "history")
	do(t, ctx, chromedp.EmulateViewport(800, 1280, chromedp.EmulateTouch))
	tap("Redo")
	if c := last("redo"); c.Take != 3 || c.Position != "straight ahead" {
		t.Errorf("redo of %+v", c)
	}
	until(t, ctx, `!document.querySelector('dialog')`)
	// A refusal is said in the desk's words.
	sc.d.mu.Lock()
	sc.d.fail = errors.New("no take to accept yet: rock it first")
	sc.d.mu.Unlock()
	press("\r")
	until(t, ctx, `document.getElementById('toast').innerText.includes('rock it first')`)
	sc.d.mu.Lock()
	sc.d.fail = nil
	sc.d.mu.Unlock()
	// A job made without writing TOML.
	view(t, ctx, "sheet")
	until(t, ctx, `document.querySelector('form input[required]')`)
	fill := func(label, value string) {
		t.Helper()
		js[bool](t, ctx, `(() => { const l = [...document.querySelectorAll('label')].find(l => l.firstChild.textContent.startsWith('`+label+`')); const f = l.querySelector('input, select'); f.value = '`+value+`'; f.dispatchEvent(new Event(f.tagName === 'SELECT' ? 'change' : 'input')); return true })()`)
	}
	fill("Number", "T28-020")
	fill("Machine", "Tarnbeck T28")
	tap("+ Play of a shaft in bushes")
	until(t, ctx, `document.querySelector('.sheetpart')`)
	fill("Component", "rocker shaft")
	fill("dial or lever", "dial-1")
	fill("Limits: play", "0.01..0.08 mm")
	shot(t, ctx, "sheet-filled")
	do(t, ctx, chromedp.EmulateViewport(800, 1280, chromedp.EmulateTouch))
	tap("Write the sheet")
	until(t, ctx, `document.querySelector('.sheettext')?.value.includes('rocker shaft')`)
	js[bool](t, ctx, `document.querySelector('.sheettext').value += '# refuse', true`)
	tap("Keep and use it")
	until(t, ctx, `document.querySelector('.errorline').textContent.includes('toml:2: refused')`)
	js[bool](t, ctx, `(a => { a.value = a.value.replace('# refuse', ''); return true })(document.querySelector('.sheettext'))`)
	tap("Keep and use it")
	text := ""
	select {
	case text = <-kept:
	case <-time.After(15 * time.Second):
		t.Fatal("the sheet was never kept")
	}
	for _, want := range []string{"T28-020\n", `number = "T28-020"`, `machine = "Tarnbeck T28"`, `name = "rocker shaft"`, `gauge = "dial-1"`, `limits = "0.01..0.08 mm"`} {
		if !strings.Contains(text, want) {
			t.Errorf("the sheet lacks %s:\n%s", want, text)
		}
	}
	if c := last("job"); c.Job != "T28-020" {
		t.Errorf("then job %q is chosen", c.Job)
	}
}

// Names and bytes that try to be markup are words, and run nothing.
func TestHostileWords(t *testing.T) {
	sc := newScene()
	evil := `<img src=x onerror="window.owned=1"><script>window.owned=1</script>`
	sc.set(func(l *ledger.Live) {
		j, a := *l.Job, *l.Active
		j.Machine, j.Customer, a.Position, a.Say, a.Next = evil, evil, evil, evil, evil
		l.Job, l.Active = &j, &a
		l.Problems = []ledger.Problem{{File: evil, Text: evil}}
		l.Gauges[0].Raw, l.Gauges[0].BadRaw, l.Gauges[0].Message = evil, evil, evil
		l.Checks[0].Component, l.Checks[0].Check = evil, evil
	})
	ctx := open(t, serve(t, sc.d, Options{}))
	sc.verdict(take(8, evil, "0.03", "0.01", "pass", "", evil))
	for _, v := range []string{"bench", "job", "gauges"} {
		view(t, ctx, v)
		time.Sleep(200 * time.Millisecond)
		if js[bool](t, ctx, `'owned' in window || !!document.querySelector('main img, main script, #problems img')`) {
			t.Errorf("%s: markup came alive", v)
		}
	}
	if !js[bool](t, ctx, `document.body.innerText.includes('<img src=x')`) {
		t.Error("the words are not shown as they are")
	}
}

// A phone that pairs by its link may look or work, as the link says, while the
// wall screen and the bench's own go on; an unpaired one learns nothing.
func TestPhonesAndWallScreen(t *testing.T) {
	sc := newScene()
	s := serve(t, sc.d, Options{ReadToken: "look-token", ChangeToken: "work-token"})
	afar := func(t *testing.T) context.Context {
		ctx := browser(t)
		do(t, ctx, chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
			if _, err := cdp.Call(ctx, tab, network.Enable, network.EnableParams{}); err != nil {
				return err
			}
			_, err := cdp.Call(ctx, tab, network.SetExtraHTTPHeaders, network.SetExtraHTTPHeadersParams{Headers: network.Headers{"X-Forwarded-For": []byte(`"192.0.2.7"`)}})
			return err
		}))
		return ctx
	}
	wall := open(t, s)
	phone := afar(t)
	do(t, phone, chromedp.Navigate(s.URL()))
	if got := js[string](t, phone, `document.body.innerText`); !strings.Contains(got, "Not paired") || strings.Contains(got, "Tarnbeck") {
		t.Errorf("unpaired the phone sees %q", got)
	}
	up := `document.body.dataset.link === 'up' && document.querySelector('.where .position')?.textContent === 'right lock'`
	do(t, phone, chromedp.Navigate(s.URL()+"pair/look-token"))
	until(t, phone, up)
	if !js[bool](t, phone, `document.querySelector('.acts button').disabled && document.cookie === '' && !document.documentElement.outerHTML.includes('work-token')`) {
		t.Error("a phone that may only look has buttons, a readable cookie or the changing token")
	}
	second := afar(t)
	do(t, second, chromedp.Navigate(s.URL()+"pair/work-token"))
	until(t, second, up)
	js[bool](t, second, `[...document.querySelectorAll('.acts button')].find(b => b.innerText.startsWith('Accept')).click(), true`)
	for i := 0; len(sc.d.commands()) == 0; i++ {
		if i > 500 {
			t.Fatal("the paired phone cannot work the page")
		}
		time.Sleep(10 * time.Millisecond)
	}
	sc.reading("dial-1", 2.718)
	for _, ctx := range []context.Context{wall, phone, second} {
		until(t, ctx, `document.getElementById('reading').textContent.includes('2.718')`)
	}
	if n := sc.d.watched(); n != 1 {
		t.Errorf("three screens cost the desk %d subscriptions", n)
	}
}

// A view opened by its address, or loaded again, has what the bench says as if
// one had come to it by a click.
func TestViewOpenedByItsAddress(t *testing.T) {
	sc := newScene()
	s := serve(t, sc.d, Options{SaveSheet: func(string, []byte) error { return nil }, Record: func(w io.Writer, number, format string) error {
		_, err := io.WriteString(w, "<p>the record of "+number+"</p>")
		return err
	}})
	ctx := browser(t)
	do(t, ctx, chromedp.Navigate(s.URL()+"#record"))
	until(t, ctx, `document.querySelector('#recjob')?.value === 'T28-014' && document.querySelector('#recjob').options.length === 2 && document.querySelector('iframe.paper').src.endsWith('/record/T28-014/html')`)
	do(t, ctx, chromedp.Navigate(s.URL()+"?again#sheet"))
	until(t, ctx, `document.body.dataset.link === 'up' && [...document.querySelectorAll('label')].find(l => l.textContent.startsWith('Measured by'))?.querySelector('input').value === 'A. Wright'`)
}

// Whoever stands at the bench is told that the gauge at hand is gone, and what to
// do, where else the strokes are counted; a verdict just given is read first.
func TestGaugeAtHandIsGone(t *testing.T) {
	sc := newScene()
	ctx := open(t, serve(t, sc.d, Options{}))
	link := func(state, message string) {
		sc.set(func(l *ledger.Live) {
			gauges := append([]ledger.LiveGauge(nil), l.Gauges...)
			gauges[0].Link, gauges[0].Message = state, message
			l.Gauges = gauges
		})
	}
	word := `document.getElementById('word').textContent + ' ' + document.querySelector('.word .lines').innerText`
	link("waiting", "not there: plug it in")
	until(t, ctx, word+` === 'NO GAUGE dial-1: not there: plug it in'`)
	shot(t, ctx, "no-gauge")
	link("silent", "nothing for 3 s: is it switched on?")
	until(t, ctx, word+` === 'SILENT dial-1: nothing for 3 s: is it switched on?'`)
	sc.verdict(take(4, "right lock", "0.0418", "0.0052", "pass", "", "inside the limits"))
	until(t, ctx, `document.getElementById('word').textContent === 'PASS'`)
	sc.set(func(l *ledger.Live) { a := *l.Active; a.Phase, a.Strokes = ledger.PhaseMeasuring, 1; l.Active = &a })
	until(t, ctx, `document.getElementById('word').textContent === 'SILENT'`)
	link("up", "")
	until(t, ctx, `document.getElementById('word').textContent === '1/6'`)
	// A bench that was just installed has none, and nothing on it is done.
	sc.set(func(l *ledger.Live) {
		l.Job, l.LastTake, l.Gauges = nil, nil, []ledger.LiveGauge{}
		l.Active = &ledger.LiveActive{Phase: ledger.PhaseDone, Say: "every position is measured"}
	})
	until(t, ctx, `(`+word+`).startsWith('NO GAUGE The bench file names no gauge. Plug one in')`)
}
