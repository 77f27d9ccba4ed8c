package record

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// tidyColumns are the columns of the one table: a row a take.
var tidyColumns = []string{"job", "machine", "assembly", "stage", "component", "check", "position", "method", "take", "time",
	"result", "u95", "unit", "low", "high", "result_mm", "u95_mm", "low_mm", "high_mm", "verdict", "side", "p_in",
	"p_below", "p_above", "times_upper_limit", "strokes", "left_out", "gauge", "certificate", "operator", "replaces",
	"superseded_by", "note", "logs_hold"}

// CSV writes every take as a row of one tidy table. Texts that a spreadsheet
// program would take for a formula begin with an apostrophe.
func (r *Record) CSV(w io.Writer, _ Options) error {
	c := csv.NewWriter(w)
	if err := c.Write(tidyColumns); err != nil {
		return err
	}
	certificate := map[string]string{}
	for _, g := range r.Gauges {
		certificate[g.Name] = g.Certificate
	}
	for _, t := range r.AllTakes() {
		mm := func(v float64) string {
			if !t.Unit.IsLength() {
				return ""
			}
			x, err := quantity.Convert(v, t.Unit, quantity.MM)
			if err != nil {
				return ""
			}
			return ledger.Number(x)
		}
		times := math.NaN()
		if t.Times != 0 {
			times = t.Times
		}
		err := c.Write([]string{
			inert(r.Number), inert(r.Machine), inert(r.Assembly), inert(t.Tag.Stage), inert(t.Tag.Component), inert(t.Tag.Check),
			inert(t.Tag.Position), t.Method, whole(t.Take.Take), t.At.Time().Format("2006-01-02T15:04:05.000000Z"),
			ledger.Number(t.Take.Result), ledger.Number(t.Take.U95), t.Unit.String(), ledger.Number(t.Low), ledger.Number(t.High),
			mm(t.Take.Result), mm(t.Take.U95), mm(t.Low), mm(t.High), string(t.Verdict), t.Side, ledger.Number(t.PIn),
			ledger.Number(t.PBelow), ledger.Number(t.PAbove), ledger.Number(times), strconv.Itoa(t.Strokes), strconv.Itoa(t.LeftOut),
			inert(t.Gauge), inert(certificate[t.Gauge]), inert(t.Operator), whole(t.Replaces), whole(t.Redone), inert(t.Note), yesNo(r.Holds),
		})
		if err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

func whole(n uint64) string {
	if n == 0 {
		return ""
	}
	return strconv.FormatUint(n, 10)
}

// inert keeps a text from being taken for a formula or a command by a
// spreadsheet program, and from breaking its line.
func inert(s string) string {
	s = calm(s)
	if first := strings.TrimLeft(s, " \u00a0"); first != "" && strings.ContainsRune("=+-@|%＝＋－＠", []rune(first)[0]) {
		return "'" + s
	}
	return s
}

// calm makes a text one line of plain characters: control characters and line
// ends become blanks, marks that turn the direction of writing and other
// characters without a shape are dropped, and what is no UTF-8 is U+FFFD.
func calm(s string) string {
	return strings.Map(func(c rune) rune {
		switch {
		case unicode.IsControl(c), c == 0x2028, c == 0x2029:
			return ' '
		case unicode.In(c, unicode.Cf):
			return -1
		case c&0xfffe == 0xfffe: // no character
			return 0xfffd
		}
		return c
	}, s)
}
