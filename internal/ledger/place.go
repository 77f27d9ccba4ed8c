package ledger

import "strings"

// PlaceText is the text of a position event: component, check and position,
// 'left swivel pin > play in bushes > left lock'. A '>' or backslash inside a
// name stands behind a backslash, so ParsePlace can read it back.
func PlaceText(t Tag) string {
	esc := strings.NewReplacer(`\`, `\\`, `>`, `\>`)
	return esc.Replace(t.Component) + " > " + esc.Replace(t.Check) + " > " + esc.Replace(t.Position)
}

// ParsePlace reads PlaceText's text; ok is false for anything else. The stage
// is not part of it.
func ParsePlace(s string) (t Tag, ok bool) {
	var parts []string
	var cur strings.Builder
	for i := 0; i < len(s); i++ {
		switch {
		case s[i] == '\\' && i+1 < len(s):
			i++
			cur.WriteByte(s[i])
		case strings.HasPrefix(s[i:], " > "):
			parts = append(parts, cur.String())
			cur.Reset()
			i += 2
		default:
			cur.WriteByte(s[i])
		}
	}
	parts = append(parts, cur.String())
	if len(parts) != 3 {
		return Tag{}, false
	}
	return Tag{Component: parts[0], Check: parts[1], Position: parts[2]}, true
}
