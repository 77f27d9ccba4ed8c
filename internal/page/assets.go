package page

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"strings"
)

//go:embed assets
var files embed.FS

// loaded is one file of the page as it is served.
type loaded struct {
	body []byte
	kind string
	etag string
}

var kinds = map[string]string{
	".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8", ".svg": "image/svg+xml",
	".woff2": "font/woff2",
}

// assets are the page's files by name; nothing else is served, so no path
// leads anywhere.
var assets, assetVersion = loadAssets()

func loadAssets() (map[string]loaded, string) {
	all := map[string]loaded{}
	sum := sha256.New()
	err := fs.WalkDir(files, "assets", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := files.ReadFile(name)
		if err != nil {
			return err
		}
		sum.Write(b)
		h := sha256.Sum256(b)
		all[path.Base(name)] = loaded{b, kinds[path.Ext(name)], `"` + hex.EncodeToString(h[:8]) + `"`}
		return nil
	})
	if err != nil {
		panic(err)
	}
	return all, hex.EncodeToString(sum.Sum(nil)[:6])
}

func asset(w http.ResponseWriter, r *http.Request) { serveAsset(w, r, r.PathValue("file")) }

func serveAsset(w http.ResponseWriter, r *http.Request, name string) {
	a, ok := assets[name]
	if !ok || a.kind == "" {
		refuse(w, http.StatusNotFound, "nothing is here")
		return
	}
	h := w.Header()
	h.Set("Cache-Control", "no-cache")
	h.Set("ETag", a.etag)
	if strings.Contains(r.Header.Get("If-None-Match"), a.etag) {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	h.Set("Content-Type", a.kind)
	if r.Method != http.MethodHead {
		w.Write(a.body)
	}
}

var shell = template.Must(template.ParseFS(files, "assets/page.html"))

// home is GET /: the page, with what this screen may do. The changing token is
// in it for the bench computer and for devices paired to work.
func (s *Server) home(w http.ResponseWriter, r *http.Request) {
	may := changing
	if !loopback(r) {
		var had, late bool
		if may, had, late = s.rights(r); late {
			tooMany(w)
			return
		}
		if may == nothing {
			w.Header().Set("WWW-Authenticate", `Bearer realm="bench"`)
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			w.WriteHeader(http.StatusUnauthorized)
			unpairedPage.Execute(w, had)
			return
		}
	}
	v := struct {
		Token, Version string
		Home           bool
	}{Version: s.version, Home: loopback(r)}
	if may == changing {
		v.Token = s.opt.ChangeToken
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	shell.Execute(w, v)
}

var unpairedPage = template.Must(template.New("unpaired").Parse(`<!doctype html>
<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<link rel="stylesheet" href="/assets/base.css"><title>Not paired</title>
<main class="plain"><h1>Not paired</h1>{{if .}}<p>This device was paired before; the bench has new codes now.</p>{{end}}
<p>On the bench computer open this page, choose <b>Screens</b>, and scan the code there with this device.</p></main></html>
`))
