package page

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"
)

// fromAfar marks a request as one that another program passed on: it is then
// treated like one from another computer, which a test on loopback cannot be.
const fromAfar = "X-Forwarded-For: 192.0.2.7"

// raw sends bytes as they are and returns the answer's status line.
func raw(t *testing.T, s *Server, text string) string {
	t.Helper()
	c, err := net.Dial("tcp", s.addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	c.SetDeadline(time.Now().Add(20 * time.Second))
	io.WriteString(c, text)
	line, err := bufio.NewReader(c).ReadString('\n')
	if err != nil && line == "" {
		return "closed"
	}
	return strings.TrimSpace(line)
}

// Names that are not this computer's are refused, whatever is asked for: that
// is how a foreign site would reach a bench through the visitor's browser.
func TestForeignHost(t *testing.T) {
	d := newFakeDesk()
	s := serve(t, d, Options{ChangeToken: "c", ReadToken: "r"})
	port := fmt.Sprint(s.addr().Port)
	wanted := map[string]int{
		"127.0.0.1:" + port: 200, "localhost:" + port: 200, "LOCALHOST": 200, "localhost.": 200,
		"evil.example": 403, "evil.example:" + port: 403, "127.0.0.1.evil.example": 403, "localhost.evil.example": 403,
		"192.168.1.9": 403, "[::1]": 403, "0.0.0.0": 403, "127.0.0.2": 403, "127.1": 403, "2130706433": 403,
	}
	for _, name := range hostNames() {
		wanted[name+":"+port] = 200
	}
	for host, want := range wanted {
		for _, path := range []string{"", "api/state", "healthz", "assets/base.css"} {
			if code, body, _ := ask(t, "GET", s.URL()+path, "", "Host: "+host); code != want {
				t.Errorf("GET /%s as %q: %d %s, want %d", path, host, code, body, want)
			}
		}
		if want == 403 {
			if code, _, _ := ask(t, "POST", s.URL()+"api/accept", "{}", "Host: "+host, "Authorization: Bearer c", isJSON); code != want {
				t.Errorf("POST as %q: %d", host, code)
			}
		}
	}
	if n := len(d.commands()); n != 0 {
		t.Errorf("%d commands were carried out", n)
	}
	if got := raw(t, s, "GET / HTTP/1.0\r\n\r\n"); !strings.Contains(got, "403") {
		t.Errorf("no Host at all: %s", got)
	}
}

// Requests that another site caused are refused, with and without the token.
func TestForeignOrigin(t *testing.T) {
	d := newFakeDesk()
	s := serve(t, d, Options{ChangeToken: "c", ReadToken: "r"})
	own := strings.TrimSuffix(s.URL(), "/")
	for _, c := range []struct {
		header string
		want   int
	}{
		{"Origin: " + own, 200}, {"Sec-Fetch-Site: same-origin", 200}, {"Sec-Fetch-Site: none", 200},
		{"Origin: http://evil.example", 403}, {"Origin: null", 403}, {"Origin: https" + own[4:], 403}, {"Origin: http://127.0.0.1", 403},
		{"Origin: http://localhost:" + fmt.Sprint(s.addr().Port), 403}, {"Origin: " + own + ".evil.example", 403}, {"Origin: %zz", 403},
		{"Sec-Fetch-Site: cross-site", 403}, {"Sec-Fetch-Site: same-site", 403},
	} {
		if code, body, _ := ask(t, "POST", s.URL()+"api/accept", "{}", c.header, "Authorization: Bearer c", isJSON); code != c.want {
			t.Errorf("POST with %s: %d %s, want %d", c.header, code, body, c.want)
		}
		if code, _, _ := ask(t, "GET", s.URL()+"api/state", "", c.header); code != c.want {
			t.Errorf("GET with %s: %d, want %d", c.header, code, c.want)
		}
	}
	if n := len(d.commands()); n != 3 {
		t.Errorf("%d commands were carried out, want the 3 of its own page", n)
	}
	// A link from elsewhere may open the page, but not the state or a record.
	link := []string{"Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: navigate", "Sec-Fetch-Dest: document"}
	for path, want := range map[string]int{"": 200, "api/state": 403, "events": 403, "record/x/csv": 403} {
		if code, _, _ := ask(t, "GET", s.URL()+path, "", link...); code != want {
			t.Errorf("a link to /%s: %d, want %d", path, code, want)
		}
	}
	if code, _, _ := ask(t, "GET", s.URL(), "", "Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: navigate", "Sec-Fetch-Dest: iframe"); code != 403 {
		t.Errorf("the page in a frame of another site: %d", code)
	}
}

// From another computer reading takes a token and changing takes the other.
func TestTokensFromAfar(t *testing.T) {
	d := newFakeDesk()
	s := serve(t, d, Options{ChangeToken: "change", ReadToken: "read"})
	for _, c := range []struct {
		path, header string
		want         int
	}{
		{"", "", 401}, {"events", "", 401}, {"api/state", "", 401}, {"api/sums", "", 401}, {"api/templates", "", 401}, {"api/codes", "", 403}, {"record/x/html", "", 404},
		{"assets/base.css", "", 200}, {"healthz", "", 200},
		{"api/state", "Authorization: Bearer read", 200}, {"api/state", "Authorization: bearer change", 200}, {"api/state", "Cookie: thouwright=read", 200},
		{"api/state", "Authorization: Basic read", 401}, {"api/state", "Cookie: thouwright=", 401}, {"api/state", "Authorization: Bearer wrong", 401},
		{"api/codes", "Authorization: Bearer change", 403}, {"api/state?token=read", "", 401},
	} {
		h := []string{fromAfar}
		if c.header != "" {
			h = append(h, c.header)
		}
		if code, body, _ := ask(t, "GET", s.URL()+c.path, "", h...); code != c.want {
			t.Errorf("/%s with %q: %d %s, want %d", c.path, c.header, code, body, c.want)
		}
	}
	// The page brings the changing token to those who may change, and to no one else.
	for cookie, want := range map[string]bool{"read": false, "change": true} {
		_, body, _ := ask(t, "GET", s.URL(), "", fromAfar, "Cookie: thouwright="+cookie)
		if got := strings.Contains(body, `content="change"`); got != want {
			t.Errorf("paired with %s the page holds the changing token: %v", cookie, got)
		}
	}
	if _, body, _ := ask(t, "GET", s.URL(), ""); !strings.Contains(body, `content="change"`) {
		t.Error("on loopback the page does not bring the changing token")
	}
}

func TestPairingLinkSetsStrictCookie(t *testing.T) {
	s := serve(t, newFakeDesk(), Options{ChangeToken: "change", ReadToken: "read"})
	code, body, h := ask(t, "GET", s.URL()+"pair/read", "", fromAfar)
	c, err := http.ParseSetCookie(h.Get("Set-Cookie"))
	if err != nil || code != 200 || !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/" || c.Value != "read" {
		t.Errorf("pairing: %d, cookie %+v, %v", code, c, err)
	}
	if strings.Contains(body, "read\"") || strings.Contains(h.Get("Location"), "read") {
		t.Error("the token is handed on")
	}
	if code, _, h := ask(t, "GET", s.URL()+"pair/guess", "", fromAfar); code != 401 || h.Get("Set-Cookie") != "" {
		t.Errorf("a wrong pairing link: %d %s", code, h.Get("Set-Cookie"))
	}
}

