// Package form reads the TOML files a person fills in (bench, job sheet,
// driver) into structs, and says every mistake it finds as one line: file,
// line, what was found, what is expected. The TOML library does the parsing;
// what it does not give is added here: all mistakes at once, right lines
// inside repeated tables, and the word that was probably meant for a key that
// does not exist.
package form

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"github.com/BurntSushi/toml"

	"thouwright/internal/ledger"
)

// Lines tells on which line of a file a key, table or element stands.
type Lines struct{ root *node }

// At is the line of a path of keys (string) and elements (int, from 0), or of
// the nearest place above it that the file holds; 0 where nothing is known.
func (l Lines) At(path ...any) int {
	n := l.root
	if n == nil {
		return 0
	}
	line := n.line
	for _, p := range path {
		var next *node
		switch p := p.(type) {
		case string:
			next = n.kids[p]
		case int:
			if p >= 0 && p < len(n.items) {
				next = n.items[p]
			}
		}
		if next == nil {
			break
		}
		n, line = next, next.line
	}
	return line
}

// Has tells whether the file holds exactly this path.
func (l Lines) Has(path ...any) bool { return l.find(path...) != nil }

// find is the node of exactly this path, or nil.
func (l Lines) find(path ...any) *node {
	n := l.root
	for _, p := range path {
		if n == nil {
			return nil
		}
		switch p := p.(type) {
		case string:
			n = n.kids[p]
		case int:
			if p < 0 || p >= len(n.items) {
				return nil
			}
			n = n.items[p]
		}
	}
	return n
}

// Set replaces the value of a key in a table of the text that l was read from,
// or adds the key behind the table's last one. value is TOML. All else, comments
// too, stays as it is.
func (l Lines) Set(text []byte, value, key string, table ...any) ([]byte, error) {
	t := l.find(table...)
	if t == nil {
		return nil, errors.New("the file has no such table")
	}
	bom := 0
	if bytes.HasPrefix(text, []byte("\ufeff")) {
		bom = len("\ufeff")
	}
	var out []byte
	if k := t.kids[key]; k != nil && k.to > 0 {
		out = append(out, text[:bom+k.from]...)
		out = append(out, value...)
		return append(out, text[bom+k.to:]...), nil
	}
	if t.tail == 0 {
		return nil, errors.New("the table is written in one line: write it as [[table]] with a key on each line")
	}
	// The new line goes behind the whole line (comment included) of the table's
	// last key, with that line's indent and line end.
	s := string(text)
	at := upToLine(s, bom+t.tail)
	start := strings.LastIndexByte(s[:bom+t.tail], '\n') + 1
	indent := s[start : start+len(s[start:])-len(strings.TrimLeft(s[start:], " \t"))]
	end := "\n"
	if strings.Contains(s, "\r\n") {
		end = "\r\n"
	}
	out = append(out, s[:at]...)
	if !strings.HasSuffix(s[:at], "\n") {
		out = append(out, end...)
	}
	out = append(out, indent+key+" = "+value+end...)
	return append(out, s[at:]...), nil
}

// Parse reads text into v, a pointer to a struct with toml tags. What v held
// before stays where the file says nothing, so defaults go in first. With a
// problem that is not a warning v is not to be used.
func Parse(file string, text []byte, v any) (Lines, []ledger.Problem) {
	one := func(line int, format string, a ...any) []ledger.Problem {
		return []ledger.Problem{{File: file, Line: line, Text: fmt.Sprintf(format, a...)}}
	}
	if len(text) > MaxBytes {
		return Lines{}, one(0, "the file holds %d bytes: no file of this kind is larger than %d; is it the right one?", len(text), MaxBytes)
	}
	s := strings.TrimPrefix(string(text), "\ufeff")
	if i := badByte(s); i >= 0 {
		return Lines{}, one(1+strings.Count(s[:i], "\n"), "byte \\x%02X is not UTF-8: save the file as UTF-8 text", s[i])
	}
	root, stop, bound, line := scan(s)
	if bound != "" {
		return Lines{}, one(line, "%s", bound)
	}
	var m map[string]any
	_, err := toml.Decode(s[:upToLine(s, stop)], &m)
	if err != nil {
		line, msg := syntaxError(err, s)
		return Lines{}, one(line, "%s", msg)
	}
	if stop < len(s) {
		return Lines{}, one(line, "found %s where TOML expects key = value, [table] or [[table]]", quoteHere(s, stop))
	}
	b := binder{file: file, root: v}
	b.table(m, root, v)
	return Lines{root}, b.problems
}

// syntaxError is the library's word on text that is not TOML.
func syntaxError(err error, text string) (line int, msg string) {
	var pe toml.ParseError
	if !errors.As(err, &pe) {
		return 0, oneLine(err.Error())
	}
	msg = pe.Message
	if msg == "" {
		msg = strings.TrimPrefix(pe.Error(), "toml: ")
	}
	msg = strings.ReplaceAll(msg, `'\n'`, "the end of the line")
	msg = strings.TrimSuffix(oneLine(msg), ".")
	if strings.HasPrefix(msg, "expected value but found") {
		msg += ": put text between quotes"
	}
	if pe.LastKey != "" && len(pe.LastKey) <= 2*maxKey {
		msg += fmt.Sprintf(" (at or after %s)", oneLine(pe.LastKey))
	}
	line = pe.Position.Line
	if at := pe.Position.Start; at >= 0 && at <= len(text) {
		line = min(line, 1+strings.Count(text[:at], "\n")) // a line end counts to the line it ends
	}
	return line, "not TOML: " + msg
}

func oneLine(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, s)
	return clip(s, 300)
}

func clip(s string, n int) string {
	if len(s) <= n {
		return s
	}
	for n > 0 && s[n]&0xC0 == 0x80 {
		n--
	}
	return s[:n] + "…"
}

func quoteHere(s string, pos int) string {
	end := upToLine(s, pos)
	return fmt.Sprintf("%q", clip(strings.TrimSpace(s[pos:end]), 40))
}

// Scan finds the lines of a file that is bound by other means (a driver file
// holds control characters and tables of the user's own words). Its error is a
// bound that is broken, or bytes that are no UTF-8; the TOML library is not to
// be shown such a file.
func Scan(text []byte) (Lines, error) {
	if len(text) > MaxBytes {
		return Lines{}, fmt.Errorf("the file holds %d bytes: no file of this kind is larger than %d; is it the right one?", len(text), MaxBytes)
	}
	s := string(text)
	if i := badByte(s); i >= 0 {
		return Lines{}, fmt.Errorf("byte \\x%02X is not UTF-8: save the file as UTF-8 text", s[i])
	}
	root, stop, bound, line := scan(s)
	if bound != "" {
		return Lines{}, fmt.Errorf("line %d: %s", line, bound)
	}
	if stop < len(s) {
		if _, err := toml.Decode(s[:upToLine(s, stop)], new(map[string]any)); err != nil {
			line, msg := syntaxError(err, s)
			return Lines{}, fmt.Errorf("line %d: %s", line, msg)
		}
		return Lines{}, fmt.Errorf("line %d: found %s where TOML expects key = value, [table] or [[table]]", line, quoteHere(s, stop))
	}
	return Lines{root}, nil
}
