package page

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"thouwright/internal/port/porttest"
)

// A foot switch on a control line of the gauge's port, seen on the page of the
// real program: a short press accepts what the gauge shows and goes on, a very
// long one goes back a place.
func TestFootSwitchOnThePage(t *testing.T) {
	gauge := porttest.NewComServer(t)
	bin, dir, addr := binary(t), t.TempDir(), freeAddr(t)
	for name, text := range map[string]string{
		"bench.toml":        fmt.Sprintf("log_dir = \"logs\"\njob_dir = \"jobs\"\ndisplay_unit = \"mm\"\n\n[[gauge]]\nname = \"mic-1\"\nport = \"rfc2217://%s\"\ndriver = \"signed-decimal\"\nunit = \"mm\"\nerror = \"0.002 mm\"\n\n[switch]\ngauge = \"mic-1\"\nline = \"CTS\"\n\n[sound]\noutput = \"none\"\n\n[page]\nlisten = %q\n", gauge.Addr(), addr),
		"jobs/T28-040.toml": "number = \"T28-040\"\nmachine = \"Tarnbeck T28\"\n\n[[component]]\nname = \"swivel pin\"\n\n  [[component.check]]\n  name = \"diameter\"\n  method = \"size\"\n  gauge = \"mic-1\"\n  positions = [\"upper\", \"lower\"]\n  limits = \"29.95..29.99 mm\"\n",
	} {
		if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	begin(t, bin, "run", "-b", filepath.Join(dir, "bench.toml"), "-j", "T28-040")
	answers(t, "http://"+addr+"/")
	stop, stopped := make(chan struct{}), make(chan struct{})
	t.Cleanup(func() { close(stop); <-stopped })
	go func() { // the part lies between the anvils
		defer close(stopped)
		for {
			select {
			case <-stop:
				return
			case <-time.After(50 * time.Millisecond):
				gauge.Send("+29.972\r\n")
			}
		}
	}()
	ctx := browser(t)
	do(t, ctx, chromedp.Navigate("http://"+addr+"/"))
	until(t, ctx, `document.body.dataset.link === 'up' && document.getElementById('reading').textContent.includes('29.972') && document.querySelector('.position').textContent === 'upper'`)
	shown := func(what string) bool { return js[bool](t, ctx, what) }
	tread := func(what string, hold func()) {
		t.Helper()
		for end := time.Now().Add(30 * time.Second); !shown(what); time.Sleep(200 * time.Millisecond) {
			if time.Now().After(end) {
				t.Fatalf("the switch never led to %s; the page says %s", what, js[string](t, ctx, `document.body.innerText`))
			}
			gauge.CTS(true)
			hold()
			gauge.CTS(false)
		}
	}
	tread(`document.getElementById('word').textContent === 'PASS'`, func() { time.Sleep(150 * time.Millisecond) })
	says := js[string](t, ctx, `document.querySelector('.bench').innerText`)
	if !strings.Contains(says, "29.972") || !strings.Contains(says, "now: swivel pin, diameter, lower") {
		t.Errorf("after a short press the page says %q", says)
	}
	back := `document.querySelector('.next').textContent.includes('now') === false && document.querySelector('.position').textContent === 'upper'`
	tread(back, func() { time.Sleep(3 * time.Second) }) // longer is a very long one too
}