// Guessing: after a handful of wrong tokens an address waits, the right token
// included; the bench's own page is not touched by it.
func TestGuessingIsSlow(t *testing.T) {
	d := newFakeDesk()
	s := serve(t, d, Options{ChangeToken: "change", ReadToken: "read"})
	codes := map[int]int{}
	for i := 0; i < 50; i++ {
		code, _, _ := ask(t, "POST", s.URL()+"api/accept", "{}", fmt.Sprintf("Authorization: Bearer guess-%d", i), isJSON)
		codes[code]++
	}
	if codes[401] > guessBurst+2 || codes[429] < 35 {
		t.Errorf("50 guesses were answered %v", codes)
	}
	if code, _, h := ask(t, "POST", s.URL()+"api/accept", "{}", "Authorization: Bearer change", isJSON); code != 429 || h.Get("Retry-After") == "" {
		t.Errorf("while it waits the right token gives %d", code)
	}
	if code, _, _ := ask(t, "GET", s.URL()+"api/state", ""); code != 200 {
		t.Errorf("looking on loopback: %d", code)
	}
	if len(d.commands()) != 0 {
		t.Error("a guess got through")
	}
	// What is remembered of guessers is bounded.
	for i := 0; i < 3*guessers; i++ {
		s.keys.check(net.IPv4(10, byte(i>>16), byte(i>>8), byte(i)), "x")
	}
	if n := len(s.keys.tries); n > guessers {
		t.Errorf("%d addresses are remembered", n)
	}
}

