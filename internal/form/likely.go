package form

import "strings"

// Likely is the word of the list that a mistyped one probably stands for, or
// "". A third of the letters may be wrong; two neighbours swapped count as one.
func Likely(word string, words []string) string {
	word = strings.ToLower(word)
	if len(word) > maxKey {
		return ""
	}
	best, least := "", len(word)/3+1
	for _, w := range words {
		l := strings.ToLower(w)
		if strings.NewReplacer("-", "_", " ", "_").Replace(word) == strings.NewReplacer("-", "_", " ", "_").Replace(l) {
			return w
		}
		if d := distance(word, l); d < least || d == least && best == "" && d <= 2 && len(w) > 3 {
			best, least = w, d
		}
	}
	return best
}

// distance counts letters added, left out, changed or swapped with a neighbour
// (the restricted Damerau-Levenshtein distance).
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	d := make([][]int, len(x)+1)
	for i := range d {
		d[i] = make([]int, len(y)+1)
		d[i][0] = i
	}
	for j := range d[0] {
		d[0][j] = j
	}
	for i := 1; i <= len(x); i++ {
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			d[i][j] = min(d[i-1][j]+1, d[i][j-1]+1, d[i-1][j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				d[i][j] = min(d[i][j], d[i-2][j-2]+1)
			}
		}
	}
	return d[len(x)][len(y)]
}
