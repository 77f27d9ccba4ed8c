package ledger

import (
	"unicode"
	"unicode/utf8"
)

const upperHex = "0123456789ABCDEF"

// AppendEscaped appends what a gauge sent in the notation of the raw columns:
// printable ASCII as it is, every other byte and the backslash as \xNN.
func AppendEscaped(dst, raw []byte) []byte {
	for _, c := range raw {
		if c >= 0x20 && c < 0x7F && c != '\\' {
			dst = append(dst, c)
			continue
		}
		dst = append(dst, '\\', 'x', upperHex[c>>4], upperHex[c&15])
	}
	return dst
}

// Escaped is AppendEscaped as a string.
func Escaped(raw []byte) string { return string(AppendEscaped(nil, raw)) }

// AppendCSV appends one field by RFC 4180: quoted only where it holds a quote,
// a comma or a line break, or begins or ends with a blank (spreadsheet programs
// trim those). Our files allow no line break inside a field and a torn block is
// known by its control characters, so these become blanks, all but the tab;
// bytes that are no UTF-8 become U+FFFD, because a log that is said to be UTF-8
// must be.
func AppendCSV(dst []byte, field string) []byte {
	plain, valid := true, true
	for i := 0; i < len(field); i++ {
		switch c := field[i]; {
		case c == '"', c == ',':
			plain = false
		case c >= utf8.RuneSelf, c < ' ', c == 0x7F:
			valid = false
		}
	}
	if n := len(field); n > 0 && (field[0] == ' ' || field[n-1] == ' ') {
		plain = false
	}
	if plain && valid {
		return append(dst, field...)
	}
	if !plain {
		dst = append(dst, '"')
	}
	for _, r := range field { // an invalid byte ranges as U+FFFD
		switch {
		case r == '"':
			dst = append(dst, '"', '"')
		case unicode.IsControl(r) && r != '\t', r == '\u2028', r == '\u2029':
			dst = append(dst, ' ')
		default:
			dst = utf8.AppendRune(dst, r)
		}
	}
	if !plain {
		dst = append(dst, '"')
	}
	return dst
}

// AppendCSVRaw appends what a gauge sent as one CSV field: escaped by
// AppendEscaped, quoted by the rule of AppendCSV. It does not allocate.
func AppendCSVRaw(dst, raw []byte) []byte {
	quote := false
	for _, c := range raw {
		if c == '"' || c == ',' {
			quote = true
			break
		}
	}
	if n := len(raw); n > 0 && (raw[0] == ' ' || raw[n-1] == ' ') {
		quote = true
	}
	if !quote {
		return AppendEscaped(dst, raw)
	}
	dst = append(dst, '"')
	for _, c := range raw {
		switch {
		case c == '"':
			dst = append(dst, '"', '"')
		case c >= 0x20 && c < 0x7F && c != '\\':
			dst = append(dst, c)
		default:
			dst = append(dst, '\\', 'x', upperHex[c>>4], upperHex[c&15])
		}
	}
	return append(dst, '"')
}
