package rehearse

import "testing"

// BenchmarkWeek lives through an untroubled week of three channels.
func BenchmarkWeek(b *testing.B) {
	for b.Loop() {
		rehearsed(b, bayOptions(b, 7, 1))
	}
}
