// Package units knows the quantities of a marine system, the units people write them in, and how texts such
// as "8.3 dKH" or "340 L" are read.
//
// It decides what a unit means, which unit is canonical inside the program, whether an entered value can be a
// level of that quantity at all, and how large a daily change may be asked for. It never guesses a missing
// unit and never converts silently: a value that is plausible only in another unit is refused with a hint.
//
// Parsers accept a point as decimal mark, an optional exponent, and a unit. They refuse infinities, NaN,
// hexadecimal numbers, digit separators and decimal commas. Whatever they accept is finite.
package units
