package bench

import (
	"sync"
	"time"

	"thouwright/internal/ledger"
	"thouwright/internal/page"
)

// hub passes the loop's state on to whoever watches. A watcher that does not
// keep up is let go; it comes back by itself and starts from the whole state.
type hub struct {
	mu    sync.Mutex
	state ledger.Live
	at    time.Time // of state
	subs  map[chan page.Update]struct{}
}

// subscriberBuffer is how many updates a watcher may lie behind.
const subscriberBuffer = 512

func newHub() *hub { return &hub{subs: map[chan page.Update]struct{}{}} }

// Subscribe is the whole state now and every update after it.
func (h *hub) Subscribe() (ledger.Live, <-chan page.Update, func()) {
	ch := make(chan page.Update, subscriberBuffer)
	h.mu.Lock()
	defer h.mu.Unlock()
	h.subs[ch] = struct{}{}
	return h.state, ch, func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		h.drop(ch)
	}
}

func (h *hub) drop(ch chan page.Update) {
	if _, ok := h.subs[ch]; ok {
		delete(h.subs, ch)
		close(ch)
	}
}

func (h *hub) send(u page.Update) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if s, ok := u.Data.(ledger.Live); ok && u.Event == "state" {
		h.state, h.at = s, time.Now()
	}
	for ch := range h.subs {
		select {
		case ch <- u:
		default:
			h.drop(ch)
		}
	}
}

// State is the last state.
func (h *hub) State() ledger.Live {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.state
}

// age is how old the last state is; zero before the first.
func (h *hub) age() time.Duration {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.at.IsZero() {
		return 0
	}
	return time.Since(h.at)
}

// watched tells whether anybody watches.
func (h *hub) watched() bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return len(h.subs) > 0
}

func (h *hub) closeAll() {
	h.mu.Lock()
	defer h.mu.Unlock()
	for ch := range h.subs {
		h.drop(ch)
	}
}
