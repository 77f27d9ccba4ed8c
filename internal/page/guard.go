package page

import (
	"encoding/json"
	"net"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"
)

// policy is the content security policy of the page itself: nothing from
// elsewhere, no script or style that is not one of its own files, and no way
// to turn a string into markup.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; " +
	"connect-src 'self'; frame-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; " +
	"require-trusted-types-for 'script'; trusted-types 'none'"

// guard stands before every handler: the name asked for must be this
// computer's (a foreign name that resolves here is a rebinding attack), the
// asking page must be this one, and every answer carries the same armour.
func (s *Server) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=(), payment=()")
		h.Set("Cache-Control", "no-store")
		if !s.ownHost(r) {
			refuse(w, http.StatusForbidden, "this bench does not answer to that name: use its address, or the name that the computer has itself")
			return
		}
		if !sameSite(r) {
			refuse(w, http.StatusForbidden, "this request came from another site")
			return
		}
		switch r.Method {
		case http.MethodGet, http.MethodHead, http.MethodPost:
		default:
			h.Set("Allow", "GET, HEAD, POST")
			refuse(w, http.StatusMethodNotAllowed, "GET, HEAD or POST")
			return
		}
		http.NewResponseController(w).SetWriteDeadline(time.Now().Add(answerTime))
		next.ServeHTTP(w, r)
	})
}

// ownHost tells whether the Host header names this computer: the very address
// the connection came in on, a loopback name on loopback, or one of its names.
func (s *Server) ownHost(r *http.Request) bool {
	host := r.Host
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	host = strings.ToLower(strings.TrimSuffix(strings.Trim(host, "[]"), "."))
	local, _ := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr)
	if local == nil || host == "" {
		return false
	}
	if ip := net.ParseIP(host); ip != nil {
		return ip.Equal(local.IP)
	}
	if host == "localhost" {
		return local.IP.IsLoopback()
	}
	return s.hosts[host]
}

// sameSite tells whether a browser sent the request from this page or from
// its address bar. Programs that are no browser send neither header.
func sameSite(r *http.Request) bool {
	if o := r.Header.Get("Origin"); o != "" {
		u, err := url.Parse(o)
		if err != nil || u.Scheme != "http" || !strings.EqualFold(u.Host, r.Host) {
			return false
		}
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
		return true
	}
	// A link from elsewhere may open the page, nothing more: it shows, and
	// acts on nothing by being opened.
	return r.Method == http.MethodGet && r.Header.Get("Sec-Fetch-Mode") == "navigate" &&
		r.Header.Get("Sec-Fetch-Dest") == "document" && (r.URL.Path == "/" || strings.HasPrefix(r.URL.Path, "/pair/"))
}

// loopback tells whether the request comes from this computer itself. One that
// was passed on by another program does not, whatever its last hop.
func loopback(r *http.Request) bool {
	for _, h := range []string{"Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Real-Ip", "Via"} {
		if r.Header.Get(h) != "" {
			return false
		}
	}
	ip := remoteIP(r)
	local, _ := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr)
	return ip != nil && ip.IsLoopback() && local != nil && local.IP.IsLoopback()
}

func remoteIP(r *http.Request) net.IP {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return nil
	}
	host, _, _ = strings.Cut(host, "%")
	return net.ParseIP(host)
}

func hostNames() []string {
	n, err := os.Hostname()
	if err != nil || n == "" || strings.EqualFold(n, "localhost") {
		return nil
	}
	return []string{n, n + ".local"}
}

// refuse answers with one line for the person.
func refuse(w http.ResponseWriter, status int, text string) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	json.NewEncoder(w).Encode(map[string]string{"error": text})
}
