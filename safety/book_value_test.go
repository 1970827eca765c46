package safety

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// plainAdd is what Add means, without any memory that books share.
func plainAdd(bookings []Booking, now Elapsed, booking Booking) []Booking {
	var kept []Booking
	for _, old := range bookings {
		if old.Open || old.leaves() > now {
			kept = append(kept, old)
		}
	}
	return append(kept, booking)
}

// list gives the bookings.
func (b Book) list() (list []Booking) {
	for k := range b.all {
		list = append(list, *k)
	}
	return list
}

// Books branch: whatever is added to or replaced in one copy, the others hold what they held.
func TestBooksAreValues(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		books, want := []Book{{}}, [][]Booking{nil}
		now := Elapsed(0)
		for n := range rapid.IntRange(1, 60).Draw(t, "steps") {
			from := rapid.IntRange(0, len(books)-1).Draw(t, "from")
			now += Elapsed(rapid.SampledFrom([]Elapsed{0, minute, 5 * hour, day}).Draw(t, "later"))
			// A run may be booked twice, and ids may end alike.
			id := fmt.Sprintf("%d-of-the-run-%02d", rapid.IntRange(0, 3).Draw(t, "first"), rapid.SampledFrom([]int{n, n, 0, 1}).Draw(t, "id"))
			k := NewBooking(id, false, now, 1000, twoMillilitres())
			if rapid.Bool().Draw(t, "closed") {
				k = k.Close(now, Finished, 2100, 1900)
			}
			if rapid.IntRange(0, 9).Draw(t, "blank") == 0 {
				k = Booking{}
			}
			book, plain := books[from].Add(now, k), plainAdd(want[from], now, k)
			if rapid.IntRange(0, 4).Draw(t, "replaced") == 0 {
				k = plain[rapid.IntRange(0, len(plain)-1).Draw(t, "which")].Close(now, Unknown, 2200, 0)
				book = book.Replace(k)
				plain = slices.Clone(plain)
				for i := range plain {
					if plain[i].Run == k.Run {
						plain[i] = k
					}
				}
			}
			books, want = append(books, book), append(want, plain)
			for i := range books {
				if got := books[i].list(); !slices.Equal(got, want[i]) {
					t.Fatalf("after step %d book %d holds %+v, want %+v", n, i, got, want[i])
				}
			}
		}
	})
}

// A run added to a book of a whole day costs a fraction of an allocation.
func TestAddingSeldomAllocates(t *testing.T) {
	b, now := Book{}, Elapsed(0)
	add := func() {
		now += hour
		b = b.Add(now, Booking{Run: "a", Start: now, LatestEnd: now})
	}
	for range 100 {
		add()
	}
	if got := testing.AllocsPerRun(1000, add); got > 0 {
		t.Errorf("%.0f allocations for a run, want none as a rule (the mean is rounded down)", got)
	}
}
