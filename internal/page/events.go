package page

import (
	"fmt"
	"net/http"
	"time"
)

// events is GET /events: first the state, then what happens. A comment line
// every beatGap lets the page tell a quiet bench from a lost one.
func (s *Server) events(w http.ResponseWriter, r *http.Request) {
	c := s.hub.join(!loopback(r))
	if c == nil {
		w.Header().Set("Retry-After", "5")
		refuse(w, http.StatusServiceUnavailable, "too many screens watch this bench: close one")
		return
	}
	defer s.hub.leave(c)
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store")
	h.Set("X-Accel-Buffering", "no")
	h.Set("Page-Version", s.version)
	rc := http.NewResponseController(w)
	// The request is read; its deadline must not end the stream.
	rc.SetReadDeadline(time.Time{})
	w.WriteHeader(http.StatusOK)
	fmt.Fprint(w, "retry: 1000\n\n")
	beat := time.NewTicker(beatGap)
	defer beat.Stop()
	for {
		select {
		case <-s.closing:
			return
		case <-r.Context().Done():
			return
		case <-beat.C:
			rc.SetWriteDeadline(time.Now().Add(requestTime))
			if _, err := fmt.Fprint(w, ": beat\n\n"); err != nil {
				return
			}
		case msg, ok := <-c.out:
			rc.SetWriteDeadline(time.Now().Add(requestTime))
			for ok {
				if _, err := w.Write(msg); err != nil {
					return
				}
				select {
				case msg, ok = <-c.out:
					continue
				default:
				}
				break
			}
			if !ok {
				return // dropped; the browser comes back
			}
		}
		if rc.Flush() != nil {
			return
		}
	}
}

// state is GET /api/state: the last 'state'.
func (s *Server) state(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "application/json")
	w.Write(s.hub.current())
}
