// Package screen draws a site, a day and what changed as plain text for a terminal: no colour, no control characters, at
// least 60 columns wide.
//
// It decides how things look and which words stand beside a code, with the way out of each. It asks nobody, reads no
// clock and changes nothing: the same view gives the same text.
package screen
