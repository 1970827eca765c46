// Package rehearse lets a site live through some weeks in virtual time: the machine that doses the real site, the
// codecs that speak to its nodes, simulated nodes, a digital tank for each system, and a keeper who primes,
// calibrates, tests, refills and sometimes forgets.
//
// It decides when things happen in the simulated world and what its keeper does, and it measures how it went. It
// holds no rule about dosing: whether a run may start, what a test means and how much is given is asked of
// bridge/machine alone, by the events that it would get live. It is a training partner, not a forecast for a real tank.
//
// Time jumps from one event to the next. Nothing sleeps, no clock is read, and the same Options with fresh nodes give
// the same rows, byte for byte. Replay folds a history that was really lived instead.
package rehearse
