package page

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"thouwright/internal/quantity"
)

// binary builds the real program once for this test run.
func binary(t testing.TB) string {
	t.Helper()
	bin := filepath.Join(t.TempDir(), "thouwright")
	if out, err := exec.Command("go", "build", "-o", bin, "../../cmd/thouwright").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return bin
}

// program is the real one at work; lines are what it prints.
type program struct {
	*exec.Cmd
	lines chan string
}

func begin(t testing.TB, bin string, args ...string) *program {
	t.Helper()
	p := &program{exec.Command(bin, args...), make(chan string, 1000)}
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	p.Stdout, p.Stderr = w, w
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	w.Close()
	go func() {
		for s := bufio.NewScanner(r); s.Scan(); {
			p.lines <- s.Text()
		}
		close(p.lines)
	}()
	t.Cleanup(func() { p.end() })
	return p
}

// end stops it in order and waits for what it still prints.
func (p *program) end() {
	if p.ProcessState == nil {
		p.Process.Signal(syscall.SIGTERM)
		p.Wait()
	}
}

// answers waits until a page answers at an address.
func answers(t testing.TB, url string) {
	t.Helper()
	for i := 0; ; i++ {
		if res, err := http.Get(url + "healthz"); err == nil {
			res.Body.Close()
			return
		}
		if i > 600 {
			t.Fatal("no page at " + url)
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// freeAddr is a loopback address with a port that is free now.
func freeAddr(t testing.TB) string {
	t.Helper()
	s, err := New(Options{Listen: "127.0.0.1:0"}, newFakeDesk())
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	return s.addr().String()
}

// rows reads a CSV file as one map a row.
func rows(t testing.TB, file string) []map[string]string {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, r := range all[1:] {
		m := map[string]string{}
		for i, k := range all[0] {
			m[k] = r[i]
		}
		out = append(out, m)
	}
	return out
}

// The whole demo job watched in a browser: every take that is told is a row of
// takes.csv, to the letter, told only when it is there; and what stands on the
// screen at the end is what the file says.
func TestDemoOnThePage(t *testing.T) {
	bin, dir, addr := binary(t), filepath.Join(t.TempDir(), "demo"), freeAddr(t)
	ctx := browser(t)
	p := begin(t, bin, "demo", "--quick", "--dir", dir, "--listen", addr)
	url := "http://" + addr + "/"
	answers(t, url)
	do(t, ctx, chromedp.Navigate(url))
	until(t, ctx, `document.body.dataset.link === 'up'`)
	// What the page hears, and every word it says large, from here on.
	js[bool](t, ctx, `import('/assets/store.js').then(m => { window.takes = []; window.words = new Set; m.on('take', t => takes.push(t)); m.on('state', () => words.add(document.getElementById('word')?.textContent)); m.on('state', s => { window.lastState = s }); return true })`)
	files, _ := filepath.Glob(filepath.Join(dir, "logs", "*", "takes.csv"))
	if len(files) != 1 {
		t.Fatalf("takes.csv: %v", files)
	}
	told := 0
	for line := range p.lines {
		if *shots != "" && strings.Contains(line, "  take ") {
			shot(t, ctx, fmt.Sprintf("demo-%02d", told))
		}
		if strings.Contains(line, "  take ") {
			told++
			// Acknowledged is on disk.
			n := strings.Fields(line)[1]
			found := false
			for _, r := range rows(t, files[0]) {
				found = found || r["take"] == strings.Trim(n, ",")
			}
			if !found {
				t.Errorf("%q was said before its row was there", line)
			}
			view(t, ctx, map[bool]string{true: "job", false: "bench"}[told > 5])
		}
		t.Log(line)
	}
	p.Wait()
	byTake := map[string]map[string]string{}
	latest := map[string]map[string]string{}
	all := rows(t, files[0])
	for _, r := range all {
		byTake[r["take"]] = r
		latest[r["component"]+"|"+r["check"]+"|"+r["position"]] = r
	}
	var heard []map[string]string
	if err := json.Unmarshal([]byte(js[string](t, ctx, `JSON.stringify(takes)`)), &heard); err != nil {
		t.Fatal(err)
	}
	if len(all) < 8 || len(heard) < len(all)-3 {
		t.Errorf("%d takes on disk, %d heard by the page", len(all), len(heard))
	}
	for _, h := range heard {
		for k, want := range byTake[h["take"]] {
			if k != "chain" && h[k] != want {
				t.Errorf("take %s: %s was told as %q and is %q", h["take"], k, h[k], want)
			}
		}
	}
	// The job view as it stands when the daemon is gone.
	var st struct{ Unit string }
	json.Unmarshal([]byte(js[string](t, ctx, `JSON.stringify(lastState)`)), &st)
	unit, err := quantity.ParseUnit(st.Unit)
	if err != nil {
		t.Fatal(err)
	}
	chips := js[[][4]string](t, ctx, `[...document.querySelectorAll('.chip')].map(c => [c.closest('.part').querySelector('h2').textContent + '|' + c.closest('.check').querySelector('h3').firstChild.textContent + '|', c.querySelector('.place').firstChild.textContent, c.querySelector('.worth').textContent, c.querySelector('.verdict').textContent])`)
	if len(chips) < 8 {
		t.Fatalf("the job view has %d places: %v", len(chips), chips)
	}
	for _, c := range chips {
		r := latest[c[0]+c[1]]
		if r == nil {
			r = latest[c[0]] // a place without a name shows its component's
		}
		if r == nil {
			if c[3] != "OPEN" {
				t.Errorf("%v is shown and not in the file", c)
			}
			continue
		}
		if want := strings.ToUpper(r["verdict"]); c[3] != want {
			t.Errorf("%s%s shows %s, the file says %s", c[0], c[1], c[3], want)
		}
		shown := strings.Fields(c[2])
		text := strings.TrimPrefix(strings.ReplaceAll(shown[0], "\u2212", "-"), "<")
		got, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Errorf("%v: %v", c, err)
			continue
		}
		want, _ := strconv.ParseFloat(strings.TrimPrefix(r["result"], "<"), 64)
		own, _ := quantity.ParseUnit(r["unit"])
		to := unit
		if own.Kind() != unit.Kind() {
			to = own
		}
		if want, err = quantity.Convert(want, own, to); err != nil {
			t.Fatal(err)
		}
		digit := 1.0
		if i := strings.IndexByte(text, '.'); i >= 0 {
			digit = math.Pow(10, -float64(len(text)-i-1))
		}
		if math.Abs(got-want) > digit*0.5001 || shown[len(shown)-1] != to.String() {
			t.Errorf("%s%s shows %s, the file says %g %s", c[0], c[1], c[2], want, to)
		}
	}
	words := js[string](t, ctx, `[...words].join()`)
	for _, w := range []string{"FAIL", "PASS", "UNDECIDED"} {
		if !strings.Contains(words, w) {
			t.Errorf("the page never said %s: %s", w, words)
		}
	}
	until(t, ctx, `document.getElementById('lost').innerText.includes('NOT CONNECTED')`)
}

// The real daemon: a broken bench file is said with its place and goes when it
// is mended; a job made on the page is a sheet on disk and becomes active; a
// restart is survived by the screen.
func TestDaemonOnThePage(t *testing.T) {
	bin, dir, addr := binary(t), t.TempDir(), freeAddr(t)
	good := fmt.Sprintf("log_dir = \"logs\"\njob_dir = \"jobs\"\ndisplay_unit = \"mm\"\n\n[[gauge]]\nname = \"dial-1\"\nport = \"%s/not-there\"\ndriver = \"signed-decimal\"\nunit = \"mm\"\n\n[sound]\noutput = \"none\"\n\n[page]\nlisten = %q\n", dir, addr)
	file := filepath.Join(dir, "bench.toml")
	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write(good)
	url := "http://" + addr + "/"
	p := begin(t, bin, "run", "-b", file)
	answers(t, url)
	ctx := browser(t)
	do(t, ctx, chromedp.Navigate(url))
	until(t, ctx, `document.body.dataset.link === 'up' && document.getElementById('word')?.textContent`)
	write(strings.Replace(good, "driver =", "drivre =", 1))
	until(t, ctx, `/bench\.toml:8/.test(document.getElementById('problems').innerText) && document.getElementById('problems').innerText.includes('driver')`)
	shot(t, ctx, "broken")
	write(good)
	until(t, ctx, `document.getElementById('problems').hidden || !document.getElementById('problems').innerText.includes('drivre')`)
	view(t, ctx, "gauges")
	until(t, ctx, `document.querySelector('.gauge')?.innerText.includes('dial-1') && document.querySelector('.gauge').dataset.link !== 'up'`)

	sheet := "number = \"T28-021\"\nmachine = \"Tarnbeck T28\"\n\n[[component]]\nname = \"rocker shaft\"\n\n  [[component.check]]\n  name = \"play\"\n  method = \"play\"\n  gauge = \"dial-1\"\n  positions = [\"inlet\"]\n  limits = \"0.01..0.08 mm\"\n"
	js[bool](t, ctx, `import('/assets/actions.js').then(async m => !!(await m.post('/api/sheet', { number: 'T28-021', text: `+strconv.Quote(sheet)+` })))`)
	if b, err := os.ReadFile(filepath.Join(dir, "jobs", "T28-021.toml")); err != nil || string(b) != sheet {
		t.Errorf("the sheet on disk: %v\n%s", err, b)
	}
	until(t, ctx, `document.querySelector('#view') && (document.querySelector('button'), true)`)
	view(t, ctx, "bench")
	do(t, ctx, chromedp.KeyEvent("j"))
	until(t, ctx, `document.querySelector('dialog')?.innerText.includes('T28-021')`)
	js[bool](t, ctx, `[...document.querySelectorAll('dialog button')].find(b => b.innerText.includes('T28-021')).click(), true`)
	until(t, ctx, `document.querySelector('#jobline').innerText.includes('T28-021') && document.querySelector('.position').textContent === 'inlet'`)
	p.end()
	until(t, ctx, `!document.getElementById('lost').hidden`)
	p = begin(t, bin, "run", "-b", file)
	until(t, ctx, `document.getElementById('lost').hidden && document.body.dataset.link === 'up' && document.querySelector('#jobline').innerText.includes('T28-021') && document.querySelector('.position').textContent === 'inlet'`)
	p.end()
}
