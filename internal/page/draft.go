package page

import (
	"fmt"
	"net/http"
	"regexp"
	"strings"

	"thouwright/config"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// draft is a job as the page's form holds it: all texts, as a person typed
// them.
type draft struct {
	Number, Customer, Machine, Assembly, Operator, Room string
	Stages                                              []string
	Parts                                               []draftPart
}

// draftPart is a component, from a template or from nothing.
type draftPart struct {
	Template string            // a template's id; empty: the checks below
	Name     string            //
	Places   []string          //
	Gauges   map[string]string // template's role: gauge
	Limits   map[string]string // template's check: its limits or fit
	Source   string            // where the limits come from
	Checks   []draftCheck
	Warmth   draftWarmth            // the part's own
	Warmths  map[string]draftWarmth // template's check, a size: what differs there
}

type draftCheck struct {
	Name, Method, Gauge, Limits, Source, Value, Condition, Strokes, Rule string
	Places                                                               []string
	Warmth                                                               draftWarmth
}

// sheet writes the draft as a job sheet. The first thing that cannot be
// written is the error, naming the part.
func (d draft) sheet() ([]byte, error) {
	j := &config.Job{Number: d.Number, Customer: d.Customer, Machine: d.Machine, Assembly: d.Assembly, Operator: d.Operator, Stages: d.Stages}
	if !config.GoodNumber(j.Number) {
		return nil, fmt.Errorf("the job needs a number: letters, digits, '.', '_' and '-', at most 64, beginning with a letter or digit")
	}
	var err error
	if j.Room, err = typed[quantity.Measured]("room", d.Room); err != nil {
		return nil, err
	}
	for i, p := range d.Parts {
		c, err := p.component(j)
		if err == nil {
			var w config.Thermal
			w, err = p.Warmth.part()
			c.Material, c.Temperature, c.SinceHandling = w.Material, w.Temperature, w.SinceHandling
		}
		if err != nil {
			name := p.Name
			if name == "" {
				name = fmt.Sprintf("part %d", i+1)
			}
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		j.Components = append(j.Components, c)
	}
	return config.WriteJob(j), nil
}

func (p draftPart) component(j *config.Job) (config.Component, error) {
	if p.Template == "" {
		c := config.Component{Name: p.Name}
		for _, k := range p.Checks {
			check, err := k.check(p.Places)
			if err != nil {
				return c, fmt.Errorf("%s: %w", k.Name, err)
			}
			c.Checks = append(c.Checks, check)
		}
		return c, nil
	}
	for _, t := range config.Templates() {
		if t.ID != p.Template {
			continue
		}
		c, err := t.Component(j, p.Name, p.Places, p.Gauges)
		if err != nil {
			return c, err
		}
		for i := range c.Checks {
			k := &c.Checks[i]
			for _, tc := range t.Checks {
				// A derived check is written once for each place: 'clearance, upper'.
				if k.Name != tc.Name && !strings.HasPrefix(k.Name, tc.Name+", ") {
					continue
				}
				err := setLimits(k, p.Limits[tc.Name])
				if w, ok := p.Warmths[tc.Name]; ok && err == nil {
					err = w.on(k)
				}
				if err != nil {
					return c, fmt.Errorf("%s: %w", tc.Name, err)
				}
			}
			if k.Limits != nil || k.Fit != "" {
				k.Source = p.Source
			}
		}
		return c, nil
	}
	return config.Component{}, fmt.Errorf("there is no template %q", p.Template)
}

func (k draftCheck) check(places []string) (config.Check, error) {
	c := config.Check{Name: k.Name, Method: k.Method, Gauge: k.Gauge, Source: k.Source, Value: k.Value, Condition: k.Condition, Positions: k.Places}
	if len(c.Positions) == 0 && k.Method != "derived" {
		c.Positions = places
	}
	if k.Strokes != "" {
		if _, err := fmt.Sscanf(k.Strokes, "%d", &c.Strokes); err != nil || c.Strokes < 1 {
			return c, fmt.Errorf("%q is not a number of strokes", k.Strokes)
		}
	}
	if k.Rule != "" {
		c.Rule = metrology.Rule(k.Rule)
	}
	if err := k.Warmth.on(&c); err != nil {
		return c, err
	}
	return c, setLimits(&c, k.Limits)
}

// fitForm tells a fit, '32 H7/g6' or one class of it, '32 H7', from a range.
var fitForm = regexp.MustCompile(`^[0-9.]+ *[A-Za-z]{1,2}[0-9]{1,2}( */ *[A-Za-z]{1,2}[0-9]{1,2})?$`)

// setLimits reads '0.009..0.050 mm' or a fit.
func setLimits(c *config.Check, text string) error {
	text = strings.TrimSpace(text)
	switch {
	case text == "":
		return nil
	case fitForm.MatchString(text):
		c.Fit = text
		return nil
	}
	r, err := quantity.ParseRange(text)
	if err != nil {
		return err
	}
	c.Limits = &r
	return nil
}

// templates is GET /api/templates: what a job can be made from.
func templates(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "application/json")
	w.Write(encode(map[string]any{"templates": config.Templates()}))
}

// drafted is POST /api/draft: the sheet's text, not yet kept. It changes
// nothing.
func drafted(w http.ResponseWriter, r *http.Request) {
	var d draft
	if !readJSON(w, r, sheetBytes, &d) {
		return
	}
	text, err := d.sheet()
	if err != nil {
		refuse(w, http.StatusUnprocessableEntity, err.Error())
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Write(encode(map[string]string{"number": d.Number, "text": string(text)}))
}