// Paths lead nowhere but where they should; nothing lists a folder.
func TestPathTricks(t *testing.T) {
	s := serve(t, newFakeDesk(), Options{
		Record: func(io.Writer, string, string) error { t.Error("a crooked path reached the record"); return nil },
		Sheet:  func(string) ([]byte, error) { t.Error("a crooked path reached a sheet"); return nil, nil },
	})
	for _, p := range []string{
		"/assets/", "/assets", "/assets/..", "/assets/../page.go", "/assets/%2e%2e/page.go", "/assets/..%2f..%2fpage.go", "/assets/....//", "/assets/page.html", "/assets/nothing.js",
		"//etc/passwd", "/../../etc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "/assets/%00", "/assets/base.css%00.js", `/assets/..\..\page.go`,
		"/record/../x/html", "/record/%2e%2e/html", "/record/..%2f..%2fetc/html", "/record/x/exe", "/record/" + strings.Repeat("n", 300) + "/html", "/record/a%2fb/html",
		"/api/sheet/..", "/api/sheet/%2e%2e%2fpasswd", "/api/sheet/.hidden", "/api/", "/api/unknown", "/sums/../x.svg", "/sums/none.svg", "/.git/config", "/debug/pprof/", "/metrics", "/pair/",
	} {
		got := raw(t, s, "GET "+p+" HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n")
		if strings.Contains(got, " 200 ") {
			t.Errorf("%s: %s", p, got)
		}
	}
	for _, m := range []string{"PUT", "DELETE", "OPTIONS", "TRACE", "CONNECT", "PATCH", "BREW"} {
		if got := raw(t, s, m+" / HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n"); strings.Contains(got, " 200 ") {
			t.Errorf("%s: %s", m, got)
		}
	}
}

// Every answer carries the same armour, refusals included.
func TestHeaders(t *testing.T) {
	s := serve(t, newFakeDesk(), Options{})
	for _, p := range []string{"", "api/state", "assets/main.js", "nothing", "api/codes"} {
		_, _, h := ask(t, "GET", s.URL()+p, "")
		csp := h.Get("Content-Security-Policy")
		for _, want := range []string{"default-src 'none'", "script-src 'self'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'none'"} {
			if !strings.Contains(csp, want) {
				t.Errorf("/%s: the policy lacks %s", p, want)
			}
		}
		if strings.Contains(csp, "unsafe") || strings.Contains(csp, "*") {
			t.Errorf("/%s: the policy has holes: %s", p, csp)
		}
		for k, v := range map[string]string{"X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "no-referrer", "Cross-Origin-Resource-Policy": "same-origin"} {
			if h.Get(k) != v {
				t.Errorf("/%s: %s is %q", p, k, h.Get(k))
			}
		}
		if h.Get("Access-Control-Allow-Origin") != "" || h.Get("Server") != "" {
			t.Errorf("/%s: %v", p, h)
		}
	}
}

