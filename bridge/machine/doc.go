// Package machine is the daemon's whole behaviour as one pure function: Step(state, event) gives the new state
// and a list of effects. It is the same code live, in `plan`, in `demo` and under simulation.
//
// Events carry their own time. Effects are data, and their order is part of the answer: a run's row stands
// before its command, and the shell performs nothing behind an Append that failed, except stops. A state is the
// fold of the ledger's rows (Fold) plus what is only known live: links, nodes, probes, timers.
//
// It reads no clock, starts no goroutine, logs nothing and touches no file or network.
package machine
