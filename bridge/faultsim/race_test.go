//go:build race

package faultsim

// Under the race detector everything takes ten times as long: fewer seeds do, since no goroutine is at work in what is
// tested.
func init() { *seedsWanted, *seedDays = 4, 3 }
