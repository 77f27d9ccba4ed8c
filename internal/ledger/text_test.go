package ledger

import (
	"encoding/csv"
	"strconv"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// The escaped text must lead back to the very bytes, and hold printable ASCII
// only: readings.csv proves what a gauge sent.
func TestEscapedLeadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		raw := rapid.SliceOf(rapid.Byte()).Draw(t, "raw")
		esc := Escaped(raw)
		for _, c := range []byte(esc) {
			if c < 0x20 || c > 0x7E {
				t.Fatalf("byte %#x in %q", c, esc)
			}
		}
		var back []byte
		for i := 0; i < len(esc); i++ {
			if esc[i] != '\\' {
				back = append(back, esc[i])
				continue
			}
			n, err := strconv.ParseUint(esc[i+2:i+4], 16, 8)
			if err != nil || esc[i+1] != 'x' {
				t.Fatalf("bad escape in %q", esc)
			}
			back = append(back, byte(n))
			i += 3
		}
		if string(back) != string(raw) {
			t.Fatalf("%q came back as %q", raw, back)
		}
	})
}

// The oracle is encoding/csv: what it reads is what was written, but for line
// breaks and other control characters (blanks) and bytes that are no UTF-8 (U+FFFD).
func TestCSVFieldsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		fields := rapid.SliceOfN(rapid.OneOf(
			rapid.String(), rapid.StringMatching(`[a" ,\r\n]{0,6}`),
			rapid.Map(rapid.SliceOf(rapid.Byte()), func(b []byte) string { return string(b) }),
		), 1, 5).Draw(t, "fields")
		raw := rapid.SliceOf(rapid.Byte()).Draw(t, "raw")
		var row []byte
		for _, f := range fields {
			row = append(AppendCSV(row, f), ',')
		}
		row = append(AppendCSVRaw(row, raw), '\n')
		if strings.Count(string(row), "\n") != 1 || !utf8.Valid(row) {
			t.Fatalf("row %q", row)
		}
		got, err := csv.NewReader(strings.NewReader(string(row))).ReadAll()
		if err != nil || len(got) != 1 || len(got[0]) != len(fields)+1 {
			t.Fatalf("row %q reads as %q, %v", row, got, err)
		}
		for i, f := range fields {
			want := strings.ToValidUTF8(strings.Map(func(r rune) rune {
				if unicode.IsControl(r) && r != '\t' || r == '\u2028' || r == '\u2029' {
					return ' '
				}
				return r
			}, f), "\uFFFD")
			// one U+FFFD a byte, where ToValidUTF8 writes one a run
			if g := squeeze(got[0][i]); g != squeeze(want) {
				t.Fatalf("field %q came back as %q", f, g)
			}
		}
		if got[0][len(fields)] != Escaped(raw) {
			t.Fatalf("raw %q came back as %q", raw, got[0][len(fields)])
		}
	})
}

func squeeze(s string) string {
	for strings.Contains(s, "\uFFFD\uFFFD") {
		s = strings.ReplaceAll(s, "\uFFFD\uFFFD", "\uFFFD")
	}
	return s
}
