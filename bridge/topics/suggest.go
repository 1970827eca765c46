package topics

import "strings"

// suggest gives ": did you mean …?" for a word that is none of the candidates, "" if none is near.
func suggest(word string, candidates []string) string {
	best, bestAt := "", max(2, len(word)/3)+1
	for _, c := range candidates {
		d := edits(fold(word), fold(c))
		if strings.HasPrefix(fold(c), fold(word)+"_") || strings.HasPrefix(fold(word), fold(c)+"_") {
			d = min(d, 1) // the unit left out, or one too many
		}
		if d < bestAt && d < len(c) {
			best, bestAt = c, d
		}
	}
	if best == "" {
		return ""
	}
	return `: did you mean "` + best + `"?`
}

func fold(s string) string {
	return strings.NewReplacer("-", "_", " ", "_").Replace(strings.ToLower(s))
}

// edits counts the bytes to insert, delete or replace.
func edits(a, b string) int {
	if len(a) > 64 || len(b) > 64 {
		return 64 // no name is that long; keeps hostile input cheap
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, diagonal+1)
		}
	}
	return row[len(b)]
}
