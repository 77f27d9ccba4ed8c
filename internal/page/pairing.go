package page

import (
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"net"
	"net/http"

	"rsc.io/qr"
)

// Link is a way for another device to reach the page.
type Link struct {
	Right string `json:"right"` // "look" or "work"
	URL   string `json:"url"`
}

// Links are the pairing links of every address other computers can use: first
// those that let a device work the page, then those that only let it look.
// There are none when the page is on loopback alone.
func (s *Server) Links() []Link {
	if !s.Networked() {
		return nil
	}
	var look, work []Link
	for _, ip := range s.reachable() {
		base := "http://" + net.JoinHostPort(ip.String(), fmt.Sprint(s.addr().Port)) + "/pair/"
		work = append(work, Link{"work", base + s.opt.ChangeToken})
		look = append(look, Link{"look", base + s.opt.ReadToken})
	}
	return append(work, look...)
}

// PairingURL is the link for a device that may work the page, "" on loopback.
func (s *Server) PairingURL() string {
	if l := s.Links(); len(l) > 0 {
		return l[0].URL
	}
	return ""
}

// reachable are this computer's addresses on which the page listens and which
// others can reach, IPv4 first.
func (s *Server) reachable() []net.IP {
	if ip := s.addr().IP; !ip.IsUnspecified() {
		return []net.IP{ip}
	}
	addrs, err := net.InterfaceAddrs()
	if err != nil {
		return nil
	}
	var v4, v6 []net.IP
	for _, a := range addrs {
		n, ok := a.(*net.IPNet)
		if !ok || n.IP.IsLoopback() || n.IP.IsLinkLocalUnicast() {
			continue
		}
		if n.IP.To4() != nil {
			v4 = append(v4, n.IP)
		} else {
			v6 = append(v6, n.IP)
		}
	}
	return append(v4, v6...)
}

// PrintCode writes a link as a QR code in half blocks, dark on light with the
// quiet zone a camera needs, for a terminal of 80 columns.
func PrintCode(w io.Writer, link string) error {
	c, err := qr.Encode(link, qr.L)
	if err != nil {
		return err
	}
	const quiet = 2
	dark := func(x, y int) bool { return x >= 0 && y >= 0 && x < c.Size && y < c.Size && c.Black(x, y) }
	for y := -quiet; y < c.Size+quiet; y += 2 {
		line := make([]rune, 0, c.Size+2*quiet)
		for x := -quiet; x < c.Size+quiet; x++ {
			switch up, down := dark(x, y), dark(x, y+1); {
			case up && down:
				line = append(line, ' ')
			case up:
				line = append(line, '▄')
			case down:
				line = append(line, '▀')
			default:
				line = append(line, '█')
			}
		}
		if _, err := fmt.Fprintf(w, "\x1b[97;40m%s\x1b[0m\n", string(line)); err != nil {
			return err
		}
	}
	return nil
}

// codes is GET /api/codes: the pairing links with their codes as pictures, on
// this computer only.
func (s *Server) codes(w http.ResponseWriter, r *http.Request) {
	if !loopback(r) {
		refuse(w, http.StatusForbidden, "the pairing codes are shown on the bench computer only")
		return
	}
	type code struct {
		Link
		Picture string `json:"picture"`
	}
	all := []code{}
	for _, l := range s.Links() {
		c, err := qr.Encode(l.URL, qr.M)
		if err != nil {
			continue
		}
		all = append(all, code{l, "data:image/png;base64," + base64.StdEncoding.EncodeToString(c.PNG())})
	}
	w.Header().Set("Content-Type", "application/json")
	w.Write(encode(map[string]any{"codes": all}))
}

// paired is answered to a pairing link. It moves on by itself instead of
// redirecting: a strict cookie is not sent along a redirect that began on
// another site (a mail, a chat).
var paired = template.Must(template.New("paired").Parse(`<!doctype html>
<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<meta http-equiv="refresh" content="0; url=/"><link rel="stylesheet" href="/assets/base.css">
<title>Paired</title><main class="plain"><h1>Paired</h1><p><a href="/">To the bench</a></p></main></html>
`))

// pair is GET /pair/TOKEN: the device keeps the token as a cookie that no
// script and no other site can use.
func (s *Server) pair(w http.ResponseWriter, r *http.Request) {
	token := r.PathValue("token")
	may, late := s.keys.check(remoteIP(r), token)
	switch {
	case late:
		tooMany(w)
		return
	case may == nothing:
		unpaired(w, true)
		return
	}
	http.SetCookie(w, &http.Cookie{
		Name: cookieName, Value: token, Path: "/", MaxAge: 365 * 24 * 3600,
		HttpOnly: true, SameSite: http.SameSiteStrictMode,
	})
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	paired.Execute(w, nil)
}