// Large and slow requests end by themselves and cost nobody else anything.
func TestLargeAndSlow(t *testing.T) {
	s := serve(t, newFakeDesk(), Options{ChangeToken: "c", ReadToken: "r"})
	if got := raw(t, s, "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX: "+strings.Repeat("x", headerBytes+8192)+"\r\n\r\n"); strings.Contains(got, " 200 ") {
		t.Errorf("large headers: %s", got)
	}
	if got := raw(t, s, "GET /"+strings.Repeat("a", 1<<20)+" HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"); strings.Contains(got, " 200 ") {
		t.Errorf("a long path: %s", got)
	}
	for _, body := range []string{`{"text":"` + strings.Repeat("x", 1<<20), strings.Repeat("[", 1<<16), strings.Repeat(`{"a":`, 1<<13)} {
		code, _, _ := ask(t, "POST", s.URL()+"api/note", body, "Authorization: Bearer c", isJSON)
		if code != 413 && code != 400 {
			t.Errorf("a body %.12q…: %d", body, code)
		}
	}
	// A header that never ends is cut off by its deadline, and until then others are served.
	c, err := net.Dial("tcp", s.addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	io.WriteString(c, "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
	for i := 0; i < 3; i++ {
		io.WriteString(c, "a")
		if code, _, _ := ask(t, "GET", s.URL()+"healthz", ""); code != 200 {
			t.Errorf("meanwhile another gets %d", code)
		}
		time.Sleep(50 * time.Millisecond)
	}
	c.SetReadDeadline(time.Now().Add(headerTime + 20*time.Second))
	b, err := io.ReadAll(c)
	var late net.Error
	if errors.As(err, &late) && late.Timeout() || strings.Contains(string(b), " 200 ") {
		t.Errorf("a header that never ends was not cut off: %v %q", err, b)
	}
}

// However many connections strangers open, they are bounded, and the bench's
// own screen still gets in.
func TestManyConnections(t *testing.T) {
	g := newGate()
	stranger, other := net.IPv4(192, 0, 2, 1), func(i int) net.IP { return net.IPv4(192, 0, 3, byte(i)) }
	n := 0
	var leaves []func()
	enter := func(ip net.IP) bool {
		leave, ok := g.enter(ip)
		if ok {
			leaves = append(leaves, leave)
		}
		return ok
	}
	for i := 0; i < 10000; i++ {
		if enter(stranger) {
			n++
		}
	}
	if n != connsFrom {
		t.Errorf("one address holds %d connections, want %d", n, connsFrom)
	}
	for i := 0; i < 10000; i++ {
		if enter(other(i % 250)) {
			n++
		}
	}
	if n != connsOutside {
		t.Errorf("strangers hold %d connections, want %d", n, connsOutside)
	}
	if !enter(net.IPv4(127, 0, 0, 1)) {
		t.Error("the bench's own screen is shut out")
	}
	for _, leave := range leaves {
		leave()
		leave() // twice is once
	}
	if g.all != 0 || g.outside != 0 || len(g.from) != 0 {
		t.Errorf("after all left: %+v", g)
	}
}

// A thousand real connections on loopback: no more than the bound are held,
// and when they go the page answers again.
func TestRealFlood(t *testing.T) {
	s := serve(t, newFakeDesk(), Options{})
	var held []net.Conn
	for i := 0; i < connsAll+200; i++ {
		c, err := net.Dial("tcp", s.addr().String())
		if err != nil {
			break
		}
		held = append(held, c)
	}
	open := 0
	for _, c := range held {
		c.SetReadDeadline(time.Now().Add(time.Millisecond))
		var late net.Error
		if _, err := c.Read(make([]byte, 1)); errors.As(err, &late) && late.Timeout() {
			open++
		}
	}
	if open > connsAll {
		t.Errorf("%d connections are open, want at most %d", open, connsAll)
	}
	for _, c := range held {
		c.Close()
	}
	for i := 0; ; i++ {
		res, err := (&http.Transport{DisableKeepAlives: true}).RoundTrip(must(http.NewRequest("GET", s.URL()+"healthz", nil)))
		if err == nil {
			res.Body.Close()
			break
		}
		if i > 100 {
			t.Fatal("the page does not answer after the flood:", err)
		}
		time.Sleep(50 * time.Millisecond)
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// Event streams left open are bounded too.
func TestManyStreams(t *testing.T) {
	s := serve(t, newFakeDesk(), Options{ReadToken: "r", ChangeToken: "c"})
	full := 0
	for i := 0; i < streamsALot+8; i++ {
		r, _ := http.NewRequest("GET", s.URL()+"events", nil)
		r.Header.Set("X-Forwarded-For", "192.0.2.7")
		r.Header.Set("Authorization", "Bearer r")
		res, err := http.DefaultTransport.RoundTrip(r)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		if res.StatusCode == 503 {
			full++
		}
	}
	if full != 8 {
		t.Errorf("%d streams were refused, want 8", full)
	}
	watch(t, s).next() // the bench's own screen still gets in
}

// The record is shown shut in, and what its name holds cannot break a header.
func TestRecordIsShutIn(t *testing.T) {
	s := serve(t, newFakeDesk(), Options{Record: func(w io.Writer, number, format string) error {
		if number == "gone" {
			return errors.New("job gone has no folder yet: measure first")
		}
		io.WriteString(w, "<script>alert(1)</script>")
		return nil
	}})
	code, body, h := ask(t, "GET", s.URL()+"record/T28-014/html", "")
	if code != 200 || !strings.Contains(body, "script") {
		t.Fatalf("%d %s", code, body)
	}
	if csp := h.Get("Content-Security-Policy"); !strings.Contains(csp, "sandbox") || strings.Contains(csp, "script-src") || !strings.Contains(csp, "default-src 'none'") {
		t.Errorf("the record's policy: %s", csp)
	}
	if _, _, h := ask(t, "GET", s.URL()+"record/T28-014/pdf", ""); h.Get("Content-Disposition") != `attachment; filename="T28-014.pdf"` || h.Get("Content-Type") != "application/pdf" {
		t.Errorf("download: %v", h)
	}
	if _, _, h := ask(t, "GET", s.URL()+"record/T28-014/bundle", ""); h.Get("Content-Disposition") != `attachment; filename="T28-014.zip"` || h.Get("Content-Type") != "application/zip" {
		t.Errorf("the bundle's header: %v", h)
	}
	if code, body, _ := ask(t, "GET", s.URL()+"record/gone/html", ""); code != 422 || !strings.Contains(body, "measure first") {
		t.Errorf("a record that cannot be made: %d %s", code, body)
	}
}
