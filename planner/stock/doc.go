// Package stock knows what a stock solution does to a system: which quantities it moves and by how much, which
// other solutions it must not meet, and what a person who handles it must be told.
//
// It decides strengths from recipes of pure salts or from a label's own claim. It never decides whether or how
// much to dose, and it does not yet judge whether a recipe dissolves.
//
// Strengths are in the quantity's canonical unit, in 1 L of water, for 1 mL of the solution. The small volume of
// the solution itself is neglected. Salts are taken as pure.
package stock
