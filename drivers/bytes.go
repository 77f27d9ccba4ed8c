package drivers

import (
	"fmt"
	"strconv"
	"strings"

	"thouwright/internal/form"
)

// byteNames are the control characters as instrument manuals print them
// (names: ANSI X3.4 / ECMA-6).
var byteNames = map[string]byte{
	"NUL": 0, "SOH": 1, "STX": 2, "ETX": 3, "EOT": 4, "ENQ": 5, "ACK": 6, "BEL": 7, "BS": 8,
	"TAB": 9, "HT": 9, "LF": 10, "VT": 11, "FF": 12, "CR": 13, "SO": 14, "SI": 15, "DLE": 16,
	"DC1": 17, "DC2": 18, "DC3": 19, "DC4": 20, "XON": 17, "XOFF": 19, "NAK": 21, "SYN": 22,
	"ETB": 23, "CAN": 24, "EM": 25, "SUB": 26, "ESC": 27, "FS": 28, "GS": 29, "RS": 30, "US": 31,
	"SP": 32, "DEL": 127,
}

// escape reads one byte written as <CR>, <0x8D>, \x8D, \r, \n, \t or
// a backslash before any other printable character. n is 0 where s does not
// begin with one.
func escape(s string) (c byte, n int, err error) {
	switch s[0] {
	case '<':
		end := strings.IndexByte(s, '>')
		if end < 0 || end > 5 {
			return 0, 0, nil
		}
		name := s[1:end]
		if b, ok := byteNames[name]; ok {
			return b, end + 1, nil
		}
		if len(name) == 4 && strings.HasPrefix(name, "0x") {
			if b, err := strconv.ParseUint(name[2:], 16, 8); err == nil {
				return byte(b), end + 1, nil
			}
		}
		if w := nearName(name); w != "" {
			return 0, 0, fmt.Errorf(`%q is no control character (did you mean <%s>?); write \< for the character itself`, s[:end+1], w)
		}
		return 0, 0, nil
	case '\\':
		if len(s) < 2 {
			return 0, 0, fmt.Errorf(`a backslash at the end: write \\ for a backslash`)
		}
		switch s[1] {
		case 'r':
			return '\r', 2, nil
		case 'n':
			return '\n', 2, nil
		case 't':
			return '\t', 2, nil
		case 'x':
			if len(s) >= 4 {
				if b, err := strconv.ParseUint(s[2:4], 16, 8); err == nil {
					return byte(b), 4, nil
				}
			}
			return 0, 0, fmt.Errorf(`%q: expected two hex digits after \x, such as \x0D`, s)
		}
		if s[1] >= '0' && s[1] <= '9' || s[1] >= 'a' && s[1] <= 'z' || s[1] >= 'A' && s[1] <= 'Z' {
			return 0, 0, fmt.Errorf(`%q: \%c is not known; use \r \n \t \xNN, or a name such as <CR>`, s, s[1])
		}
		return s[1], 2, nil
	}
	return 0, 0, nil
}

// nearName is the control character that a word in brackets was meant to be, ""
// where it may be anything.
func nearName(name string) string {
	for _, c := range []byte(name) {
		if lower(c) < 'a' || lower(c) > 'z' {
			return ""
		}
	}
	if _, ok := byteNames[strings.ToUpper(name)]; ok {
		return strings.ToUpper(name)
	}
	if len(name) < 3 || name != strings.ToUpper(name) {
		return ""
	}
	return form.Likely(name, keysOf(byteNames))
}

// bareName finds the names of control characters that lack their brackets.
func bareName(s string) (meant string, ok bool) {
	switch s {
	case "CRLF":
		return "<CR><LF>", true
	case "CR", "LF", "STX", "ETX", "EOT", "NUL":
		return "<" + s + ">", true
	}
	return "", false
}

// parseBytes reads text that stands for bytes.
func parseBytes(s string) ([]byte, error) {
	b := make([]byte, 0, len(s))
	for s != "" {
		c, n, err := escape(s)
		if err != nil {
			return nil, err
		}
		if n == 0 {
			c, n = s[0], 1
		}
		b = append(b, c)
		s = s[n:]
	}
	return b, nil
}
