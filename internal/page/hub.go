package page

import (
	"bytes"
	"encoding/json"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"thouwright/internal/ledger"
)

// The pace of the stream. A reading goes out at once if its gauge's last one
// is readingGap old, else when it is; a newer one takes its place meanwhile.
const (
	readingGap  = 50 * time.Millisecond // 20 a second of each gauge
	stateGap    = 50 * time.Millisecond
	beatGap     = 400 * time.Millisecond // the page takes a bench it has not heard for 0.8 s for old
	clientQueue = 512                    // messages a browser may lag behind before it is dropped
	resubscribe = 200 * time.Millisecond
	stateKey    = "" // no gauge has an empty name
	streamsMost = 256
	streamsALot = 64 // of them from outside this computer
)

// hub turns one subscription to the desk into the byte streams of any number
// of browsers. Each message is encoded once. It subscribes only while
// somebody watches.
type hub struct {
	desk Desk
	log  zerolog.Logger

	mu      sync.Mutex
	clients map[*client]bool
	state   []byte            // the last state as sent, without framing
	latest  map[string][]byte // the last reading of each gauge since that state
	quit    chan struct{}     // ends the pump
	done    chan struct{}     // closed by the pump
}

// client is one open event stream. out is closed when the hub drops it.
type client struct {
	out    chan []byte
	remote bool
}

func newHub(d Desk, log zerolog.Logger) *hub {
	return &hub{desk: d, log: log, clients: map[*client]bool{}}
}

// join adds a stream; its first message is the state. It returns nil when
// there are too many already.
func (h *hub) join(remote bool) *client {
	h.mu.Lock()
	defer h.mu.Unlock()
	outside := 0
	for c := range h.clients {
		if c.remote {
			outside++
		}
	}
	if len(h.clients) >= streamsMost || remote && outside >= streamsALot {
		return nil
	}
	c := &client{out: make(chan []byte, clientQueue), remote: remote}
	if h.quit == nil {
		live, updates, cancel := h.desk.Subscribe()
		h.quit, h.done = make(chan struct{}), make(chan struct{})
		h.state, h.latest = encode(live), map[string][]byte{}
		go h.pump(updates, cancel, h.quit, h.done)
	}
	c.out <- frame("state", h.state)
	for _, r := range h.latest {
		if len(c.out) < cap(c.out)-1 {
			c.out <- frame("reading", r)
		}
	}
	h.clients[c] = true
	return c
}

// leave ends a stream; the last one ends the subscription.
func (h *hub) leave(c *client) {
	h.mu.Lock()
	if h.clients[c] {
		delete(h.clients, c)
		close(c.out)
	}
	last := len(h.clients) == 0 && h.quit != nil
	var done chan struct{}
	if last {
		close(h.quit)
		done = h.done
		h.quit = nil
	}
	h.mu.Unlock()
	if last {
		<-done
	}
}

// stop drops every stream.
func (h *hub) stop() {
	h.mu.Lock()
	all := make([]*client, 0, len(h.clients))
	for c := range h.clients {
		all = append(all, c)
	}
	h.mu.Unlock()
	for _, c := range all {
		h.leave(c)
	}
}

// current is the last state sent, or the present one where nobody watches.
func (h *hub) current() []byte {
	h.mu.Lock()
	if h.quit != nil {
		defer h.mu.Unlock()
		return h.state
	}
	h.mu.Unlock()
	live, updates, cancel := h.desk.Subscribe()
	cancel()
	_ = updates
	return encode(live)
}

// pump owns the pace: it keeps what waits for its turn and sends the rest.
func (h *hub) pump(updates <-chan Update, cancel func(), quit, done chan struct{}) {
	defer close(done)
	defer func() { cancel() }()
	sent := map[string]time.Time{}    // when a gauge's reading, or the state, last went out
	waiting := map[string]Update{}    // what goes out at its mark
	timer := time.NewTimer(time.Hour) // the earliest mark
	defer timer.Stop()
	var mark time.Time

	gap := func(key string) time.Duration {
		if key == stateKey {
			return stateGap
		}
		return readingGap
	}
	flush := func(now time.Time) {
		mark = time.Time{}
		for key, u := range waiting {
			at := sent[key].Add(gap(key))
			if !at.After(now) {
				delete(waiting, key)
				sent[key] = now
				h.send(u, quit)
			} else if mark.IsZero() || at.Before(mark) {
				mark = at
			}
		}
		if !mark.IsZero() {
			timer.Reset(mark.Sub(now))
		}
	}
	for {
		select {
		case <-quit:
			return
		case now := <-timer.C:
			flush(now)
		case u, ok := <-updates:
			if !ok {
				cancel()
				select {
				case <-quit:
					return
				case <-time.After(resubscribe):
				}
				var live ledger.Live
				live, updates, cancel = h.desk.Subscribe()
				clear(waiting)
				h.send(Update{Event: "state", Data: live}, quit)
				continue
			}
			key := u.Gauge
			switch u.Event {
			case "state":
				key = stateKey
			case "reading":
			default:
				h.send(u, quit)
				continue
			}
			now := time.Now()
			if _, held := waiting[key]; !held && now.Sub(sent[key]) >= gap(key) {
				sent[key] = now
				h.send(u, quit)
				continue
			}
			waiting[key] = u
			if at := sent[key].Add(gap(key)); mark.IsZero() || at.Before(mark) {
				mark = at
				timer.Reset(max(0, at.Sub(now)))
			}
		}
	}
}

// send encodes an update once and hands it to every stream; one that has not
// taken its last clientQueue messages is dropped and comes back by itself.
func (h *hub) send(u Update, of chan struct{}) {
	data := encode(u.Data)
	if data == nil {
		h.log.Error().Str("event", u.Event).Msg("the page cannot encode an event")
		return
	}
	msg := frame(u.Event, data)
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.quit != of {
		return // a newer subscription speaks now
	}
	switch u.Event {
	case "state":
		h.state = data
		clear(h.latest)
	case "reading":
		h.latest[u.Gauge] = data
	}
	for c := range h.clients {
		select {
		case c.out <- msg:
		default:
			delete(h.clients, c)
			close(c.out)
		}
	}
}

func encode(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		return nil
	}
	return b
}

// frame is one event of a text/event-stream. JSON holds no line break.
func frame(event string, data []byte) []byte {
	var b bytes.Buffer
	b.Grow(len(event) + len(data) + 16)
	b.WriteString("event: ")
	b.WriteString(event)
	b.WriteString("\ndata: ")
	b.Write(data)
	b.WriteString("\n\n")
	return b.Bytes()
}
