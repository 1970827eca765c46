// Package metering relates seconds of pumping to millilitres: calibrations from trials by volume or by mass, the
// line through trials of different lengths, what changed since the last one, volumes of lines, the lift that a
// channel can do.
//
// It decides whether a calibration is good enough and how far to trust it. It never stores one, never starts a
// pump, and never changes a rate that a person has not confirmed where confirmation is asked for.
package metering
