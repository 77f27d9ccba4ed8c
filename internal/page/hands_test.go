package page

import (
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"thouwright/config"
	"thouwright/drivers"
	"thouwright/internal/ledger"
)

// hands works the page of a scene by finger or by keys and sees what reaches
// the desk.
type hands struct {
	t   *testing.T
	ctx context.Context
	sc  *scene
	n   int // commands seen so far
}

// gave waits for the next command, which must be want.
func (m *hands) gave(want string) ledger.Command {
	m.t.Helper()
	for range 1500 {
		if did := m.sc.d.commands(); len(did) > m.n {
			m.n++
			if did[m.n-1].Do != want {
				m.t.Fatalf("the page sent %+v, want %s", did[m.n-1], want)
			}
			return did[m.n-1]
		}
		time.Sleep(10 * time.Millisecond)
	}
	m.t.Fatalf("%s never came: %+v", want, m.sc.d.commands())
	return ledger.Command{}
}

func (m *hands) keys(k string) { m.t.Helper(); do(m.t, m.ctx, chromedp.KeyEvent(k)) }

// button is the expression of the button or link that begins with these words,
// in the open window if there is one.
func button(words string) string {
	return `[...(document.querySelector('dialog[open]') ?? document).querySelectorAll('button, a')].find(b => b.checkVisibility() && b.innerText.trim().startsWith('` + words + `'))`
}

func (m *hands) tap(words string) { m.t.Helper(); tapOn(m.t, m.ctx, button(words)) }

// goTo moves the focus by the Tab key alone until it is on the element.
func (m *hands) goTo(expr string) {
	m.t.Helper()
	until(m.t, m.ctx, expr)
	for range 150 {
		if js[bool](m.t, m.ctx, `document.activeElement === `+expr) {
			return
		}
		m.keys("\t")
	}
	m.t.Fatalf("the Tab key never reaches %s", expr)
}

// press reaches a button by Tab and presses it with Enter.
func (m *hands) press(words string) { m.t.Helper(); m.goTo(button(words)); m.keys("\r") }

// typeIn reaches the field with this label by Tab and types; of a list it
// chooses the entry that begins so.
func (m *hands) typeIn(label, words string) {
	m.t.Helper()
	m.goTo(`[...document.querySelectorAll('label')].findLast(l => l.checkVisibility() && l.innerText.startsWith("` + label + `"))?.querySelector('input, select')`)
	m.keys(words)
}

func (m *hands) closed() { m.t.Helper(); until(m.t, m.ctx, `!document.querySelector('dialog')`) }

// Everything by touch alone: real touches, no key, no mouse.
func TestByTouchAlone(t *testing.T) {
	sc := newScene()
	m := &hands{t: t, sc: sc, ctx: open(t, serve(t, sc.d, Options{}))}
	look(t, m.ctx, 360, 740, "light")
	js[bool](t, m.ctx, `window.kinds = new Set, addEventListener('click', e => kinds.add(e.pointerType), true), addEventListener('keydown', () => kinds.add('key'), true), true`)
	for _, c := range [][2]string{{"Accept", "accept"}, {"Start over", "restart"}, {"Redo", "redo"}, {"Back", "back"}, {"Unit", "unit"}} {
		m.tap(c[0])
		if got := m.gave(c[1]); c[1] == "unit" && got.Text != "um" {
			t.Errorf("after mm the unit is %q", got.Text)
		}
	}
	m.tap("Note")
	m.tap("pitted")
	m.tap("seal renewed")
	m.tap("Keep")
	if c := m.gave("note"); c.Text != "pitted, seal renewed" {
		t.Errorf("the note is %q", c.Text)
	}
	m.closed()
	tapOn(t, m.ctx, `document.querySelector('#nav a[href="#job"]')`)
	m.tap("Choose a job")
	m.tap("T28-009")
	if c := m.gave("job"); c.Job != "T28-009" {
		t.Errorf("chose job %q", c.Job)
	}
	m.closed()
	m.tap("Stage")
	m.tap("assembled")
	if c := m.gave("stage"); c.Stage != "assembled" {
		t.Errorf("chose stage %q", c.Stage)
	}
	m.closed()
	chip := func(place string) string {
		return `[...document.querySelectorAll('.chip')].find(c => c.innerText.includes('` + place + `'))`
	}
	tapOn(t, m.ctx, chip("lower"))
	m.tap("Measure here")
	if c := m.gave("position"); c.Component != "left swivel pin" || c.Check != "pin diameter" || c.Position != "lower" {
		t.Errorf("went to %+v", c)
	}
	until(t, m.ctx, `location.hash === '#bench'`)
	tapOn(t, m.ctx, `document.querySelector('#nav a[href="#job"]')`)
	tapOn(t, m.ctx, chip("straight ahead"))
	m.tap("Redo")
	if c := m.gave("redo"); c.Take != 3 || c.Position != "straight ahead" {
		t.Errorf("redo of %+v", c)
	}
	// While an adjuster is turned.
	sc.set(func(l *ledger.Live) {
		a := *l.Active
		a.Method, a.Phase, a.Adjustable, a.Steps = "end-play", ledger.PhaseAdjusting, true, []string{"tighten", "back off"}
		l.Active = &a
	})
	until(t, m.ctx, `location.hash === '#bench'`)
	m.tap("Next step")
	m.gave("step")
	m.tap("Lock fastened")
	m.gave("lock")
	if kinds := js[string](t, m.ctx, `[...kinds].join()`); kinds != "touch" {
		t.Errorf("it was done by %q, meant to be touch alone", kinds)
	}
}

