//go:build linux

package page

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	cdpage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/creack/pty"
)

const digitsBench = `log_dir = "logs"
job_dir = "jobs"
display_unit = "mm"

[[gauge]]
name = "dial-1"
port = %q
driver = "signed-decimal"
unit = "mm"

[sound]
output = "none"

[page]
listen = %q
`

// watchDigits keeps, for the reading and for the floor's element, each text and
// the time since 1970 in ms at which a MutationObserver was told of it.
const watchDigits = `(bare => {
	const floor = document.body.appendChild(document.createElement('i'))
	floor.id = 'floor'
	window.seen = { reading: [], floor: [] }
	for (const id of Object.keys(seen)) {
		const e = document.getElementById(id)
		new MutationObserver(() => seen[id].push([e.textContent.trim().replace('\u2212', '-'), performance.timeOrigin + performance.now()]))
			.observe(e, { childList: true, characterData: true, subtree: true })
	}
	return new Promise(done => {
		const s = new EventSource(bare)
		s.onmessage = m => { floor.textContent = m.data }
		s.onopen = () => done(true)
	})
})(%q)`

// digits is one text that was sent, and when.
type digits struct {
	text string
	at   time.Time
}

// BenchmarkDigits is the time from writing a reading to the pseudo-terminal of
// the real daemon to the changed digits in the page of a real browser, which
// watches alone or beside 49 other streams. Its floor, by turns in the same
// tab, is an event of a server that does nothing else, put into the page as it
// comes. The gauge sends 6 to 12 readings a second at uneven times.
//
//	go test -run '^$' -bench Digits -benchtime 400x ./internal/page
func BenchmarkDigits(b *testing.B) {
	bin := binary(b)
	for _, clients := range []int{1, 50} {
		b.Run(fmt.Sprintf("clients=%d", clients), func(b *testing.B) { benchDigits(b, bin, clients) })
	}
}

func benchDigits(b *testing.B, bin string, clients int) {
	master, tty, err := pty.Open()
	if err != nil {
		b.Fatal(err)
	}
	defer master.Close()
	defer tty.Close()
	file, addr := filepath.Join(b.TempDir(), "bench.toml"), freeAddr(b)
	if err := os.WriteFile(file, fmt.Appendf(nil, digitsBench, tty.Name(), addr), 0o644); err != nil {
		b.Fatal(err)
	}
	begin(b, bin, "run", "-b", file)
	url := "http://" + addr + "/"
	answers(b, url)

	bare, wrote := make(chan string), make(chan time.Time)
	floor := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/event-stream")
		w.Header().Set("Access-Control-Allow-Origin", "*")
		rc := http.NewResponseController(w)
		for rc.Flush(); ; rc.Flush() {
			select {
			case <-r.Context().Done():
				return
			case text := <-bare:
				wrote <- time.Now()
				fmt.Fprintf(w, "data: %s\n\n", text)
			}
		}
	}))
	defer floor.Close()
	defer floor.CloseClientConnections()

	ctx := browser(b)
	// The page's own policy lets it hear no server but its bench.
	do(b, ctx, chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		_, err := cdp.Call(ctx, tab, cdpage.SetBypassCSP, cdpage.SetBypassCSPParams{Enabled: true})
		return err
	}), chromedp.Navigate(url))
	until(b, ctx, `document.body.dataset.link === 'up' && document.getElementById('reading')`)
	heard := make([]atomic.Int64, clients-1)
	for i := range heard {
		listen(b, url, &heard[i])
	}
	n := 0
	send := func() digits {
		n++
		d := digits{text: fmt.Sprintf("%.4f", 1+float64(n)/1e4)}
		d.at = time.Now()
		fmt.Fprintf(master, "+%s\r\n", d.text)
		return d
	}
	for end := time.Now().Add(15 * time.Second); ; {
		d := send()
		time.Sleep(100 * time.Millisecond)
		if strings.Contains(js[string](b, ctx, `document.getElementById('reading').textContent`), d.text) {
			break
		}
		if time.Now().After(end) {
			b.Fatal("the page never showed a reading")
		}
	}
	js[bool](b, ctx, fmt.Sprintf(watchDigits, floor.URL))
	off := clockOff(b, ctx)
	before := make([]int64, len(heard))
	for i := range heard {
		before[i] = heard[i].Load()
	}

	var ours, theirs []digits
	uneven := func() { time.Sleep(40*time.Millisecond + rand.N(40*time.Millisecond)) }
	for b.Loop() {
		ours = append(ours, send())
		uneven()
		text := strconv.Itoa(n)
		bare <- text
		theirs = append(theirs, digits{text, <-wrote})
		uneven()
	}
	time.Sleep(time.Second) // what is late comes too
	for i := range heard {
		if got := heard[i].Load() - before[i]; got < int64(len(ours)) {
			b.Errorf("stream %d heard %d of %d readings", i, got, len(ours))
		}
	}
	reportDigits(b, "digits", ours, js[[][2]any](b, ctx, `seen.reading`))
	reportDigits(b, "bare", theirs, js[[][2]any](b, ctx, `seen.floor`))
	b.ReportMetric(max(off, clockOff(b, ctx)), "clocks-apart-ms")
	b.ReportMetric(0, "ns/op") // how long the gauge waits says nothing
}

// listen is a client that reads the event stream and counts its readings.
func listen(b *testing.B, url string, heard *atomic.Int64) {
	res, err := http.Get(url + "events")
	if err != nil {
		b.Fatal(err)
	}
	if res.StatusCode != http.StatusOK {
		b.Fatal(res.Status)
	}
	b.Cleanup(func() { res.Body.Close() })
	go func() {
		for s := bufio.NewScanner(res.Body); s.Scan(); {
			if s.Text() == "event: reading" {
				heard.Add(1)
			}
		}
	}()
}

// reportDigits matches what was sent with what was seen.
func reportDigits(b *testing.B, name string, sent []digits, seen [][2]any) {
	var ms []float64
	for _, d := range sent {
		i := slices.IndexFunc(seen, func(s [2]any) bool { return s[0] == d.text })
		if i < 0 {
			b.Errorf("%s: %s was never shown", name, d.text)
			continue
		}
		ms = append(ms, seen[i][1].(float64)-millis(d.at))
		seen = seen[i+1:]
	}
	if len(ms) == 0 {
		b.Fatalf("%s: nothing was shown", name)
	}
	slices.Sort(ms)
	b.ReportMetric(ms[len(ms)/2], name+"-p50-ms")
	b.ReportMetric(ms[len(ms)*95/100], name+"-p95-ms")
}

func millis(t time.Time) float64 { return float64(t.UnixNano()) / 1e6 }

// clockOff is by how many ms at most the page's clock is seen to differ from
// this process's: the page is asked for its time, and the quickest of the
// answers counts.
func clockOff(b *testing.B, ctx context.Context) float64 {
	best, off := 1e9, 0.0
	for range 30 {
		from := millis(time.Now())
		at := js[float64](b, ctx, `performance.timeOrigin + performance.now()`)
		to := millis(time.Now())
		if to-from < best {
			best, off = to-from, at-(from+to)/2
		}
	}
	return max(off, -off)
}
