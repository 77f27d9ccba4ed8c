package fits

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
)

// The tables of ISO 286-1:2010 up to 500 mm, in micrometres. How each was
// verified stands in its own comment lines.
var (
	//go:embed tables/grades.csv
	gradesCSV string
	//go:embed tables/shafts.csv
	shaftsCSV string
	//go:embed tables/holes.csv
	holesCSV string

	grades = load(gradesCSV)
	shafts = load(shaftsCSV)
	holes  = load(holesCSV)
)

// table is one page of the standard: rows of nominal sizes (over, up to and
// including), columns by name, empty cells absent.
type table struct {
	over, upto []float64
	cells      []map[string]float64
}

// row finds the line of a nominal size in mm; ok is false outside the table.
func (t table) row(nominal float64) (i int, ok bool) {
	for i := range t.upto {
		if nominal > t.over[i] && nominal <= t.upto[i] {
			return i, true
		}
	}
	return 0, false
}

// at is one cell in µm; ok is false where the standard leaves it empty.
func (t table) at(nominal float64, column string) (um float64, ok bool) {
	i, ok := t.row(nominal)
	if !ok {
		return 0, false
	}
	um, ok = t.cells[i][column]
	return um, ok
}

// load reads an embedded table. It can only fail on a damaged source file, so
// it panics, and every test of this package would show it.
func load(text string) table {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 {
		panic(fmt.Sprintf("fits: damaged table: %v", err))
	}
	var t table
	for _, row := range rows[1:] {
		cells := make(map[string]float64, len(row))
		for c, s := range row {
			if s == "" {
				continue
			}
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				panic(fmt.Sprintf("fits: damaged table: %v", err))
			}
			cells[rows[0][c]] = v
		}
		t.over = append(t.over, cells["over_mm"])
		t.upto = append(t.upto, cells["upto_incl_mm"])
		t.cells = append(t.cells, cells)
	}
	return t
}
