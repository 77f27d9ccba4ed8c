package record

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// sheetRows is what one sheet of a spreadsheet holds.
const sheetRows = excelize.TotalRows

// XLSX writes the record as a spreadsheet: first what was verified, then a sheet
// each of takes, rests, budget
// and events, with numbers as numbers, units in columns of their own, and texts
// as texts, so that nothing in them is ever taken for a formula.
func (r *Record) XLSX(w io.Writer, _ Options) error { return r.xlsx(w, sheetRows) }

// xlsx is XLSX with the rows that a sheet may hold.
func (r *Record) xlsx(w io.Writer, most int) error {
	f := excelize.NewFile()
	defer f.Close()
	f.SetZipWriter(func(w io.Writer) excelize.ZipWriter { return newSortedZip(w) })
	if err := f.SetDocProps(&excelize.DocProperties{Title: "Job " + inert(r.Number), Creator: "Thouwright"}); err != nil {
		return err
	}
	for _, s := range []struct {
		name string
		rows func(row func(...any) error) error
	}{
		{"proof", r.proofRows}, {"takes", r.takeRows}, {"rests", r.restRows}, {"budget", r.budgetRows}, {"extras", r.extraRows}, {"events", r.eventRows},
	} {
		if err := r.sheet(f, s.name, most, s.rows); err != nil {
			return fmt.Errorf("spreadsheet, %s: %w", s.name, err)
		}
	}
	if err := f.DeleteSheet("Sheet1"); err != nil {
		return err
	}
	return f.Write(w)
}

// sheet streams rows into sheets of one name; what is more than one holds goes
// on in 'name 2', with the head again.
func (r *Record) sheet(f *excelize.File, name string, most int, rows func(row func(...any) error) error) error {
	head, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	if err != nil {
		return err
	}
	when, err := f.NewStyle(&excelize.Style{CustomNumFmt: ptr("yyyy-mm-dd hh:mm:ss")})
	if err != nil {
		return err
	}
	places := map[int]int{} // styles by decimals
	var s *excelize.StreamWriter
	var columns []any
	n, part := 0, 0
	open := func() error {
		part++
		n = 0
		title := name
		if part > 1 {
			title = fmt.Sprintf("%s %d", name, part)
		}
		if _, err := f.NewSheet(title); err != nil {
			return err
		}
		if s, err = f.NewStreamWriter(title); err != nil {
			return err
		}
		for i, c := range columns {
			if err := s.SetColWidth(i+1, i+1, columnWidth(c)); err != nil {
				return err
			}
		}
		return s.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"})
	}
	put := func(cells []any, style int) error {
		n++
		out := make([]any, len(cells))
		for i, c := range cells {
			switch v := c.(type) {
			case time.Time:
				out[i] = excelize.Cell{StyleID: when, Value: v}
			case string:
				out[i] = calm(v)
			case shownAs:
				if _, ok := places[v.decimals]; !ok {
					if places[v.decimals], err = f.NewStyle(&excelize.Style{CustomNumFmt: ptr(v.format())}); err != nil {
						return err
					}
				}
				if !math.IsNaN(v.value) && !math.IsInf(v.value, 0) {
					out[i] = excelize.Cell{StyleID: places[v.decimals], Value: v.value}
				}
			case float64:
				if !math.IsNaN(v) && !math.IsInf(v, 0) {
					out[i] = v
				}
			default:
				out[i] = c
			}
			if style != 0 {
				out[i] = excelize.Cell{StyleID: style, Value: c}
			}
		}
		return s.SetRow(fmt.Sprintf("A%d", n), out)
	}
	err = rows(func(cells ...any) error {
		if columns == nil {
			columns = cells
			if err := open(); err != nil {
				return err
			}
			return put(cells, head)
		}
		if n == most {
			if err := s.Flush(); err != nil {
				return err
			}
			if err := open(); err != nil {
				return err
			}
			if err := put(columns, head); err != nil {
				return err
			}
		}
		return put(cells, 0)
	})
	if err != nil {
		return err
	}
	return s.Flush()
}

// wideColumns are the columns, by their heads, whose content is wider than the
// head: a moment that does not fit is shown as a row of hashes.
var wideColumns = map[string]float64{"time (UTC)": 20, "component": 24, "position": 18, "check": 24, "gauge": 14, "part": 26, "quantity": 20, "kind": 13,
	"words": 50, "note": 50, "reason": 50, "text": 90}

// columnWidth is a column's width in characters.
func columnWidth(head any) float64 {
	s := fmt.Sprint(head)
	if w := wideColumns[s]; w > 0 {
		return w
	}
	return max(10, min(float64(len(s)+2), 120))
}

func ptr[T any](v T) *T { return &v }

