package record

import (
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"thouwright/internal/ledger"
)

//go:embed record.html
var htmlText string

//go:embed record.css
var cssText string

var page = template.Must(template.New("record").Funcs(template.FuncMap{
	"css":     func() template.CSS { return template.CSS(cssText) },
	"pct":     func(v float64) string { return fmt.Sprintf("%.2f", 100*v) },
	"width":   func(a, b float64) string { return fmt.Sprintf("%.2f", 100*math.Max(0.4*0.01, b-a)) },
	"day":     func(t time.Time) string { return t.Format("2 January 2006") },
	"moment":  func(t time.Time) string { return t.Format("2006-01-02 15:04:05 UTC") },
	"word":    verdictWord,
	"num":     ledger.Number,
	"percent": percent,
	"dict":    dict,
}).Parse(htmlText))

// dict passes several things to a part of the template.
func dict(pairs ...any) map[string]any {
	m := make(map[string]any, len(pairs)/2)
	for i := 0; i+1 < len(pairs); i += 2 {
		m[pairs[i].(string)] = pairs[i+1]
	}
	return m
}

func verdictWord(v ledger.Verdict) string {
	if v == ledger.NoVerdict {
		return "measured"
	}
	return string(v)
}

// percent writes a probability so that what is nearly sure is not called sure.
func percent(p float64) string {
	switch {
	case math.IsNaN(p):
		return ""
	case p > 0.999:
		return "over 99.9 %"
	case p < 0.001:
		return "under 0.1 %"
	}
	return fmt.Sprintf("%.1f %%", 100*p)
}

// view is what the template sees.
type view struct {
	*Record
	Plots  map[*Take]template.HTML
	Photos map[string]template.URL
	Made   time.Time
}

// HTML writes the record as one file that needs nothing else and runs nothing.
func (r *Record) HTML(w io.Writer, o Options) error {
	v := view{Record: r, Plots: map[*Take]template.HTML{}, Photos: map[string]template.URL{}, Made: o.Made}
	for _, t := range r.AllTakes() {
		svg, err := r.plotSVG(t)
		if err != nil {
			return err
		}
		v.Plots[t] = template.HTML(svg) // drawn here, from numbers
	}
	for _, f := range r.Findings {
		if f.Photo == "" {
			continue
		}
		if url, ok := r.photo(f.Photo); ok {
			v.Photos[f.Photo] = url
		}
	}
	return page.Execute(w, v)
}

// AllTakes are all takes, in the order in which they were made.
func (r *Record) AllTakes() []*Take {
	// By the row and not by its number: in a damaged log two rows can bear one.
	byRow := map[*ledger.Take]*Take{}
	for _, c := range r.Checks {
		for _, p := range c.Places {
			for i := range p.At {
				for _, t := range p.At[i].Earlier {
					byRow[t.Take] = t
				}
				if t := p.At[i].Take; t != nil {
					byRow[t.Take] = t
				}
			}
		}
	}
	var out []*Take
	for i := range r.folder.Takes {
		if t := byRow[&r.folder.Takes[i]]; t != nil {
			out = append(out, t)
		}
	}
	return out
}

// mostPhoto bounds a photograph that is put into a document.
const mostPhoto = 12 << 20

// readPhoto reads a photograph of the job's folder. A name that leads out of
// the folder, or a file that is no picture, is refused.
func (r *Record) readPhoto(name string) (data []byte, kind string, err error) {
	if !filepath.IsLocal(name) {
		return nil, "", fmt.Errorf("photograph %q lies outside the job's folder", name)
	}
	root, err := os.OpenRoot(r.folder.Dir)
	if err != nil {
		return nil, "", err
	}
	defer root.Close()
	f, err := root.Open(name)
	if err != nil {
		return nil, "", err
	}
	defer f.Close()
	if data, err = io.ReadAll(io.LimitReader(f, mostPhoto+1)); err != nil {
		return nil, "", err
	}
	kind = http.DetectContentType(data)
	if len(data) > mostPhoto || kind != "image/jpeg" && kind != "image/png" {
		return nil, "", fmt.Errorf("photograph %q: expected a JPEG or PNG of at most 12 MB", name)
	}
	return data, kind, nil
}

func (r *Record) photo(name string) (template.URL, bool) {
	data, kind, err := r.readPhoto(name)
	if err != nil {
		return "", false
	}
	return template.URL("data:" + kind + ";base64," + base64.StdEncoding.EncodeToString(data)), true
}
