// Package safety has the last word on every run.
//
// It decides whether one run of one channel may start now (Permit), how much every earlier run may have
// delivered (Booking, hi and lo), which lockouts, holds and interlocks stand, and whether the clock can be
// believed. It never plans, never estimates, never talks to anything, and reads no clock: time is an argument.
//
// Amounts are whole numbers: Microlitres and Milliseconds, so that sums are exact. Times on which a limit
// rests are Elapsed, a never-falling count of true milliseconds that survives restarts and clock steps.
package safety