// The sound's settings are all on the page: volume, mute, speech, and each sound
// by its name; and a bench that cannot speak is said to be one.
func TestSoundByTouch(t *testing.T) {
	sc := newScene()
	m := &hands{t: t, sc: sc, ctx: open(t, serve(t, sc.d, Options{}))}
	view(t, m.ctx, "screens")
	tick := func(words string) string {
		return `[...document.querySelectorAll('label.tick')].find(l => l.innerText.trim().startsWith('` + words + `'))`
	}
	until(t, m.ctx, tick("results and places spoken")+`.innerText.includes('not installed')`)
	sc.set(func(l *ledger.Live) { l.Sound.Voice = true })
	until(t, m.ctx, `!`+tick("results and places spoken")+`.innerText.includes('not installed')`)
	tapOn(t, m.ctx, tick("results and places spoken"))
	if c := m.gave("sound"); c.Speech == nil || *c.Speech || c.Mute != nil || c.Volume != nil || c.Cues != nil {
		t.Errorf("speech off is %+v", c)
	}
	tapOn(t, m.ctx, tick("muted"))
	if c := m.gave("sound"); c.Mute == nil || !*c.Mute || c.Speech != nil {
		t.Errorf("muting is %+v", c)
	}
	tapOn(t, m.ctx, tick("gauge lost"))
	if c := m.gave("sound"); len(c.Cues) != 1 || c.Cues["gauge-lost"] {
		t.Errorf("one sound off is %+v", c)
	}
	m.goTo(`document.querySelector('input[type=range]')`)
	m.keys("\u0303") // the arrow to the right
	if c := m.gave("sound"); c.Volume == nil || *c.Volume <= 0.6 {
		t.Errorf("louder is %+v", c)
	}
}

// atABench shows the page of a bench that takes the sheets made there; kept waits for
// one and gives what the bench says of it.
func atABench(t *testing.T, sc *scene, text string) (m *hands, bench *config.Bench, kept func() []config.Problem) {
	t.Helper()
	bench, ps := config.ParseBench(filepath.Join(t.TempDir(), "bench.toml"), []byte(text))
	if bench == nil {
		t.Fatal(ps)
	}
	cat, _ := drivers.Load("")
	said := make(chan []config.Problem, 8)
	m = &hands{t: t, sc: sc}
	m.ctx = open(t, serve(t, sc.d, Options{SaveSheet: func(number string, text []byte) error {
		_, ps := config.SaveSheet(bench, number, text, cat, true)
		said <- ps
		return nil
	}}))
	return m, bench, func() []config.Problem {
		t.Helper()
		select {
		case ps := <-said:
			return ps
		case <-time.After(20 * time.Second):
			t.Fatal("the sheet was never kept")
			return nil
		}
	}
}

