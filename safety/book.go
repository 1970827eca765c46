package safety

import (
	"slices"
	"time"
)

// Booking is a run as the caps see it.
type Booking struct {
	Run       string
	tag       uint32       // of Run, to tell most others apart without looking at them; 0: not known
	Vessel    bool         // the outlet was in a vessel, not in the tank
	Start     Elapsed      // when it was reserved
	Longest   Milliseconds // the most the node can be on for it
	LatestEnd Elapsed      // the latest moment at which it can still have been running
	Volume    Microlitres  // commanded
	Hi        Microlitres
	Lo        Microlitres
	Open      bool // no outcome yet
}

// NewBooking reserves. Until an outcome is known the run may start as late as LateMax and last for longest.
func NewBooking(run string, vessel bool, now Elapsed, longest Milliseconds, c Commanded) Booking {
	hi, _ := Account(c, Unknown, nil)
	return Booking{Run: run, tag: tagOf(run), Vessel: vessel, Start: now, Longest: longest, LatestEnd: latestEnd(now, longest), Volume: c.Volume, Hi: hi, Open: true}
}

func latestEnd(reserved Elapsed, longest Milliseconds) Elapsed {
	return reserved + Elapsed(LateMax/time.Millisecond) + Elapsed(longest)
}

// Close gives the booking its outcome. An outcome that a node reported ends the run now, but not sooner than the run
// could last: a forged report brings no other run forward. Any other outcome leaves the latest end where it was. A
// second call may only raise Hi and LatestEnd.
func (b Booking) Close(now Elapsed, o Outcome, hi, lo Microlitres) Booking {
	first := b.Open
	b.Open = false
	switch {
	case first && o == NotSent:
		b.Hi, b.Lo, b.LatestEnd = 0, 0, b.Start
	case first && (o == Finished || o == Partial):
		b.Hi, b.Lo, b.LatestEnd = max(b.Hi, hi), lo, max(now, b.Start+Elapsed(b.Longest))
	default:
		b.Hi, b.Lo = max(b.Hi, hi), max(b.Lo, lo)
		if o == Extra {
			b.LatestEnd = max(b.LatestEnd, now)
		}
	}
	return b
}

// leaves is when the booking has left every rolling window.
func (b *Booking) leaves() Elapsed { return b.LatestEnd + Elapsed(Window/time.Millisecond) }

// Book holds a channel's bookings of the last window, oldest first. It is a value: what is done to a copy is not seen
// in the book that it was copied from. Copies share memory, so that all of them belong to one goroutine.
type Book struct {
	earlier []Booking // all but the last, never written to
	last    Booking   // apart, because it is nearly always the one whose outcome comes
	any     bool      // whether there is a last one
}

// all goes through the bookings, oldest first. What it shows is not to be written to.
func (b *Book) all(yield func(*Booking) bool) {
	for i := range b.earlier {
		if !yield(&b.earlier[i]) {
			return
		}
	}
	if b.any {
		yield(&b.last)
	}
}

// Add appends a booking and drops those that have left the window. The place behind the earlier bookings is used if it is
// still blank: otherwise another copy has taken it.
func (b Book) Add(now Elapsed, booking Booking) Book {
	kept := b.earlier
	for len(kept) > 0 && kept[0].gone(now) {
		kept = kept[1:]
	}
	n := len(kept)
	switch {
	case !b.any:
	case n < cap(kept) && kept[:n+1][n] == (Booking{}) && b.last != (Booking{}) && !b.last.gone(now) && !anyGone(kept, now):
		kept = append(kept, b.last)
	default:
		own := make([]Booking, 0, n+n/8+4) // room for an eighth more: a farm has thousands of books
		for k := range b.all {
			if !k.gone(now) {
				own = append(own, *k)
			}
		}
		if n := len(own); n > 0 && own[n-1] == (Booking{}) { // it looks like a free place: no copy may take it for one
			own = slices.Clip(own)
		}
		kept = own
	}
	return Book{kept, booking, true}
}

// gone says whether a booking counts no more.
func (b *Booking) gone(now Elapsed) bool { return !b.Open && b.leaves() <= now }

func anyGone(list []Booking, now Elapsed) bool {
	for i := range list {
		if list[i].gone(now) {
			return true
		}
	}
	return false
}

// Find gives the booking of a run.
func (b Book) Find(run string) (Booking, bool) {
	tag := tagOf(run)
	if b.any && b.last.is(run, tag) {
		return b.last, true
	}
	for i := len(b.earlier) - 1; i >= 0; i-- {
		if b.earlier[i].is(run, tag) {
			return b.earlier[i], true
		}
	}
	return Booking{}, false
}

// Replace puts a changed booking in the place of those with the same run.
func (b Book) Replace(booking Booking) Book {
	own, tag := false, tagOf(booking.Run)
	for i := range b.earlier {
		if !b.earlier[i].is(booking.Run, tag) {
			continue
		}
		if !own {
			b.earlier, own = slices.Clone(b.earlier), true
		}
		b.earlier[i] = booking
	}
	if b.any && b.last.is(booking.Run, tag) {
		b.last = booking
	}
	return b
}

// is says whether it is that run's.
func (b *Booking) is(run string, tag uint32) bool {
	return (b.tag == tag || b.tag == 0) && b.Run == run
}

// tagOf is made of the last letters of an id: those of one day begin alike.
func tagOf(run string) uint32 {
	const letters, prime = 8, 16777619 // FNV's
	tag := uint32(len(run))
	for i := max(0, len(run)-letters); i < len(run); i++ {
		tag = tag*prime ^ uint32(run[i])
	}
	return max(1, tag)
}

// Hi is the most that the channel may have dispensed into the tank, or into vessels, in the window that ends now.
func (b Book) Hi(now Elapsed, vessel bool) Microlitres {
	var sum Microlitres
	for k := range b.all {
		if k.Vessel == vessel && (k.Open || k.leaves() > now) {
			sum += k.Hi
		}
	}
	return sum
}

// Middle is halfway between the most and the least that runs reserved since an instant have dispensed into the tank,
// or into vessels. It reaches back no further than the window.
func (b Book) Middle(since Elapsed, vessel bool) Microlitres {
	var sum Microlitres
	for k := range b.all {
		if k.Vessel == vessel && k.Start >= since {
			sum += (k.Hi + k.Lo) / 2
		}
	}
	return sum
}

// LatestEnd is the latest moment at which the channel can have been running, and whether a run is open. Before
// the first booking it is the beginning of the axis's past.
func (b Book) LatestEnd() (at Elapsed, open bool) {
	at = beforeEverything
	for k := range b.all {
		at, open = max(at, k.LatestEnd), open || k.Open
	}
	return at, open
}

const beforeEverything Elapsed = -1 << 60
