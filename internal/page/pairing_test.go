package page

import (
	"bytes"
	"strings"
	"testing"

	"rsc.io/qr"
)

// The code on the terminal holds exactly the modules of the link's code, with
// its quiet zone.
func TestPrintCode(t *testing.T) {
	const link = "http://192.168.1.20:8417/pair/AbCdEfGhIjKlMnOpQrStUvWx"
	var b bytes.Buffer
	if err := PrintCode(&b, link); err != nil {
		t.Fatal(err)
	}
	c, err := qr.Encode(link, qr.L)
	if err != nil {
		t.Fatal(err)
	}
	var rows []string
	for _, l := range strings.Split(strings.TrimRight(b.String(), "\n"), "\n") {
		l = strings.TrimSuffix(strings.TrimPrefix(l, "\x1b[97;40m"), "\x1b[0m")
		up, down := "", ""
		for _, r := range l {
			switch r {
			case '█':
				up, down = up+".", down+"."
			case '▀':
				up, down = up+".", down+"#"
			case '▄':
				up, down = up+"#", down+"."
			case ' ':
				up, down = up+"#", down+"#"
			default:
				t.Fatalf("unexpected %q", r)
			}
		}
		rows = append(rows, up, down)
	}
	for y := 0; y < c.Size; y++ {
		for x := 0; x < c.Size; x++ {
			if got := rows[y+2][x+2] == '#'; got != c.Black(x, y) {
				t.Fatalf("module %d,%d is %v", x, y, got)
			}
		}
	}
	if strings.Contains(rows[0]+rows[1], "#") || rows[2][:2] != ".." || len(rows[0]) > 80 {
		t.Error("the quiet zone is missing, or the code is too wide for a terminal")
	}
}

func TestPairingLinksOnlyOnANetwork(t *testing.T) {
	if s := serve(t, newFakeDesk(), Options{}); s.PairingURL() != "" || s.Networked() {
		t.Errorf("on loopback: %q", s.PairingURL())
	}
	s := serve(t, newFakeDesk(), Options{Listen: "0.0.0.0:0", ReadToken: "look", ChangeToken: "work"})
	if !s.Networked() || !strings.HasPrefix(s.URL(), "http://127.0.0.1:") {
		t.Errorf("on the network: %v %s", s.Networked(), s.URL())
	}
	for _, l := range s.Links() {
		if strings.HasSuffix(l.URL, "/pair/work") != (l.Right == "work") || strings.Contains(l.URL, "127.0.0.1") {
			t.Errorf("link %+v", l)
		}
		// The computer's own network address is not loopback: it takes a token.
		base := l.URL[:strings.Index(l.URL, "/pair/")]
		if strings.Contains(base, "[") {
			continue
		}
		if code, _, _ := ask(t, "GET", base+"/api/state", ""); code != 401 {
			t.Errorf("%s without a token: %d", base, code)
		}
		if code, _, _ := ask(t, "GET", base+"/api/state", "", "Authorization: Bearer look"); code != 200 {
			t.Errorf("%s with the token: %d", base, code)
		}
	}
}
