//go:build race

package faultsim

// Under the race detector everything takes ten times as long. No goroutine is at work in what is tested, so that a few
// seeds, mutations and days are enough there.
func init() {
	*seedsWanted, *seedDays = 3, 2
	fewMutants, silentSeeds = 2, 1
}
