// Package bridge is the shell around bridge/machine: one goroutine owns the running state, takes events from a
// bounded queue, and performs the machine's effects in their order. It turns messages into events and effects
// into messages, through bridge/node and bridge/topics, and reaches the broker, the ledger, the metrics and the
// clock through interfaces that it defines itself.
//
// It decides nothing about a run. What it owes the machine is order and honesty: rows are on disk before what
// stands behind them is done, a run command leaves only over an open connection and only in time, and what was
// not handed over is reported back as such.
package bridge
