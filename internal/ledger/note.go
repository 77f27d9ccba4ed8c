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

// photoMark stands before a photograph's file in a note's text, sumMark behind it
// before its SHA-256.
const (
	photoMark = " [photo "
	sumMark   = " sha256="
)

// NoteText is an event's text for a finding: the place, a colon, the words,
// and the photograph's file in the job's folder with its SHA-256, if any.
func NoteText(t Tag, words, photo, sum string) string {
	s := strings.TrimSpace(words)
	if p := Place(t); p != "" {
		s = p + ": " + s
	}
	if photo != "" && sum != "" {
		photo += sumMark + sum
	}
	switch {
	case photo != "":
		s += photoMark + photo + "]"
	case strings.Contains(s, photoMark) && strings.HasSuffix(s, "]"):
		s += "." // words are never taken for a photograph
	}
	return s
}

// ParseNote takes NoteText apart. A note that names no place has an empty one.
func ParseNote(text string) (place, words, photo string) {
	text, photo, _ = cutPhoto(text)
	if p, w, ok := strings.Cut(text, ": "); ok {
		return p, w, photo
	}
	return "", text, photo
}

// NotePhoto is the photograph of a note's text and the SHA-256 it had, both
// empty without one, the sum empty where none was stated.
func NotePhoto(text string) (photo, sum string) {
	_, photo, sum = cutPhoto(text)
	return photo, sum
}

func cutPhoto(text string) (rest, photo, sum string) {
	i := strings.LastIndex(text, photoMark)
	if i < 0 || !strings.HasSuffix(text, "]") {
		return text, "", ""
	}
	photo, sum, _ = strings.Cut(text[i+len(photoMark):len(text)-1], sumMark)
	return text[:i], photo, sum
}
