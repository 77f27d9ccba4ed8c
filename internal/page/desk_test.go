package page

import (
	"context"
	"errors"
	"io"
	"net/http"
	"strings"
	"sync"
	"testing"

	"github.com/rs/zerolog"

	"thouwright/internal/ledger"
)

// fakeDesk is a daemon without gauges: a state, subscribers, and the commands
// it was given.
type fakeDesk struct {
	mu   sync.Mutex
	live ledger.Live
	subs map[chan Update]bool
	did  []ledger.Command
	fail error
	subN int
}

func newFakeDesk() *fakeDesk {
	return &fakeDesk{subs: map[chan Update]bool{}, live: ledger.Live{Unit: "mm"}}
}

func (d *fakeDesk) Subscribe() (ledger.Live, <-chan Update, func()) {
	d.mu.Lock()
	defer d.mu.Unlock()
	ch := make(chan Update, 256)
	d.subs[ch] = true
	d.subN++
	return d.live, ch, func() {
		d.mu.Lock()
		defer d.mu.Unlock()
		d.drop(ch)
	}
}

func (d *fakeDesk) drop(ch chan Update) {
	if d.subs[ch] {
		delete(d.subs, ch)
		close(ch)
	}
}

func (d *fakeDesk) Do(_ context.Context, c ledger.Command) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.did = append(d.did, c)
	return d.fail
}

func (d *fakeDesk) emit(u Update) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if l, ok := u.Data.(ledger.Live); ok {
		d.live = l
	}
	for ch := range d.subs {
		select {
		case ch <- u:
		default:
			d.drop(ch)
		}
	}
}

func (d *fakeDesk) commands() []ledger.Command {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]ledger.Command(nil), d.did...)
}

func (d *fakeDesk) watched() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return len(d.subs)
}

// serve starts a page on a free loopback port and stops it with the test.
func serve(t testing.TB, d Desk, o Options) *Server {
	t.Helper()
	if o.Listen == "" {
		o.Listen = "127.0.0.1:0"
	}
	o.Log = zerolog.Nop()
	s, err := New(o, d)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return s
}

// ask sends one request with headers given as "Name: value".
func ask(t testing.TB, method, url, body string, headers ...string) (int, string, http.Header) {
	t.Helper()
	r, err := http.NewRequest(method, url, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	for _, h := range headers {
		name, value, _ := strings.Cut(h, ": ")
		if name == "Host" {
			r.Host = value
		}
		r.Header.Set(name, value)
	}
	res, err := (&http.Transport{DisableKeepAlives: true}).RoundTrip(r)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Fatal(err)
	}
	return res.StatusCode, string(b), res.Header
}

const isJSON = "Content-Type: application/json"
