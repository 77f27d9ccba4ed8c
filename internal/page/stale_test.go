package page

import (
	"context"
	"fmt"
	"net"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	cdpage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/rs/zerolog"

	"thouwright/internal/ledger"
)

// A value that streams looks old within a second of its last reading, says how
// old, and is never struck out before; one that comes on a press or a change
// stays, and so does one of a gauge that is slower than that.
func TestStale(t *testing.T) {
	sc := newScene()
	sc.set(func(l *ledger.Live) {
		held := l.Gauges[1]
		held.Name, held.Sends, held.Value, held.MM = "dial-2", "change", "1.234", "1.234"
		scale := l.Gauges[0]
		scale.Name = "scale-1"
		l.Gauges = append(l.Gauges, held, scale)
	})
	ctx := open(t, serve(t, sc.d, Options{}))
	if worst := js[float64](t, ctx, `Promise.all([import('/assets/age.js'), import('/assets/stream.js')]).then(([a, s]) => a.LATE + s.TICK / 1000)`); worst > 1 {
		t.Errorf("a value looks old only %g s after its last reading", worst)
	}
	js[bool](t, ctx, `window.toggles = [], new MutationObserver(() => toggles.push([performance.now(), document.querySelector('.reading').classList.contains('old')])).observe(document.querySelector('.reading'), { attributes: true }), true`)
	sc.reading("dial-1", 3.5)
	until(t, ctx, `document.getElementById('reading').textContent.includes('3.500')`)
	came := js[float64](t, ctx, `performance.now()`)
	until(t, ctx, `document.querySelector('.reading.old') && /old: \d\.\d s ago/.test(document.querySelector('.age').textContent)`)
	if at := js[float64](t, ctx, `toggles.findLast(t => t[1])[0]`) - came; at < 750 {
		t.Errorf("the value looked old %.0f ms after it came", at)
	}
	sc.reading("dial-1", 3.6)
	until(t, ctx, `!document.querySelector('.reading.old')`)
	view(t, ctx, "gauges")
	card := `[...document.querySelectorAll('.gauge')].find(g => g.innerText.includes('%s'))`
	until(t, ctx, fmt.Sprintf(card, "dial-1")+`.classList.contains('late')`)
	if js[bool](t, ctx, fmt.Sprintf(card, "mic-1")+`.classList.contains('late')`) || !js[bool](t, ctx, `/pressed \d+ s ago/.test(`+fmt.Sprintf(card, "mic-1")+`.innerText)`) {
		t.Error("a gauge that sends on a press looks old, or does not say when it was pressed")
	}
	if js[bool](t, ctx, fmt.Sprintf(card, "dial-2")+`.classList.contains('late')`) || !js[bool](t, ctx, `/held \d+ s/.test(`+fmt.Sprintf(card, "dial-2")+`.innerText)`) {
		t.Error("a gauge that sends on a change looks old, or does not say how long it has held")
	}
	for i := range 4 { // one reading each 2 s
		at, _ := strconv.ParseFloat(sc.elapsed(), 64)
		sc.d.emit(Update{Event: "reading", Gauge: "scale-1", Data: map[string]string{"seq": fmt.Sprint(5000 + i), "elapsed_s": fmt.Sprint(at + 2*float64(i)), "gauge": "scale-1", "raw": "7", "value": "7", "unit": "mm", "mm": "7", "state": "moving"}})
		time.Sleep(2 * readingGap)
	}
	until(t, ctx, `/^[1-9]\.\d s ago/.test(`+fmt.Sprintf(card, "scale-1")+`.querySelector('.age').innerText)`)
	if got := js[string](t, ctx, fmt.Sprintf(card, "force-1")+`.innerText`); !strings.Contains(got, "no reading yet") || !strings.Contains(got, "unplugged") || !strings.Contains(got, "overdue") {
		t.Errorf("the lost gauge says %q", got)
	}
	if got := js[string](t, ctx, fmt.Sprintf(card, "dial-1")+`.innerText`); !strings.Contains(got, `\x02+3.4\xff`) || !strings.Contains(got, "+3.600") {
		t.Errorf("the raw view says %q", got)
	}
}

