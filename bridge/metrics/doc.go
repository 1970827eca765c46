// Package metrics shows snapshots and counts of the machine to Prometheus.
//
// It decides names, units and label sets, nothing else. It never reads the machine's state: it is handed
// snapshots (Observe) and counts (Count), keeps the last snapshot and the sums, and answers scrapes from them, so
// that a scrape never waits for the goroutine that doses. All methods may be called from any goroutine.
//
// Labels come from configured names and closed lists only; whatever else arrives is counted under "other". It is
// the only importer of client_golang.
package metrics
