package ledger

import "strings"

// Place writes a tag as people read it, and as event texts begin:
// 'left swivel pin / play in bushes / left lock'. Empty names are left out.
func Place(t Tag) string {
	var b strings.Builder
	for _, s := range []string{t.Stage, t.Component, t.Check, t.Position} {
		if s == "" {
			continue
		}
		if b.Len() > 0 {
			b.WriteString(" / ")
		}
		b.WriteString(s)
	}
	return b.String()
}

// photoMark stands before a photograph's file in a note's text.
const photoMark = " [photo "

// NoteText is an event's text for a finding: the place, a colon, the words,
// and the photograph's file in the job's folder, if any.
func NoteText(t Tag, words, photo string) string {
	s := strings.TrimSpace(words)
	if p := Place(t); p != "" {
		s = p + ": " + s
	}
	if photo != "" {
		s += photoMark + photo + "]"
	}
	return s
}

// ParseNote takes NoteText apart. A note that names no place has an empty one.
func ParseNote(text string) (place, words, photo string) {
	if i := strings.LastIndex(text, photoMark); i >= 0 && strings.HasSuffix(text, "]") {
		photo = text[i+len(photoMark) : len(text)-1]
		text = text[:i]
	}
	if p, w, ok := strings.Cut(text, ": "); ok {
		return p, w, photo
	}
	return "", text, photo
}
