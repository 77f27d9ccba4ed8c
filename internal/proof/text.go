package proof

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"

	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// BenchError is the bench file's error_local: '0.0002 in over 0.010 in'.
func (r *Result) BenchError(u quantity.Unit) string {
	return up(r.Error.Most) + " " + u.String() + " over " + number(r.Over) + " " + u.String()
}

// BenchHysteresis is the bench file's hysteresis; "" where none was seen.
func (r *Result) BenchHysteresis(u quantity.Unit) string {
	if r.Hysteresis == nil {
		return ""
	}
	return up(r.Hysteresis.Most) + " " + u.String()
}

// up rounds to two digits, never down: what is written bounds what was found.
func up(v float64) string {
	if !(v > 0) {
		return "0"
	}
	p := math.Pow10(1 - int(math.Floor(math.Log10(v))))
	return number(math.Ceil(v*p*(1-1e-9)) / p)
}

// number is a length without noise behind its twelfth digit.
func number(v float64) string {
	f, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
	return strconv.FormatFloat(f, 'f', -1, 64)
}

// Text writes the result for people.
func (r *Result) Text(out io.Writer, u quantity.Unit) error {
	b := &strings.Builder{}
	fmt.Fprintf(b, "Over %s %s: error %s plus or minus %s, so at most %s %s (95 %%)\n", number(r.Over), u, r.show(r.Error.Value), r.show(r.Error.U95), up(r.Error.Most), u)
	if h := r.Hysteresis; h != nil {
		fmt.Fprintf(b, "Hysteresis %s plus or minus %s, so at most %s %s (95 %%)\n", r.show(h.Value), r.show(h.U95), up(h.Most), u)
	}
	fmt.Fprintf(b, "Step %s %s; one rest repeats within %s (1 standard deviation, %d degrees of freedom); drift %s a minute\n\n", number(r.Step), u, r.show(r.SD), r.Dof, r.show(r.Drift))
	w := tabwriter.NewWriter(b, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(w, "known\tshown\terror\trests\tfrom below\tfrom above\t\n")
	for _, p := range r.Positions {
		fmt.Fprintf(w, "%s\t%s\t%s\t%d\t%d\t%d\t\n", number(p.Known), r.show(p.Shown), r.show(p.Error), p.Rests, p.Below, p.Above)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	for i, l := range r.LeftOut {
		if i == 0 {
			b.WriteString("\n")
		}
		fmt.Fprintf(b, "Left out: the rest at %.1f s, %s %s: %s\n", l.Rest.T, r.show(l.Rest.Value), u, l.Reason)
	}
	for i, n := range r.Notes {
		if i == 0 {
			b.WriteString("\n")
		}
		fmt.Fprintf(b, "Note: %s\n", n)
	}
	_, err := io.WriteString(out, b.String())
	return err
}

// show writes with the places that a twentieth of a step deserves.
func (r *Result) show(v float64) string {
	places := 6
	if r.Step > 0 {
		places = min(max(int(math.Ceil(-math.Log10(r.Step)))+1, 0), 9)
	}
	s := strconv.FormatFloat(v, 'f', places, 64)
	if f, _ := strconv.ParseFloat(s, 64); f == 0 {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

// jsonBound is a bound as proof --json prints it.
type jsonBound struct {
	Value float64 `json:"value"`
	U95   float64 `json:"u95"`
	Most  float64 `json:"at_most"`
	Bench string  `json:"bench"`
}

// JSON writes the result as an object; lengths are in the gauge's unit.
func (r *Result) JSON(out io.Writer, gauge string, u quantity.Unit) error {
	type position struct {
		Known float64 `json:"known"`
		Shown float64 `json:"shown"`
		Error float64 `json:"error"`
		Below int     `json:"from_below"`
		Above int     `json:"from_above"`
		Rests int     `json:"rests"`
	}
	type left struct {
		T      float64 `json:"t"`
		Value  float64 `json:"value"`
		Reason string  `json:"reason"`
	}
	type part struct {
		Name  string   `json:"part"`
		Shape string   `json:"distribution"`
		U     float64  `json:"u"`
		Dof   *float64 `json:"dof"` // null: known
	}
	o := struct {
		Gauge      string     `json:"gauge"`
		Unit       string     `json:"unit"`
		Step       float64    `json:"step"`
		Over       float64    `json:"over"`
		Error      jsonBound  `json:"error_local"`
		Hysteresis *jsonBound `json:"hysteresis"`
		SD         float64    `json:"rest_standard_deviation"`
		Dof        int        `json:"degrees_of_freedom"`
		Drift      float64    `json:"drift_per_min"`
		Positions  []position `json:"positions"`
		LeftOut    []left     `json:"left_out"`
		Budget     []part     `json:"budget"`
		Notes      []string   `json:"notes"`
	}{gauge, u.String(), r.Step, r.Over, jsonBound{r.Error.Value, r.Error.U95, r.Error.Most, r.BenchError(u)}, nil, r.SD, r.Dof, r.Drift,
		[]position{}, []left{}, []part{}, append([]string{}, r.Notes...)}
	if h := r.Hysteresis; h != nil {
		o.Hysteresis = &jsonBound{h.Value, h.U95, h.Most, r.BenchHysteresis(u)}
	}
	for _, p := range r.Positions {
		o.Positions = append(o.Positions, position(p))
	}
	for _, l := range r.LeftOut {
		o.LeftOut = append(o.LeftOut, left{l.Rest.T, l.Rest.Value, l.Reason})
	}
	for _, p := range r.Budget {
		q := part{p.Name, p.Shape.String(), p.U, nil}
		if p.Shape == metrology.StudentT && !math.IsInf(p.Dof, 0) {
			q.Dof = &p.Dof
		}
		o.Budget = append(o.Budget, q)
	}
	e := json.NewEncoder(out)
	e.SetIndent("", "  ")
	return e.Encode(o)
}