// The daemon goes and comes back: the page says at once that it is alone, and
// catches up by itself, also with what happened meanwhile.
func TestDaemonRestart(t *testing.T) {
	sc := newScene()
	o := Options{Listen: "127.0.0.1:0", ReadToken: "r", ChangeToken: "c", Log: zerolog.Nop()}
	start := func() (*Server, func()) {
		s, err := New(o, sc.d)
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(context.Background())
		ended := make(chan error, 1)
		go func() { ended <- s.Serve(ctx); close(ended) }()
		return s, func() {
			cancel()
			if err := <-ended; err != nil {
				t.Error(err)
			}
		}
	}
	s, stop := start()
	ctx := open(t, s)
	js[bool](t, ctx, `window.sameLoad = true`)
	stop()
	until(t, ctx, `!document.getElementById('lost').hidden && document.getElementById('lost').innerText.includes('NOT CONNECTED') && document.querySelector('.reading.old')`)
	shot(t, ctx, "lost")
	o.Listen = s.addr().String()
	sc.set(func(l *ledger.Live) { a := *l.Active; a.Position = "elsewhere now"; l.Active = &a })
	_, stop = start()
	until(t, ctx, `document.getElementById('lost').hidden && document.querySelector('.position').textContent === 'elsewhere now'`)
	if !js[bool](t, ctx, `window.sameLoad === true`) {
		t.Error("the page was loaded anew though nothing of it had changed")
	}
	stop()
	o.ChangeToken = "new"
	_, last := start()
	defer last()
	until(t, ctx, `!window.sameLoad && document.querySelector('meta[name=token]').content === 'new' && document.body.dataset.link === 'up'`)
}

// A tablet that slept shows the present again after waking, without a touch.
func TestSleepAndWake(t *testing.T) {
	sc := newScene()
	ctx := open(t, serve(t, sc.d, Options{}))
	life := func(state cdpage.SetWebLifecycleStateState) chromedp.Action[chromedp.Void] {
		return chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
			_, err := cdp.Call(ctx, tab, cdpage.SetWebLifecycleState, cdpage.SetWebLifecycleStateParams{State: state})
			return err
		})
	}
	do(t, ctx, life("frozen"))
	for i := 0; i < 40; i++ { // what comes in its sleep
		sc.reading("dial-1", 3.4+float64(i)/1000)
		time.Sleep(80 * time.Millisecond)
	}
	sc.set(func(l *ledger.Live) { a := *l.Active; a.Position = "after sleep"; l.Active = &a })
	do(t, ctx, life("active"))
	sc.reading("dial-1", 5.123)
	until(t, ctx, `document.querySelector('.position').textContent === 'after sleep' && document.getElementById('reading').textContent.includes('5.123') && document.body.dataset.link === 'up'`)
}

// wire is the network between a screen and the bench: it can stall, as a phone's
// does behind a steel door, with every connection still open.
type wire struct {
	net.Listener
	to      string
	mu      sync.Mutex
	stalled chan struct{} // closed when bytes flow again; nil while they do
	made    int
}

func newWire(t *testing.T, s *Server) *wire {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &wire{Listener: l, to: s.addr().String()}
	t.Cleanup(func() { l.Close(); w.flow() })
	go func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial("tcp", w.to)
			if err != nil {
				near.Close()
				continue
			}
			w.mu.Lock()
			w.made++
			w.mu.Unlock()
			go w.carry(near, far)
			go w.carry(far, near)
		}
	}()
	return w
}

func (w *wire) carry(from, to net.Conn) {
	defer from.Close()
	defer to.Close()
	b := make([]byte, 4096)
	for {
		w.mu.Lock()
		wait := w.stalled
		w.mu.Unlock()
		if wait != nil {
			<-wait
		}
		n, err := from.Read(b)
		if err != nil {
			return
		}
		w.mu.Lock()
		wait = w.stalled
		w.mu.Unlock()
		if wait != nil {
			<-wait
		}
		if _, err := to.Write(b[:n]); err != nil {
			return
		}
	}
}

func (w *wire) stall() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.stalled = make(chan struct{})
}

func (w *wire) flow() {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.stalled != nil {
		close(w.stalled)
		w.stalled = nil
	}
}

