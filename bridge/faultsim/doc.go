// Package faultsim lets the real bridge/machine live in a simulated world in which everything fails: processes die at
// any step, power goes, disks lose, refuse or dawdle, links break or hang, messages get lost, late, doubled and out of
// order, nodes reboot, fall deaf or do not switch off, clocks step, strangers speak on the topics, a second daemon
// comes up, and the keeper makes mistakes.
//
// One Scenario is one trace: a seed and a list of faults with their times decide everything, so that the same scenario
// happens again, byte for byte, and a fault can be taken out of a failing one to see whether it matters (Shrink).
//
// The checker stands outside. It knows true time, what the simulated nodes truly delivered, what went over the wire,
// the rows that became durable, and the site's limits; it never asks the machine what the machine believes.
//
// It holds no rule about dosing, reads no clock, starts no goroutine and touches no file. What lies outside the
// assumptions of the caps (a contact that is welded, a stranger who commands a pump, a second daemon with an old copy of
// the ledger) is told apart and judged by other rules than the caps.
//
// RUNS.md keeps the running count of what it has lived through, and what was found.
package faultsim
