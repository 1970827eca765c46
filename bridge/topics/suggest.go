package topics

import "aliquot/planner/nearest"

// suggest gives ": did you mean …?" for a word that is none of the candidates, "" if none is near.
func suggest(word string, candidates []string) string {
	if n := nearest.Word(word, candidates); n != "" {
		return `: did you mean "` + n + `"?`
	}
	return ""
}
