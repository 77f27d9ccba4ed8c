// Package study tells how well a set-up repeats: from a table or from the logs
// of repeated takes to the shares of people, parts and repetition, bias,
// stability, and the figure a bench file wants. The statistics are package
// metrology's.
package study

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"thouwright/internal/quantity"
)

// Row is one measurement of a study.
type Row struct {
	Part, Person, Trial string
	Value               quantity.Decimal
	Known               float64 // the part's known value; NaN where there is none
	Time                float64 // seconds from the first row; NaN where not told
	Scatter             float64 // the take's own scatter, known from its budget; NaN where not
	Line                int     // in the file, or the take's number
}

// Data is what is studied. Rows stand in the order of measurement where that is
// known, else as in the file.
type Data struct {
	Source string
	Unit   quantity.Unit // None where nothing says
	Rows   []Row
	Timed  bool
	Gauge  string // from logs
	What   string // from logs: the check
	Notes  []string
}

// columns a table may have, by the words for each.
var columns = map[string]string{
	"part": "part", "person": "person", "operator": "person", "trial": "trial", "value": "value",
	"known": "known", "master": "known", "reference": "known", "time": "time", "unit": "unit",
}

const expectedColumns = "expected the columns part,person,trial,value (any order; operator stands for person; known, time and unit may be there too)"

// largest is more rows than a person makes.
const largest = 100_000

// ReadCSV reads a table. Fields may be separated by commas, semicolons (then a
// decimal comma is understood) or tabs; one of part and person may be missing.
func ReadCSV(r io.Reader, name string) (*Data, error) {
	text, err := io.ReadAll(io.LimitReader(r, 64<<20))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	s := strings.TrimPrefix(string(text), "\ufeff")
	head, rest, _ := strings.Cut(s, "\n")
	for strings.HasPrefix(head, "#") {
		head, rest, _ = strings.Cut(rest, "\n")
	}
	cr := csv.NewReader(strings.NewReader(s))
	cr.Comment = '#'
	cr.TrimLeadingSpace = true
	decimalComma := false
	switch {
	case strings.Contains(head, ";"):
		cr.Comma, decimalComma = ';', true
	case strings.Contains(head, "\t"):
		cr.Comma = '\t'
	}
	first, err := cr.Read()
	if err != nil {
		return nil, fmt.Errorf("%s: no header line; %s", name, expectedColumns)
	}
	line, _ := cr.FieldPos(0)
	at := map[string]int{}
	for i, c := range first {
		word, ok := columns[strings.ToLower(strings.TrimSpace(c))]
		if !ok {
			return nil, fmt.Errorf("%s, line %d: unknown column %q; %s", name, line, c, expectedColumns)
		}
		if _, twice := at[word]; twice {
			return nil, fmt.Errorf("%s, line %d: column %q stands twice; %s", name, line, word, expectedColumns)
		}
		at[word] = i
	}
	if _, ok := at["value"]; !ok {
		return nil, fmt.Errorf("%s, line %d: no column value; %s", name, line, expectedColumns)
	}
	t := &table{d: &Data{Source: name}, name: name, at: at, decimalComma: decimalComma, seen: map[[3]string]int{}}
	for {
		rec, err := cr.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var pe *csv.ParseError
		if errors.As(err, &pe) {
			return nil, fmt.Errorf("%s, line %d: %v; expected %d fields as in the first line", name, pe.Line, pe.Err, len(first))
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		line, _ := cr.FieldPos(0)
		if err := t.row(rec, line); err != nil {
			return nil, err
		}
		if len(t.d.Rows) > largest {
			return nil, fmt.Errorf("%s: more than %d values", name, largest)
		}
	}
	if len(t.d.Rows) == 0 {
		return nil, fmt.Errorf("%s: no values under the header", name)
	}
	t.d.inTime()
	return t.d, nil
}

type table struct {
	d            *Data
	name         string
	at           map[string]int
	decimalComma bool
	seen         map[[3]string]int
	start        time.Time
}

func (t *table) row(rec []string, line int) error {
	bad := func(format string, a ...any) error {
		return fmt.Errorf("%s, line %d: %s", t.name, line, fmt.Sprintf(format, a...))
	}
	field := func(col string) string {
		if i, ok := t.at[col]; ok {
			return strings.TrimSpace(rec[i])
		}
		return ""
	}
	num := func(col string) (quantity.Decimal, error) {
		s := field(col)
		if t.decimalComma {
			s = strings.Replace(s, ",", ".", 1)
		}
		v, err := quantity.ParseDecimal(s)
		if err != nil {
			return v, bad("%s %q is not a number (%v); expected one such as 0.0125", col, field(col), err)
		}
		return v, nil
	}
	r := Row{Part: field("part"), Person: field("person"), Trial: field("trial"), Known: math.NaN(), Time: math.NaN(), Scatter: math.NaN(), Line: line}
	for _, col := range []string{"part", "person"} {
		if _, ok := t.at[col]; ok && field(col) == "" {
			return bad("no %s", col)
		}
	}
	var err error
	if r.Value, err = num("value"); err != nil {
		return err
	}
	if field("known") != "" {
		k, err := num("known")
		if err != nil {
			return err
		}
		r.Known = k.Float()
	}
	if s := field("time"); s != "" {
		if r.Time, err = t.when(s); err != nil {
			return bad("time %q is not understood; expected seconds or 2026-11-25T08:00:00Z", s)
		}
	}
	if s := field("unit"); s != "" {
		u, err := quantity.ParseUnit(s)
		if err != nil {
			return bad("%v", err)
		}
		if len(t.d.Rows) > 0 && u != t.d.Unit {
			return bad("unit %s, but %s before; write all values in one unit", u, t.d.Unit)
		}
		t.d.Unit = u
	}
	if r.Trial != "" {
		key := [3]string{r.Part, r.Person, r.Trial}
		if before, ok := t.seen[key]; ok {
			return bad("part %q, person %q, trial %q stands in line %d already", r.Part, r.Person, r.Trial, before)
		}
		t.seen[key] = line
	}
	t.d.Rows = append(t.d.Rows, r)
	return nil
}

func (t *table) when(s string) (float64, error) {
	if v, err := quantity.ParseDecimal(s); err == nil {
		return v.Float(), nil
	}
	w, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		return 0, err
	}
	if t.start.IsZero() {
		t.start = w
	}
	return w.Sub(t.start).Seconds(), nil
}

// inTime puts the rows in order of time where every row has one.
func (d *Data) inTime() {
	d.Timed = true
	for _, r := range d.Rows {
		d.Timed = d.Timed && !math.IsNaN(r.Time)
	}
	if d.Timed {
		slices.SortStableFunc(d.Rows, func(a, b Row) int {
			switch {
			case a.Time < b.Time:
				return -1
			case a.Time > b.Time:
				return 1
			}
			return 0
		})
	}
}

// Convert puts everything into another unit, to fifteen digits.
func (d *Data) Convert(to quantity.Unit) error {
	if to == d.Unit {
		return nil
	}
	factor, err := quantity.Convert(1, d.Unit, to)
	if err != nil {
		return fmt.Errorf("%s: %w", d.Source, err)
	}
	for i := range d.Rows {
		r := &d.Rows[i]
		v, err := quantity.Convert(r.Value.Float(), d.Unit, to)
		if err != nil {
			return err
		}
		if r.Value, err = quantity.ParseDecimal(strconv.FormatFloat(v, 'g', 15, 64)); err != nil {
			return fmt.Errorf("%s, line %d: %w", d.Source, r.Line, err)
		}
		r.Known *= factor
		r.Scatter *= factor
	}
	d.Unit = to
	return nil
}
