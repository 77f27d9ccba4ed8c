package page

import (
	"crypto/sha256"
	"crypto/subtle"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// right is what somebody may do.
type right int

const (
	nothing right = iota
	reading
	changing
)

// cookieName carries a paired device's token.
const cookieName = "thouwright"

// Wrong tokens: a handful at once, then one every few seconds, for each
// address. While an address waits, its tokens are not looked at.
const (
	guessBurst = 8
	guessEvery = 5 * time.Second
	guessers   = 1024 // addresses remembered
)

// keys holds the two tokens as hashes, so that a comparison takes the same
// time whatever its length and content.
type keys struct {
	read, change [32]byte

	mu    sync.Mutex
	tries map[string]*rate.Limiter
}

func newKeys(read, change string) keys {
	return keys{read: sha256.Sum256([]byte(read)), change: sha256.Sum256([]byte(change)), tries: map[string]*rate.Limiter{}}
}

func (k *keys) grants(token string) right {
	h := sha256.Sum256([]byte(token))
	c := subtle.ConstantTimeCompare(h[:], k.change[:])
	r := subtle.ConstantTimeCompare(h[:], k.read[:])
	return right(2*c | r&^c)
}

// check finds what the token allows; late is true while the address has to
// wait because of wrong ones.
func (k *keys) check(ip net.IP, token string) (r right, late bool) {
	who := net.IP(nil)
	if v4 := ip.To4(); v4 != nil {
		who = v4
	} else {
		who = ip.Mask(net.CIDRMask(64, 128)) // one household, one limit
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	l := k.tries[string(who)]
	if l != nil && l.Tokens() < 1 {
		return nothing, true
	}
	if r = k.grants(token); r != nothing {
		return r, false
	}
	if l == nil {
		if len(k.tries) >= guessers {
			for w := range k.tries { // forget one of them, whichever
				delete(k.tries, w)
				break
			}
		}
		l = rate.NewLimiter(rate.Every(guessEvery), guessBurst)
		k.tries[string(who)] = l
	}
	l.Allow()
	return nothing, false
}

// bearer is the token of an Authorization header.
func bearer(r *http.Request) (string, bool) {
	scheme, token, ok := strings.Cut(r.Header.Get("Authorization"), " ")
	if !ok || !strings.EqualFold(scheme, "Bearer") {
		return "", false
	}
	return strings.TrimSpace(token), true
}

// rights is what the request may do by the token it carries: a bearer token
// first, else the paired device's cookie. had tells whether it carried one.
func (s *Server) rights(r *http.Request) (may right, had, late bool) {
	token, ok := bearer(r)
	if !ok {
		c, err := r.Cookie(cookieName)
		if err != nil {
			return nothing, false, false
		}
		token = c.Value
	}
	may, late = s.keys.check(remoteIP(r), token)
	return may, true, late
}

// readers lets those in who may read: everybody on this computer, elsewhere
// those with a token.
func (s *Server) readers(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if loopback(r) {
			next(w, r)
			return
		}
		may, had, late := s.rights(r)
		switch {
		case late:
			tooMany(w)
		case may >= reading:
			next(w, r)
		default:
			unpaired(w, had)
		}
	}
}

// changers lets those in who carry the changing token as a bearer token: a
// cookie alone would let another site's form act.
func (s *Server) changers(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		token, ok := bearer(r)
		if !ok {
			unpaired(w, false)
			return
		}
		may, late := s.keys.check(remoteIP(r), token)
		switch {
		case late:
			tooMany(w)
		case may == changing:
			next(w, r)
		case may == reading:
			refuse(w, http.StatusForbidden, "this screen may look but not change: pair it with the other code")
		default:
			unpaired(w, true)
		}
	}
}

func tooMany(w http.ResponseWriter) {
	w.Header().Set("Retry-After", "5")
	refuse(w, http.StatusTooManyRequests, "too many wrong tokens from this address: wait a little")
}

func unpaired(w http.ResponseWriter, had bool) {
	w.Header().Set("WWW-Authenticate", `Bearer realm="bench"`)
	if had {
		refuse(w, http.StatusUnauthorized, "that token is not this bench's: pair again by the code on the bench computer")
		return
	}
	refuse(w, http.StatusUnauthorized, "not paired with this bench: scan the code on the bench computer")
}
