// Package stock knows what a stock solution does to a system: which quantities it moves and by how much, what it
// leaves behind, which other solutions it must not meet, whether it dissolves, and what a person who handles it must
// be told. It also keeps the books of ions: what calcification and nitrate do to alkalinity, and whether measured
// uses can be true together.
//
// It decides strengths from recipes of salts or from a label's own claim. It never decides whether or how much to
// dose.
//
// Strengths are in the quantity's canonical unit, in 1 L of water, for 1 mL of the solution. The small volume of the
// solution itself is neglected.
package stock