// Everything by the keyboard alone, a job made from nothing among it, which is
// a sheet that the bench takes; and a pedal that acts as a keyboard accepts
// whatever was touched before.
func TestByKeyboardAlone(t *testing.T) {
	sc := newScene()
	m, bench, kept := atABench(t, sc, "[[gauge]]\nname = \"dial-1\"\nport = \"tape:none\"\ndriver = \"signed-decimal\"\nunit = \"mm\"\n")
	js[bool](t, m.ctx, `window.pointed = 0, addEventListener('pointerdown', () => pointed++, true), true`)
	for _, c := range [][2]string{{"\r", "accept"}, {"s", "restart"}, {"r", "redo"}, {"b", "back"}, {"u", "unit"}, {"l", "lock"}, {"t", "step"}} {
		m.keys(c[0])
		m.gave(c[1])
	}
	m.keys("n")
	until(t, m.ctx, `document.activeElement?.matches('dialog textarea')`)
	m.keys("\brust on the lower race") // the browser's driver has typed the n as well
	m.press("Keep")
	if c := m.gave("note"); c.Text != "rust on the lower race" {
		t.Errorf("the note is %q", c.Text)
	}
	m.closed()
	m.keys("j")
	m.press("T28-009")
	if c := m.gave("job"); c.Job != "T28-009" {
		t.Errorf("chose job %q", c.Job)
	}
	m.closed()
	m.keys("g")
	m.press("assembled")
	m.gave("stage")
	m.closed()
	m.keys("p")
	m.press("left swivel pin: lower")
	if c := m.gave("position"); c.Check != "pin diameter" || c.Position != "lower" {
		t.Errorf("went to %+v", c)
	}
	m.closed()
	m.keys("?")
	until(t, m.ctx, `document.querySelector('dialog[open]')?.innerText.includes('choose a job')`)
	m.keys("\x1b")
	m.closed()
	m.keys("2")
	m.goTo(`[...document.querySelectorAll('.chip')].find(c => c.innerText.includes('straight ahead'))`)
	m.keys("\r")
	m.press("Redo")
	if c := m.gave("redo"); c.Take != 3 {
		t.Errorf("redo of %+v", c)
	}
	m.closed()

	// A job from nothing: two checks of one component.
	m.keys("2")
	m.press("Make a job")
	m.typeIn("Number", "T28-031")
	m.typeIn("Machine", "Tarnbeck T28")
	m.typeIn("Stages", "as found, assembled")
	m.press("+ from nothing")
	m.typeIn("Component", "clutch cross shaft")
	m.typeIn("Positions", "near end, far end")
	check := func(name, method, limits string) {
		m.typeIn("Check", name)
		m.typeIn("Method", method)
		m.typeIn("Gauge", "dial-1")
		m.typeIn("Limits or fit", limits)
		m.typeIn("Where they come from", "workshop manual, sheet C2")
	}
	check("play in bushes", "play", "0.02..0.12 mm")
	m.press("+ check")
	check("end float", "end play", "0.1..0.4 mm")
	m.press("Write the sheet")
	m.press("Keep and use it")
	if ps := kept(); config.Refused(ps) {
		t.Fatalf("the bench refuses the sheet: %v", ps)
	}
	if c := m.gave("job"); c.Job != "T28-031" {
		t.Errorf("then job %q is chosen", c.Job)
	}
	path, err := config.FindJob(bench, "T28-031")
	if err != nil {
		t.Fatal(err)
	}
	j, ps := config.LoadJob(path)
	if j == nil {
		t.Fatal(ps)
	}
	var got []string
	for _, c := range j.Components {
		for _, k := range c.Checks {
			got = append(got, c.Name+": "+k.Name+", "+k.Method+" by "+k.Gauge+" at "+strings.Join(k.Positions, " and ")+", "+k.Limits.String()+", "+k.Source)
		}
	}
	want := []string{
		"clutch cross shaft: play in bushes, play by dial-1 at near end and far end, 0.02..0.12 mm, workshop manual, sheet C2",
		"clutch cross shaft: end float, end-play by dial-1 at near end and far end, 0.1..0.4 mm, workshop manual, sheet C2",
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") || strings.Join(j.Stages, "|") != "as found|assembled" {
		t.Errorf("the sheet says\n%s\nstages %q", strings.Join(got, "\n"), j.Stages)
	}
	if n := js[float64](t, m.ctx, `pointed`); n != 0 {
		t.Errorf("%g touches or clicks were needed", n)
	}

	// The pedal: after a finger has pressed a button, Enter still accepts.
	view(t, m.ctx, "bench")
	m.tap("Start over")
	m.gave("restart")
	m.keys("\r")
	m.gave("accept")
}
