package config

import "aliquot/planner/nearest"

// didYouMean renders the hint for a word that is none of the candidates.
func didYouMean(word string, candidates []string) string {
	if n := nearest.Word(word, candidates); n != "" {
		return "did you mean " + n + "?"
	}
	return ""
}