// A network that stalls without a word is noticed, even where the gauge sends
// only on a change and nothing was expected; meanwhile the bench floods the
// stream, lets the screen go, and goes on. When bytes flow again the screen
// catches up by itself, and shows what happened meanwhile.
func TestStalledNetwork(t *testing.T) {
	sc := newScene()
	s := serve(t, sc.d, Options{})
	w := newWire(t, s)
	ctx := browser(t)
	do(t, ctx, chromedp.Navigate("http://"+w.Addr().String()+"/"))
	up := `document.body.dataset.link === 'up' && document.querySelector('.where .position')?.textContent === '%s'`
	until(t, ctx, fmt.Sprintf(up, "right lock"))
	js[bool](t, ctx, `window.sameLoad = true`)
	view(t, ctx, "gauges")
	pressed := `[...document.querySelectorAll('.gauge')].find(g => g.innerText.includes('mic-1'))`
	until(t, ctx, pressed+` && !`+pressed+`.classList.contains('late')`)
	w.stall()
	until(t, ctx, pressed+`.classList.contains('late')`)
	until(t, ctx, `document.getElementById('lost').innerText.includes('NOT CONNECTED')`)

	beside := open(t, s) // another screen, on a network that is well
	big := strings.Repeat("x", 64<<10)
	for i := range clientQueue + 400 {
		sc.d.emit(Update{Event: "rest", Data: map[string]string{"gauge": "dial-1", "elapsed_s": sc.elapsed(), "n": fmt.Sprint(i), "big": big}})
		if i%50 == 0 {
			time.Sleep(10 * time.Millisecond)
		}
	}
	sc.set(func(l *ledger.Live) { a := *l.Active; a.Position = "meanwhile"; l.Active = &a })
	until(t, beside, fmt.Sprintf(up, "meanwhile"))
	w.flow()
	front(t, ctx)
	view(t, ctx, "bench")
	until(t, ctx, fmt.Sprintf(up, "meanwhile")+` && document.getElementById('lost').hidden`)
	sc.reading("dial-1", 4.321)
	until(t, ctx, `document.getElementById('reading').textContent.includes('4.321')`)
	if !js[bool](t, ctx, `window.sameLoad === true`) {
		t.Error("the screen had to be loaded anew")
	}
}

// airplane takes a browser off the network: its new requests and
// navigator.onLine.
var airplane = cdp.Command[airplaneParams, cdp.Empty]{Method: "Network.emulateNetworkConditions"}

type airplaneParams struct {
	Offline  bool    `json:"offline"`
	Latency  float64 `json:"latency"`
	Download float64 `json:"downloadThroughput"`
	Upload   float64 `json:"uploadThroughput"`
}

// A tablet whose network is off knows it, and is back by itself once it is on.
func TestNetworkOffAndOn(t *testing.T) {
	sc := newScene()
	s := serve(t, sc.d, Options{})
	ctx := open(t, s)
	off := func(yes bool) {
		do(t, ctx, chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
			if _, err := cdp.Call(ctx, tab, network.Enable, network.EnableParams{}); err != nil {
				return err
			}
			_, err := cdp.Call(ctx, tab, airplane, airplaneParams{Offline: yes, Download: -1, Upload: -1})
			return err
		}))
	}
	sc.reading("dial-1", 3.5)
	until(t, ctx, `document.getElementById('reading').textContent.includes('3.500')`)
	off(true)
	s.hub.stop() // the browser lets what is open flow on; a real one would not
	until(t, ctx, `document.getElementById('lost').innerText.includes('NOT CONNECTED') && document.querySelector('.reading.old')`)
	js[bool](t, ctx, `[...document.querySelectorAll('.acts button')].find(b => b.innerText.startsWith('Accept')).click(), true`)
	until(t, ctx, `document.getElementById('toast').innerText.includes('not sent: the bench cannot be reached')`)
	sc.set(func(l *ledger.Live) { a := *l.Active; a.Position = "meanwhile"; l.Active = &a })
	off(false)
	until(t, ctx, `document.getElementById('lost').hidden && document.querySelector('.position').textContent === 'meanwhile'`)
	sc.reading("dial-1", 3.6)
	until(t, ctx, `document.getElementById('reading').textContent.includes('3.600') && !document.querySelector('.reading.old')`)
	if n := len(sc.d.commands()); n != 0 {
		t.Errorf("%d commands reached the bench from a screen without a network", n)
	}
}
