// Package logbook tells what happened at a site from the rows of its ledger or of a history: entry by entry in words, or
// a span of time as one HTML page with plots.
//
// It decides how things are worded and drawn. What was believed it asks of the machine's own fold; it decides over no
// dose, reads no clock and changes nothing. The same rows give the same bytes.
package logbook
