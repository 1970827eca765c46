// Package report shows a rehearsal, or a replayed history, as one HTML page: plots as inline SVG with a text
// alternative each, no script, nothing from elsewhere, light and dark as the reader prefers.
//
// It decides how figures look and which plain words stand for a code. It computes nothing about a tank, and the same
// result gives the same bytes. Shapes, dashes and words carry every meaning; colours only repeat it.
package report