// shownAs is a number with all its digits that is shown with as many as its
// uncertainty supports (GUM 7.2.6: two significant digits of U95).
type shownAs struct {
	value    float64
	decimals int
}

// roundedBy is a value of a unit in another one; no value where it has none.
func roundedBy(value, u95 float64, from, to quantity.Unit) shownAs {
	none := shownAs{value: math.NaN()}
	v, err1 := quantity.Convert(value, from, to)
	u, err2 := quantity.Convert(u95, from, to)
	if err1 != nil || err2 != nil {
		return none
	}
	decimals := 4
	if u > 0 && !math.IsInf(u, 0) {
		decimals = min(max(0, 1-int(math.Floor(math.Log10(u)))), 9)
	}
	return shownAs{v, decimals}
}

func (r shownAs) format() string {
	if r.decimals == 0 {
		return "0"
	}
	return "0." + strings.Repeat("0", r.decimals)
}

// orNone is a take's number, or an empty cell for none.
func orNone(n uint64) any {
	if n == 0 {
		return nil
	}
	return n
}

func (r *Record) proofRows(row func(...any) error) error {
	word := "The logs behind this record hold"
	if !r.Holds {
		word = "The logs behind this record do not hold: nothing in this file is proved by them"
	}
	if err := row(word); err != nil {
		return err
	}
	for _, line := range append(append([]string{}, r.Trouble...), r.Proof...) {
		if err := row(line); err != nil {
			return err
		}
	}
	return nil
}

func (r *Record) takeRows(row func(...any) error) error {
	if err := row("take", "time (UTC)", "stage", "component", "position", "check", "method", "gauge", "result", "U95", "low", "high", "unit",
		"verdict", "side", "p within", "p below", "p above", "times the upper limit", "strokes", "left out", "replaces", "operator", "words", "note",
		"result, mm", "U95, mm", "result, in", "U95, in"); err != nil {
		return err
	}
	for _, t := range r.AllTakes() {
		times := math.NaN()
		if t.Times != 0 {
			times = t.Times
		}
		mm := func(v float64) shownAs { return roundedBy(v, t.Take.U95, t.Unit, quantity.MM) }
		in := func(v float64) shownAs { return roundedBy(v, t.Take.U95, t.Unit, quantity.In) }
		err := row(t.Take.Take, t.At.Time(), t.Tag.Stage, t.Tag.Component, t.Tag.Position, t.Tag.Check, t.Method, t.Gauge,
			roundedBy(t.Take.Result, t.Take.U95, t.Unit, t.Unit), roundedBy(t.Take.U95, t.Take.U95, t.Unit, t.Unit), t.Low, t.High, t.Unit.String(), string(t.Verdict), t.Side, t.PIn, t.PBelow, t.PAbove,
			times, t.Strokes, t.LeftOut, orNone(t.Replaces), t.Operator, t.Words, t.Note,
			mm(t.Take.Result), mm(t.Take.U95), in(t.Take.Result), in(t.Take.U95))
		if err != nil {
			return err
		}
	}
	return nil
}

func (r *Record) restRows(row func(...any) error) error {
	if err := row("take", "rest", "time, s", "side", "level", "value", "unit", "used", "reason"); err != nil {
		return err
	}
	for _, t := range r.AllTakes() {
		for _, x := range t.Rests {
			if err := row(t.Take.Take, x.Rest, x.T, x.Side, x.Level, x.Value, t.Unit.String(), x.Used, x.Reason); err != nil {
				return err
			}
		}
	}
	return nil
}

func (r *Record) budgetRows(row func(...any) error) error {
	if err := row("take", "part", "value", "unit", "distribution", "divisor", "standard uncertainty", "degrees of freedom"); err != nil {
		return err
	}
	for _, t := range r.AllTakes() {
		for _, b := range t.Budget {
			if err := row(t.Take.Take, b.Part, b.Value, b.Unit.String(), b.Distribution, b.Divisor, b.U, b.Dof); err != nil {
				return err
			}
		}
	}
	return nil
}

func (r *Record) extraRows(row func(...any) error) error {
	if err := row("take", "quantity", "value", "unit", "U95"); err != nil {
		return err
	}
	for _, t := range r.AllTakes() {
		for _, x := range t.Extras {
			if err := row(t.Take.Take, x.Quantity, x.Value, x.Unit.String(), x.U95); err != nil {
				return err
			}
		}
	}
	return nil
}

func (r *Record) eventRows(row func(...any) error) error {
	if err := row("time (UTC)", "kind", "gauge", "text"); err != nil {
		return err
	}
	for _, e := range r.folder.Events {
		if e.Kind == ledger.EvAnchor {
			continue
		}
		if err := row(e.At.Time(), string(e.Kind), e.Gauge, e.Text); err != nil {
			return err
		}
	}
	return nil
}
