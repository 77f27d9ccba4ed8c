package page

import (
	"errors"
	"net/http"
	"strings"

	"thouwright/internal/quantity"
	"thouwright/internal/sums"
)

var errNotLength = errors.New("answers are in a unit of length: mm, um, in or thou")

// sumForm is a sum's definition as the page's form is drawn from it: the same
// one from which the command line is made.
type sumForm struct {
	Verb     string     `json:"verb"`
	Title    string     `json:"title"`
	About    string     `json:"about"`
	Formula  string     `json:"formula"`
	Source   string     `json:"source"`
	Cautions []string   `json:"cautions"`
	Fields   []sumField `json:"fields"`
}

type sumField struct {
	Name     string   `json:"name"`
	Label    string   `json:"label"`
	Kind     string   `json:"kind"` // text, number, choice, switch
	Unit     string   `json:"unit"`
	Required bool     `json:"required"`
	Default  string   `json:"default"`
	Help     string   `json:"help"`
	Example  string   `json:"example"`
	Many     bool     `json:"many"`
	Choices  []string `json:"choices"`
}

func formOf(s sums.Sum) sumForm {
	f := sumForm{Verb: s.Verb, Title: s.Title, About: noFlags(s.About), Formula: s.Formula, Source: s.Source, Cautions: s.Cautions}
	for _, x := range s.Fields {
		kind := "text"
		switch x.Kind {
		case sums.Number, sums.Count, sums.Share:
			kind = "number"
		case sums.Choice:
			kind = "choice"
		case sums.Switch:
			kind = "switch"
		}
		f.Fields = append(f.Fields, sumField{x.Name, x.Label, kind, x.Unit.String(), x.Required, x.Default, noFlags(x.Help), x.Example, x.Many, x.Choices})
	}
	return f
}

// noFlags says a text of the command line for a form, which has fields, not
// flags: "--housing-od" is "housing-od" there.
func noFlags(s string) string { return strings.ReplaceAll(s, "--", "") }

func allNoFlags(l []string) []string {
	out := make([]string, len(l))
	for i, s := range l {
		out[i] = noFlags(s)
	}
	return out
}

func (s *Server) sumPaths(mux *http.ServeMux) {
	mux.HandleFunc("GET /api/sums", s.readers(sumForms))
	mux.HandleFunc("GET /sums/{picture}", s.readers(sumPicture))
	mux.HandleFunc("POST /api/sums/{verb}", s.readers(sumDone))
}

// sumForms is GET /api/sums: every sum's definition.
func sumForms(w http.ResponseWriter, r *http.Request) {
	all := []sumForm{}
	for _, x := range sums.All() {
		all = append(all, formOf(x))
	}
	w.Header().Set("Content-Type", "application/json")
	w.Write(encode(map[string]any{"sums": all}))
}

// sumPicture is GET /sums/VERB.svg: the geometry.
func sumPicture(w http.ResponseWriter, r *http.Request) {
	verb, ok := strings.CutSuffix(r.PathValue("picture"), ".svg")
	x, found := sums.Find(verb)
	if !ok || !found || x.Picture == "" {
		refuse(w, http.StatusNotFound, "nothing is here")
		return
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	svg := x.Picture
	if !strings.Contains(svg, "xmlns=") {
		svg = strings.Replace(svg, "<svg ", `<svg xmlns="http://www.w3.org/2000/svg" `, 1)
	}
	w.Write([]byte(svg))
}

// sumDone is POST /api/sums/VERB {fields, unit}: the answer in words. It
// changes nothing, so readers may.
func sumDone(w http.ResponseWriter, r *http.Request) {
	x, found := sums.Find(r.PathValue("verb"))
	if !found {
		refuse(w, http.StatusNotFound, "there is no such sum")
		return
	}
	var in struct {
		Fields sums.Inputs
		Unit   string
	}
	if !readJSON(w, r, bodyBytes, &in) {
		return
	}
	unit, err := quantity.ParseUnit(in.Unit)
	if err == nil && unit != quantity.None && !unit.IsLength() {
		err = errNotLength
	}
	var a *sums.Answer
	if err == nil {
		a, err = x.Run(in.Fields, unit)
	}
	if err != nil {
		refuse(w, http.StatusUnprocessableEntity, noFlags(err.Error()))
		return
	}
	type line struct {
		Label string `json:"label"`
		Text  string `json:"text"`
	}
	out := struct {
		Title    string   `json:"title"`
		Formula  string   `json:"formula"`
		Source   string   `json:"source"`
		Given    []line   `json:"given"`
		Results  []line   `json:"results"`
		Notes    []string `json:"notes"`
		Assumes  []string `json:"assumes"`
		Cautions []string `json:"cautions"`
		Failed   bool     `json:"failed"`
	}{Title: a.Title, Formula: a.Formula, Source: a.Source, Notes: allNoFlags(a.Notes), Assumes: allNoFlags(a.Assumes), Cautions: a.Cautions, Failed: a.Failed}
	for _, g := range a.Given {
		out.Given = append(out.Given, line{g.Label, g.Text})
	}
	for _, v := range a.Results {
		if !v.Quiet {
			out.Results = append(out.Results, line{v.Label, v.Say(a.Unit)})
		}
	}
	w.Header().Set("Content-Type", "application/json")
	w.Write(encode(out))
}
