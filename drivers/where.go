package drivers

import (
	"fmt"
	"strconv"
	"strings"
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

// lineOf finds the line a key stands in, by its path; where the key is not
// found its table's line, else 0. The TOML library gives wrong lines inside
// repeated tables and none for unknown keys.
func lineOf(text []byte, path []any) int {
	best, bestLen := 0, 0
	count := map[string]int{}
	var at []any
	for n, raw := range strings.Split(string(text), "\n") {
		s := strings.TrimSpace(raw)
		switch {
		case s == "" || s[0] == '#':
			continue
		case strings.HasPrefix(s, "["):
			many := strings.HasPrefix(s, "[[")
			name, ok := headerName(s, many)
			if !ok {
				continue
			}
			at = at[:0]
			for _, part := range name {
				at = append(at, part)
			}
			if many {
				key := strings.Join(name, "\x00")
				at = append(at, count[key])
				count[key]++
			} else if len(name) > 1 && count[name[0]] > 0 {
				at = append([]any{name[0], count[name[0]] - 1}, at[1:]...)
			}
			if k := common(at, path); k == len(at) && k > bestLen {
				best, bestLen = n+1, k
			}
		default:
			keys, ok := keyPath(s)
			if !ok {
				continue
			}
			full := append([]any{}, at...)
			for _, k := range keys {
				full = append(full, k)
			}
			if k := common(full, path); k == len(full) && k > bestLen {
				best, bestLen = n+1, k
			}
		}
	}
	return best
}

func common(a, b []any) int {
	n := 0
	for n < len(a) && n < len(b) && a[n] == b[n] {
		n++
	}
	return n
}

func headerName(s string, many bool) ([]string, bool) {
	s = strings.TrimLeft(s, "[")
	end := strings.IndexByte(s, ']')
	if end < 0 {
		return nil, false
	}
	return dotted(s[:end])
}

func keyPath(s string) ([]string, bool) {
	if s[0] == '"' || s[0] == '\'' {
		k, err := quotedKey(s)
		return []string{k}, err
	}
	eq := strings.IndexByte(s, '=')
	if eq <= 0 {
		return nil, false
	}
	return dotted(s[:eq])
}

func quotedKey(s string) (string, bool) {
	if s[0] == '\'' {
		end := strings.IndexByte(s[1:], '\'')
		if end < 0 {
			return "", false
		}
		return s[1 : end+1], true
	}
	for i := 1; i < len(s); i++ {
		if s[i] == '\\' {
			i++
		} else if s[i] == '"' {
			if k, err := strconv.Unquote(s[:i+1]); err == nil {
				return k, true
			}
			return s[1:i], true
		}
	}
	return "", false
}

func dotted(s string) ([]string, bool) {
	parts := strings.Split(s, ".")
	for i := range parts {
		p := strings.TrimSpace(parts[i])
		if p == "" {
			return nil, false
		}
		if p[0] == '"' || p[0] == '\'' {
			if k, ok := quotedKey(p); ok {
				p = k
			}
		}
		parts[i] = p
	}
	return parts, true
}

// pathText names a key for people: line 2, pattern.
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
			b.WriteString(p)
		}
	}
	return b.String()
}
