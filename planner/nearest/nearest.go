// Package nearest finds what a misspelt word probably meant.
//
// It decides how near two spellings are, and nothing else: it never corrects, and its callers only ask "did you mean".
package nearest

import (
	"sort"
	"strings"
)

// Word gives the candidate that is fewest edits away from word, and "" if none is near enough to be what was meant: at
// most two edits, or a third of the word's length. A unit left out, or one too many ("volume" for "volume_ml"), is one
// edit. The first of equals wins.
func Word(word string, candidates []string) string {
	best, bestAt := "", max(2, len(word)/3)+1
	for _, c := range candidates {
		d := Edits(Fold(word), Fold(c))
		if strings.HasPrefix(Fold(c), Fold(word)+"_") || strings.HasPrefix(Fold(word), Fold(c)+"_") {
			d = min(d, 1)
		}
		if d < bestAt && d < len(c) { // else every letter would have to change
			best, bestAt = c, d
		}
	}
	return best
}

// Names gives the n candidates with the fewest edits to word, those of one distance in their order.
func Names(word string, candidates []string, n int) []string {
	list := append([]string(nil), candidates...)
	sort.SliceStable(list, func(i, j int) bool { return Edits(word, list[i]) < Edits(word, list[j]) })
	return list[:min(n, len(list))]
}

// Fold makes spellings alike that people mix up: case, and space, - and _ between words.
func Fold(s string) string {
	return strings.NewReplacer("-", "_", " ", "_").Replace(strings.ToLower(s))
}

// longest is more than any name has; it keeps hostile input cheap.
const longest = 64

// Edits is the optimal string alignment distance in runes: insert, delete, replace, swap neighbours. It is 64 where
// either text is longer than that.
func Edits(a, b string) int {
	x, y := []rune(a), []rune(b)
	if len(x) > longest || len(y) > longest {
		return longest
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
