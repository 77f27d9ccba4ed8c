package page

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	cdpage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

var shots = flag.String("shots", "", "folder in which the browser tests leave their screenshots")

var chromium struct {
	once  sync.Once
	ctx   context.Context
	close func()
	err   error
}

func TestMain(m *testing.M) {
	flag.Parse()
	code := m.Run()
	if chromium.close != nil {
		chromium.close()
	}
	os.Exit(code)
}

// browser is a new tab of the one headless chromium of this test run.
func browser(t testing.TB) context.Context {
	t.Helper()
	chromium.once.Do(func() {
		bin, err := exec.LookPath("chromium")
		if err != nil {
			chromium.err = fmt.Errorf("the browser tests need chromium: run scripts/test-needs.sh")
			return
		}
		opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(bin), chromedp.WindowSize(1280, 800))
		for _, f := range []string{"no-sandbox", "disable-gpu", "disable-quic", "disable-component-update", "hide-scrollbars"} {
			opts = append(opts, chromedp.Flag(f, true))
		}
		alloc, cancelAlloc := chromedp.NewExecAllocator(context.Background(), opts...)
		ctx, cancel := chromedp.NewContext(alloc)
		chromium.ctx, chromium.close = ctx, func() { cancel(); cancelAlloc() }
		chromium.err = chromedp.Do(ctx)
	})
	if chromium.err != nil {
		t.Fatal(chromium.err)
	}
	ctx, cancel := chromedp.NewContext(chromium.ctx)
	t.Cleanup(cancel)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatal(err)
	}
	late, cancelLate := context.WithTimeout(ctx, 100*time.Second)
	t.Cleanup(cancelLate)
	front(t, late)
	look(t, late, 1280, 800, "light")
	return late
}

// front makes a tab the one that is seen: a hidden one draws nothing.
func front(t testing.TB, ctx context.Context) {
	t.Helper()
	do(t, ctx, chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		_, err := cdp.Call(ctx, tab, cdpage.BringToFront, cdp.Empty{})
		return err
	}))
}

func do(t testing.TB, ctx context.Context, actions ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, actions...); err != nil {
		t.Fatal(err)
	}
}

// js evaluates an expression in the page.
func js[T any](t testing.TB, ctx context.Context, expr string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expr, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("%s: %v", expr, err)
	}
	return v
}

// until waits for an expression to become true.
func until(t testing.TB, ctx context.Context, expr string) {
	t.Helper()
	end := time.Now().Add(15 * time.Second)
	for {
		// While the page loads anew there may be nothing to ask.
		ok, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("!!("+expr+")"))
		if err == nil && ok {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("never true: %s (%v); the page says:\n%s", expr, err, js[string](t, ctx, "document.body.innerText"))
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// open shows the page of a server and waits until it hears the bench.
func open(t testing.TB, s *Server) context.Context {
	t.Helper()
	ctx := browser(t)
	do(t, ctx, chromedp.Navigate(s.URL()))
	until(t, ctx, `document.body.dataset.link === 'up' && document.querySelector('.where .position')?.textContent`)
	return ctx
}

func view(t testing.TB, ctx context.Context, id string) {
	t.Helper()
	js[string](t, ctx, `location.hash = '`+id+`'`)
	until(t, ctx, `document.querySelector('#view').children.length && document.querySelector('#view h1, #view .bench')`)
}

// tapOn touches the middle of what an expression gives with a finger: the
// browser makes its pointer and click events from the touch itself.
func tapOn(t testing.TB, ctx context.Context, expr string) {
	t.Helper()
	until(t, ctx, expr)
	at := js[[2]float64](t, ctx, `(e => { e.scrollIntoView({ block: 'center' }); const r = e.getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2] })(`+expr+`)`)
	if !js[bool](t, ctx, fmt.Sprintf(`(e => { const hit = document.elementFromPoint(%g, %g); return !!hit && (e.contains(hit) || hit.contains(e)) })(%s)`, at[0], at[1], expr)) {
		t.Fatalf("something lies over %s", expr)
	}
	do(t, ctx, chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		_, err := cdp.Call(ctx, tab, emulation.SetTouchEmulationEnabled, emulation.SetTouchEmulationEnabledParams{Enabled: true})
		return err
	}), chromedp.TapXY(at[0], at[1]))
}

var sizes = []struct {
	name string
	w, h int64
}{{"wide", 1280, 800}, {"tall", 800, 1280}, {"phone", 360, 740}}

func look(t testing.TB, ctx context.Context, w, h int64, scheme string) {
	t.Helper()
	do(t, ctx, chromedp.EmulateViewport(w, h), media("prefers-color-scheme", scheme))
}

func media(feature, value string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		_, err := cdp.Call(ctx, tab, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: feature, Value: value}}})
		return err
	})
}

// shot leaves a screenshot of each size and scheme, when asked to.
func shot(t testing.TB, ctx context.Context, name string) {
	t.Helper()
	if *shots == "" {
		return
	}
	for _, sz := range sizes {
		for _, scheme := range []string{"light", "dark"} {
			look(t, ctx, sz.w, sz.h, scheme)
			time.Sleep(250 * time.Millisecond)
			png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(*shots, fmt.Sprintf("%s-%s-%s.png", name, sz.name, scheme)), png, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	look(t, ctx, 1280, 800, "light")
}
