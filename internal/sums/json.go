package sums

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"

	"thouwright/internal/quantity"
)

// MarshalJSON writes one object: the results under their own names, lengths in
// the asked unit ("unit"), other numbers in the unit that "units" names; a band
// is {"low","high"} with null for an open end; an uncertainty stands beside its
// result as NAME_u95. Then the inputs ("given") and the words.
func (a *Answer) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	put := func(key string, v any) error {
		if b.Len() > 1 {
			b.WriteByte(',')
		}
		b.WriteString(strconv.Quote(key))
		b.WriteByte(':')
		j, err := plain(v)
		b.Write(j)
		return err
	}
	units := map[string]string{}
	type pair struct {
		key string
		v   any
	}
	all := []pair{{"sum", a.Verb}, {"formula", a.Formula}, {"source", a.Source}, {"unit", a.Unit.String()}}
	for _, r := range a.Results {
		n := func(v float64) any {
			if math.IsInf(v, 0) || math.IsNaN(v) {
				return nil
			}
			x, u := r.inUnit(v, a.Unit)
			return settleDigits(x, u)
		}
		switch r.Form {
		case Value:
			if r.Exact != nil {
				all = append(all, pair{r.Name, json.Number(r.Exact.String())})
				break
			}
			all = append(all, pair{r.Name, n(r.Value)})
		case Band:
			all = append(all, pair{r.Name, struct {
				Low  any `json:"low"`
				High any `json:"high"`
			}{n(r.Low), n(r.High)}})
		case Word:
			all = append(all, pair{r.Name, r.Text})
		case List:
			all = append(all, pair{r.Name, append([]string{}, r.Words...)})
		case Flag:
			all = append(all, pair{r.Name, r.Yes})
		}
		if r.Form <= Band && r.Exact == nil && !r.Unit.IsLength() && r.Unit != quantity.None {
			units[r.Name] = r.Unit.String()
		}
		if r.U95 > 0 {
			all = append(all, pair{r.Name + "_u95", n(r.U95)})
		}
	}
	given := map[string]any{}
	for _, g := range a.Given {
		switch old := given[g.Name].(type) {
		case nil:
			given[g.Name] = g.Text
		case string:
			given[g.Name] = []string{old, g.Text}
		case []string:
			given[g.Name] = append(old, g.Text)
		}
	}
	if len(units) > 0 {
		all = append(all, pair{"units", units})
	}
	all = append(all, pair{"given", given}, pair{"notes", append([]string{}, a.Notes...)},
		pair{"assumes", append([]string{}, a.Assumes...)}, pair{"cautions", append([]string{}, a.Cautions...)})
	for _, p := range all {
		if err := put(p.key, p.v); err != nil {
			return nil, err
		}
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// plain is JSON without HTML escapes: a caution holds '<'.
func plain(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	err := e.Encode(v)
	return bytes.TrimRight(b.Bytes(), "\n"), err
}

// settleDigits takes away the stray digits of float64 arithmetic: a length keeps
// a tenth of a nanometre, other numbers ten digits.
func settleDigits(v float64, u quantity.Unit) float64 {
	if n, ok := places[u]; ok {
		p := math.Pow(10, float64(n+3))
		return math.Round(v*p)/p + 0
	}
	x, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 10, 64), 64)
	return x
}
