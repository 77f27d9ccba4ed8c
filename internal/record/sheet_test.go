package record

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"thouwright/internal/quantity"
)

// Rows over what one sheet holds go on in the next, under the same head, and
// none is lost.
func TestRowsOverALimitGoOnInTheNextSheet(t *testing.T) {
	f := excelize.NewFile()
	defer f.Close()
	r := &Record{}
	err := r.sheet(f, "rests", 4, func(row func(...any) error) error {
		if err := row("take", "words"); err != nil {
			return err
		}
		for i := range 10 {
			if err := row(i, "=1+1"); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, name := range []string{"rests", "rests 2", "rests 3", "rests 4"} {
		rows, err := f.GetRows(name)
		if err != nil || len(rows) > 4 || rows[0][0] != "take" {
			t.Fatalf("%s: %v, %q", name, err, rows)
		}
		for _, row := range rows[1:] {
			got = append(got, row[0])
		}
	}
	if strings.Join(got, "") != "0123456789" {
		t.Errorf("rows %q", got)
	}
}

// Whatever a text holds, it is one line that no program takes for a formula.
func TestTextsAreInert(t *testing.T) {
	for _, s := range []string{"=1+1", "@SUM(A1)", "+1", "-1", "\t=1", " =1", "\r\n=1", "\u00a0=1", "\u202e=1", "\x00=1", "\ufeff=1", "|x", "%x", "＝1", "\xff=1",
		"a\tb\r\nc\x00d\u2028e\u0085f", "\u202eabc\u202c", "\u2066x\u2069\u200f", "\xff\xfe\uffff", strings.Repeat("x", 10_000), "", "'", "plain é Ω Ж"} {
		got := inert(s)
		if !utf8.ValidString(got) || strings.ContainsAny(got, "\t\r\n\x00\x1b\u0085\u2028\u2029\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\ufeff\uffff") {
			t.Errorf("%.40q comes out as %.40q", s, got)
		}
		if plain := strings.TrimLeft(got, " \u00a0"); plain != "" && strings.ContainsRune("=+-@|%＝", []rune(plain)[0]) {
			t.Errorf("%.40q comes out as %.40q, which begins a formula", s, got)
		}
	}
	if got := inert("plain é Ω Ж"); got != "plain é Ω Ж" {
		t.Errorf("a plain text was changed: %q", got)
	}
}

// A spreadsheet's number keeps its digits and shows those its uncertainty
// supports; texts of every kind stay texts.
func TestSpreadsheetCells(t *testing.T) {
	f := excelize.NewFile()
	defer f.Close()
	r := &Record{}
	hostile := []string{"=1+1", "@SUM(A1)", "\x00\x01<b>&", "\xff", "\u202ex", strings.Repeat("y", 40_000)}
	err := r.sheet(f, "s", 1000, func(row func(...any) error) error {
		if err := row("a", "b"); err != nil {
			return err
		}
		if err := row(roundedBy(0.0123456, 0.00034, quantity.MM, quantity.MM), roundedBy(25.4, 0.254, quantity.MM, quantity.In)); err != nil {
			return err
		}
		for _, h := range hostile {
			if err := row(h, h); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	x, err := excelize.OpenReader(&b)
	if err != nil {
		t.Fatalf("it cannot be opened again: %v", err)
	}
	defer x.Close()
	raw, err := x.GetCellValue("s", "A2", excelize.Options{RawCellValue: true})
	if err != nil || raw != "0.0123456" {
		t.Errorf("the number's digits: %q (%v)", raw, err)
	}
	if shown, err := x.GetCellValue("s", "A2"); err != nil || shown != "0.01235" {
		t.Errorf("the number as shown: %q (%v)", shown, err)
	}
	if shown, err := x.GetCellValue("s", "B2"); err != nil || shown != "1.000" {
		t.Errorf("the number in inches: %q (%v)", shown, err)
	}
	for i, h := range hostile {
		cell, _ := excelize.CoordinatesToCellName(1, i+3)
		got, err := x.GetCellValue("s", cell)
		formula, _ := x.GetCellFormula("s", cell)
		if err != nil || formula != "" || !utf8.ValidString(got) || strings.ContainsAny(got, "\x00\u202e") {
			t.Errorf("%.20q comes out as %.20q, formula %q (%v)", h, got, formula, err)
		}
	}
	if orNone(0) != nil || orNone(3) != uint64(3) {
		t.Error("a take's number is no number")
	}
}
