package page

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

var shots = flag.String("shots", "", "folder in which the browser tests leave their screenshots")

// browser is a headless chromium of its own for one test.
func browser(t testing.TB) context.Context {
	t.Helper()
	bin, err := exec.LookPath("chromium")
	if err != nil {
		t.Fatal("the browser tests need chromium: apt-get install chromium")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(bin), chromedp.WindowSize(1280, 800))
	for _, f := range []string{"no-sandbox", "disable-gpu", "disable-quic", "no-first-run", "disable-background-networking", "disable-component-update", "disable-sync", "hide-scrollbars"} {
		opts = append(opts, chromedp.Flag(f, true))
	}
	alloc, cancelAlloc := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(func() { cancel(); cancelAlloc() })
	if err := chromedp.Do(ctx); err != nil {
		t.Fatal(err)
	}
	late, cancelLate := context.WithTimeout(ctx, 100*time.Second)
	t.Cleanup(cancelLate)
	return late
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
	end := time.Now().Add(10 * time.Second)
	for !js[bool](t, ctx, "!!("+expr+")") {
		if time.Now().After(end) {
			t.Fatalf("never true: %s; the page says:\n%s", expr, js[string](t, ctx, "document.body.innerText"))
		}
		time.Sleep(20 * time.Millisecond)
	}
}

var sizes = []struct {
	name string
	w, h int64
}{{"wide", 1280, 800}, {"tall", 800, 1280}, {"phone", 360, 740}}

func media(feature, value string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		_, err := cdp.Call(ctx, tab, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: feature, Value: value}}})
		return err
	})
}

func look(t testing.TB, ctx context.Context, w, h int64, scheme string) {
	t.Helper()
	do(t, ctx, chromedp.EmulateViewport(w, h), media("prefers-color-scheme", scheme))
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

func TestViewsInBrowser(t *testing.T) {
	sc := newScene()
	s := serve(t, sc.d, Options{})
	ctx := browser(t)
	stop := make(chan struct{})
	defer close(stop)
	do(t, ctx, chromedp.Navigate(s.URL()))
	until(t, ctx, `document.body.dataset.link === 'up'`)
	go func() {
		for {
			select {
			case <-stop:
				return
			default:
				sc.rock(3.412, 0.0418, 2)
			}
		}
	}()
	time.Sleep(6 * time.Second)
	shot(t, ctx, "measuring")
	for _, v := range []string{"job", "gauges", "sums", "record", "screens", "sheet"} {
		js[string](t, ctx, `location.hash = '`+v+`'`)
		time.Sleep(200 * time.Millisecond)
		shot(t, ctx, v)
	}
	js[string](t, ctx, `location.hash = 'bench'`)
	sc.verdict(take(4, "right lock", "0.0418", "0.0052", "undecided", "", "0.008 mm inside the upper limit, ± 0.005"))
	until(t, ctx, `document.getElementById('word').textContent === 'UNDECIDED'`)
	shot(t, ctx, "undecided")
	sc.verdict(take(5, "right lock", "0.0312", "0.0052", "pass", "", "inside the limits"))
	shot(t, ctx, "pass")
	sc.verdict(take(6, "right lock", "0.0812", "0.0052", "fail", "above", "too loose by 0.031 mm, at least 0.026"))
	shot(t, ctx, "fail")
}
