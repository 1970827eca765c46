package safety

import (
	"fmt"
	"testing"
)

// BenchmarkBook reserves and ends a run beside a hundred of a day, and asks what may have been given.
func BenchmarkBook(b *testing.B) {
	book, now, n := Book{}, Elapsed(0), 0
	step := func() {
		now += day / 100
		n++
		k := NewBooking(fmt.Sprintf("01J%023d", n), false, now, 1000, twoMillilitres())
		book = book.Add(now, k)
		book = book.Replace(k.Close(now+1000, Finished, 2100, 1900))
	}
	for range 300 {
		step()
	}
	b.Run("run", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			step()
		}
	})
	b.Run("hi", func(b *testing.B) {
		for b.Loop() {
			_ = book.Hi(now, false)
		}
	})
	b.Run("latest", func(b *testing.B) {
		for b.Loop() {
			_, _ = book.LatestEnd()
		}
	})
}
