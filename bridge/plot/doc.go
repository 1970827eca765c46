// Package plot draws values over time as inline SVG with a text alternative, in the classes of one style sheet: light and
// dark as the reader prefers, and on paper.
//
// It decides how things look. It knows nothing of a tank, reads no clock, and the same values give the same bytes. Shapes
// and dashes carry every meaning; colours only repeat it.
package plot
