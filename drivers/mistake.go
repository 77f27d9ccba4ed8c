package drivers

import (
	"fmt"
	"sort"
	"strings"

	"thouwright/internal/form"
)

// mistake is one thing wrong with a file. path names the key: table names, keys
// and, in repeated tables, indices from 0.
type mistake struct {
	path []any
	text string
}

func (m *mistake) Error() string { return m.text }

func wrongAt(path []any, format string, args ...any) *mistake {
	return &mistake{path, fmt.Sprintf(format, args...)}
}

// pathText names a key for people: message 2, pattern.
func pathText(path []any) string {
	var b strings.Builder
	for i, p := range path {
		switch p := p.(type) {
		case int:
			fmt.Fprintf(&b, " %d", p+1)
		case string:
			if i > 0 {
				if _, after := path[i-1].(int); after {
					b.WriteString(", ")
				} else {
					b.WriteString(".")
				}
			}
			if strings.ContainsAny(p, " .<>\\\"'{}[]") || p == "" {
				p = fmt.Sprintf("%q", p)
			}
			b.WriteString(p)
		}
	}
	return b.String()
}

func keysOf[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

func listOf(words []string) string { return strings.Join(words, ", ") }

// didYouMean is " (did you mean X?)" where a known word is near, else "".
func didYouMean(word string, known []string) string {
	if w := form.Likely(word, known); w != "" && w != word {
		return " (did you mean " + w + "?)"
	}
	return ""
}
