package record

import (
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"time"

	"gonum.org/v1/plot/vg"

	"thouwright/internal/ledger"
)

//go:embed record.html
var htmlText string

//go:embed record.css
var cssText string

var page = template.Must(template.New("record").Funcs(template.FuncMap{
	"css":      func() template.CSS { return template.CSS(cssText) },
	"moment":   func(t time.Time) string { return t.Format("2006-01-02 15:04:05") },
	"word":     verdictWord,
	"sentence": sentence,
	"dict":     dict,
}).Parse(htmlText))

// dict passes several things to a part of the template.
func dict(pairs ...any) map[string]any {
	m := make(map[string]any, len(pairs)/2)
	for i := 0; i+1 < len(pairs); i += 2 {
		m[pairs[i].(string)] = pairs[i+1]
	}
	return m
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

// view is what the template sees. Drawings and photographs are made as they are
// asked for, so that one at a time is held.
type view struct {
	*Record
	Made time.Time
}

// HTML writes the record as one file that needs nothing else and runs nothing.
func (r *Record) HTML(w io.Writer, o Options) error { return page.Execute(w, view{r, o.Made}) }

// HowToRead explains what the figures mean.
func (v view) HowToRead() string { return howToRead }

// Closing is the foot of the document.
func (v view) Closing() string { return Closing(v.Record, v.Made) }

// Sizes of the drawings, whose proportions and letters are made for them.
const (
	scaleWide     = 56 * vg.Millimeter
	takeWide      = 108 * vg.Millimeter
	takeTall      = 48 * vg.Millimeter
	variationWide = 150 * vg.Millimeter
)

func drawing(p picture) (template.HTML, error) {
	s, err := p.svg()
	return template.HTML(s), err // drawn here, from numbers
}

// Scale is an outcome against its permitted range.
func (v view) Scale(p *Place, o *Outcome) (template.HTML, error) {
	return drawing(scaleOf(p, o, scaleWide))
}

// Plot is a take's plot, "" where there is nothing to draw.
func (v view) Plot(t *Take) (template.HTML, error) {
	p, ok := v.plotOf(t, takeWide, takeTall)
	if !ok {
		return "", nil
	}
	return drawing(p)
}

// Variation is a check over its positions, "" where there is nothing to compare.
func (v view) Variation(c *Check) (template.HTML, error) {
	p, ok := v.variationOf(c, variationWide)
	if !ok {
		return "", nil
	}
	return drawing(p)
}

// Photo is a photograph as a part of the page, "" where there is none to show.
func (v view) Photo(name string) template.URL {
	data, _, err := v.photo(name)
	if err != nil {
		return ""
	}
	return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(data))
}

// Groups are the checks by component, in their order.
func (r *Record) Groups() (out []Group) {
	for i, c := range r.Checks {
		if i == 0 || out[len(out)-1].Component != c.Component {
			out = append(out, Group{Component: c.Component})
		}
		g := &out[len(out)-1]
		g.Places = append(g.Places, c.Places...)
	}
	return out
}

// Group is a component with its places.
type Group struct {
	Component string
	Places    []*Place
}

// Made are all takes of a check, place by place.
func (c *Check) Made() []*Take { return c.made() }

// AllTakes are all takes, in the order in which they were made.
func (r *Record) AllTakes() []*Take {
	// By the row and not by its number: in a damaged log two rows can bear one.
	byRow := map[*ledger.Take]*Take{}
	for _, c := range r.Checks {
		for _, t := range c.made() {
			byRow[t.Take] = t
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
