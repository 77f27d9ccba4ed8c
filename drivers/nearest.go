package drivers

import (
	"sort"
	"strings"
)

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
	best, least := "", len(word)/2+1
	for _, k := range known {
		if n := distance(strings.ToLower(word), strings.ToLower(k)); n < least {
			best, least = k, n
		}
	}
	if best == "" || best == word {
		return ""
	}
	return " (did you mean " + best + "?)"
}

// distance counts the letters to change, add, leave out or swap with the next.
func distance(a, b string) int {
	prev, row := make([]int, len(b)+1), make([]int, len(b)+1)
	old := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		old, prev, row = prev, row, old
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(prev[j]+1, row[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], old[j-2]+1)
			}
		}
	}
	return row[len(b)]
}
