package config

import "strings"

// nearest gives the candidate that is fewest edits away from word, and "" if none is near enough to be what
// was meant: at most two edits, or a third of the word's length. The first of equals wins.
func nearest(word string, candidates []string) string {
	limit := max(2, len(word)/3)
	best, bestAt := "", limit+1
	for _, c := range candidates {
		if d := edits(fold(word), fold(c)); d < bestAt {
			best, bestAt = c, d
		}
	}
	if bestAt >= len(best) {
		return "" // every letter would have to change
	}
	return best
}

// fold makes spellings alike that people mix up: case, and space, - and _ between words.
func fold(s string) string {
	return strings.NewReplacer("-", "_", " ", "_").Replace(strings.ToLower(s))
}

// edits is the optimal string alignment distance in runes: insert, delete, replace, swap neighbours.
func edits(a, b string) int {
	x, y := []rune(a), []rune(b)
	if len(x) > 64 || len(y) > 64 {
		return 64 // no key is that long; keeps hostile input cheap
	}
	rows := make([][]int, len(x)+1)
	for i := range rows {
		rows[i] = make([]int, len(y)+1)
		rows[i][0] = i
	}
	for j := range rows[0] {
		rows[0][j] = j
	}
	for i := 1; i <= len(x); i++ {
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			d := min(rows[i-1][j]+1, rows[i][j-1]+1, rows[i-1][j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				d = min(d, rows[i-2][j-2]+1)
			}
			rows[i][j] = d
		}
	}
	return rows[len(x)][len(y)]
}

// didYouMean renders the hint for a word that is none of the candidates.
func didYouMean(word string, candidates []string) string {
	if n := nearest(word, candidates); n != "" {
		return "did you mean " + n + "?"
	}
	return ""
}
