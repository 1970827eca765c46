package safety

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Milliseconds on the axis.
const (
	second  Elapsed = 1000
	minute          = 60 * second
	hour            = 60 * minute
	day             = 24 * hour
	lateMax         = 15 * minute
)

func TestLimitsOnTheAxis(t *testing.T) {
	if day != Elapsed(Window/time.Millisecond) || lateMax != Elapsed(LateMax/time.Millisecond) {
		t.Fatalf("the window is %s and the latest start %s; the tests below are written for 24 h and 15 min", Window, LateMax)
	}
}

func twoMillilitres() Commanded {
	return Commanded{Volume: 2000, Worst: 2000, Rate: 1_000_000, Tolerance: 50}
}

// An unknown run stays in the window for 24 h + LateMax + the longest time it can take, to the millisecond.
func TestH09UnknownRunStaysLonger(t *testing.T) {
	const reserved, longest = 1000 * second, Milliseconds(7000)
	gone := reserved + lateMax + Elapsed(longest) + day
	for _, o := range []Outcome{Unknown, Refused, Extra} {
		booking := NewBooking("a", false, reserved, longest, twoMillilitres()).Close(reserved+5*second, o, 2100, 0)
		book := Book{}.Add(reserved, booking)
		for _, tt := range []struct {
			name string
			now  Elapsed
			want Microlitres
		}{
			{"when reserved", reserved, 2100},
			{"after exactly 24 h", reserved + day, 2100},
			{"24 h after the latest start", reserved + lateMax + day, 2100},
			{"1 ms before it leaves", gone - 1, 2100},
			{"when it leaves", gone, 0},
			{"1 ms later", gone + 1, 0},
		} {
			if got := book.Hi(tt.now, false); got != tt.want {
				t.Errorf("%s %s: booked %d µL; want %d", o, tt.name, got, tt.want)
			}
		}
		if at, open := book.LatestEnd(); at != reserved+lateMax+Elapsed(longest) || open {
			t.Errorf("%s: latest end %d, open %v; want %d, closed", o, at, open, reserved+lateMax+Elapsed(longest))
		}
	}
}

// A run whose node reported its end leaves exactly 24 h after that.
func TestReportedRunLeavesAfter24Hours(t *testing.T) {
	const reserved, reported = 1000 * second, 1009 * second
	for _, o := range []Outcome{Finished, Partial} {
		book := Book{}.Add(reserved, NewBooking("a", false, reserved, 7000, twoMillilitres()).Close(reported, o, 2100, 1900))
		for _, tt := range []struct {
			now  Elapsed
			want Microlitres
		}{
			{reserved + day, 2100},
			{reported + day - 1, 2100},
			{reported + day, 0},
		} {
			if got := book.Hi(tt.now, false); got != tt.want {
				t.Errorf("%s at +%d ms: booked %d µL; want %d", o, tt.now-reserved, got, tt.want)
			}
		}
	}
}

// An open booking never leaves, however long its outcome takes.
func TestOpenRunNeverLeavesTheWindow(t *testing.T) {
	book := Book{}.Add(0, NewBooking("a", false, 0, 7000, twoMillilitres()))
	book = book.Add(40*day, NewBooking("b", false, 40*day, 7000, twoMillilitres()))
	if got := book.Hi(40*day, false); got != 4200 {
		t.Errorf("40 days later %d µL are booked; want 4200", got)
	}
	if _, found := book.Find("a"); !found {
		t.Error("the open run was dropped")
	}
	if at, open := book.LatestEnd(); !open || at != 40*day+lateMax+7000 {
		t.Errorf("latest end %d, open %v; want %d, open", at, open, 40*day+lateMax+7000)
	}
}

func TestBookBeforeTheFirstRun(t *testing.T) {
	var book Book
	if got := book.Hi(0, false) + book.Hi(0, true); got != 0 {
		t.Errorf("an empty book holds %d µL", got)
	}
	if _, found := book.Find("a"); found {
		t.Error("an empty book found a run")
	}
	at, open := book.LatestEnd()
	if open || at+Elapsed(365*day) > 0 {
		t.Errorf("latest end %d, open %v; want long before the axis began", at, open)
	}
}

func TestBookIsNotChangedBehindItsHolder(t *testing.T) {
	before := Book{}.Add(0, NewBooking("a", false, 0, 7000, twoMillilitres()))
	a, _ := before.Find("a")
	after := before.Replace(a.Close(9*second, NotSent, 0, 0)).Add(9*second, NewBooking("b", true, 9*second, 7000, twoMillilitres()))
	if got := before.Hi(10*second, false); got != 2100 {
		t.Errorf("the old book now holds %d µL; want 2100", got)
	}
	if tank, vessel := after.Hi(10*second, false), after.Hi(10*second, true); tank != 0 || vessel != 2100 {
		t.Errorf("the new book holds %d µL for the tank, %d for vessels; want 0, 2100", tank, vessel)
	}
	if same := before.Replace(Booking{Run: "unheard of", Hi: 5}); same.Hi(10*second, false) != 2100 {
		t.Error("replacing a run that is not in the book changed it")
	}
}

// A report that comes sooner than the run can be over, forged or not, brings the next run no nearer.
func TestH37AnEarlyReportBringsNothingForward(t *testing.T) {
	for _, c := range []struct {
		name      string
		at, wants Elapsed
	}{
		{"at once", 0, 7 * second}, {"just before its end", 7*second - 1, 7 * second}, {"at its end", 7 * second, 7 * second}, {"later", 9 * second, 9 * second},
	} {
		t.Run(c.name, func(t *testing.T) {
			closed := NewBooking("a", false, 0, 7000, twoMillilitres()).Close(c.at, Finished, 0, 0)
			if closed.LatestEnd != c.wants {
				t.Errorf("latest end %d ms; want %d", closed.LatestEnd, c.wants)
			}
		})
	}
}

// naiveBook is the oracle: it keeps every booking for ever and says what counts straight from the rule.
type naiveBook struct{ all []naiveRun }

type naiveRun struct {
	vessel   bool
	open     bool
	reserved Elapsed
	longest  Elapsed
	ended    Elapsed // by the node's first report; -1 if it gave none
	extraEnd Elapsed
	hi       Microlitres
}

func (r naiveRun) lastMoment() Elapsed {
	if r.ended >= 0 {
		return max(r.ended, r.extraEnd)
	}
	return max(r.reserved+lateMax+r.longest, r.extraEnd)
}

func (n naiveBook) hi(now Elapsed, vessel bool) (sum Microlitres) {
	for _, r := range n.all {
		if r.vessel == vessel && (r.open || now < r.lastMoment()+day) {
			sum += r.hi
		}
	}
	return sum
}

func (n naiveBook) close(i int, now Elapsed, o Outcome, hi Microlitres) {
	r := &n.all[i]
	switch {
	case r.open && o == NotSent:
		r.hi, r.ended = 0, r.reserved
	case r.open && (o == Finished || o == Partial):
		r.hi, r.ended = max(r.hi, hi), max(now, r.reserved+r.longest)
	default:
		r.hi = max(r.hi, hi)
		if o == Extra {
			r.extraEnd = now
		}
	}
	r.open = false
}

// drawStep favours the lengths at which something changes.
func drawStep(t *rapid.T, longest Elapsed) Elapsed {
	edge := rapid.SampledFrom([]Elapsed{0, second, minute, 5 * minute, lateMax, lateMax + longest, hour, day - lateMax - longest, day - lateMax, day, day + lateMax, 3 * day}).Draw(t, "step")
	return max(0, edge+Elapsed(rapid.Int64Range(-2, 2).Draw(t, "off by")))
}

// For any sequence of bookings, outcomes and steps of time the book's sum is the oracle's.
func TestINV1BookAgreesWithNaiveOracle(t *testing.T) {
	const longest = Elapsed(7000)
	rapid.Check(t, func(t *rapid.T) {
		var book Book
		var naive naiveBook
		now := Elapsed(0)
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			switch rapid.IntRange(0, 2).Draw(t, "what") {
			case 0:
				now += drawStep(t, longest)
			case 1:
				c := Commanded{Volume: Microlitres(rapid.Int64Range(1, 5000).Draw(t, "volume")), Rate: 1_000_000, Tolerance: 50}
				c.Worst = c.Volume
				b := NewBooking(fmt.Sprint(len(naive.all)), rapid.Bool().Draw(t, "vessel"), now, Milliseconds(longest), c)
				book = book.Add(now, b)
				naive.all = append(naive.all, naiveRun{vessel: b.Vessel, open: true, reserved: now, longest: longest, ended: -1, extraEnd: -1, hi: b.Hi})
			case 2:
				if len(naive.all) == 0 {
					continue
				}
				i := rapid.IntRange(0, len(naive.all)-1).Draw(t, "which")
				b, found := book.Find(fmt.Sprint(i))
				if !found {
					if naive.all[i].open || now < naive.all[i].lastMoment()+day {
						t.Fatalf("run %d was dropped while it counts", i)
					}
					continue
				}
				o := rapid.SampledFrom([]Outcome{Finished, Partial, Unknown, NotSent, Refused, Extra}).Draw(t, "outcome")
				hi := Microlitres(rapid.Int64Range(0, 9000).Draw(t, "hi"))
				book = book.Replace(b.Close(now, o, hi, 0))
				naive.close(i, now, o, hi)
			}
			for _, vessel := range []bool{false, true} {
				if got, want := book.Hi(now, vessel), naive.hi(now, vessel); got != want {
					t.Fatalf("at %d ms, vessel %v: book %d µL, oracle %d", now, vessel, got, want)
				}
			}
		}
	})
}

// Middle counts what was reserved since an instant, halfway between its bounds, and tank and vessel apart.
func TestMiddleSince(t *testing.T) {
	book := Book{}.
		Add(hour, NewBooking("early", false, hour, 7000, twoMillilitres()).Close(hour+minute, Finished, 2100, 1900)).
		Add(2*hour, NewBooking("vessel", true, 2*hour, 7000, twoMillilitres()).Close(2*hour+minute, Finished, 2100, 1900)).
		Add(3*hour, NewBooking("unknown", false, 3*hour, 7000, twoMillilitres()).Close(3*hour+minute, Unknown, 2100, 0))
	for _, c := range []struct {
		name   string
		since  Elapsed
		vessel bool
		want   Microlitres
	}{
		{"all of the tank", 0, false, 2000 + 1050}, {"at the first", hour, false, 3050}, {"just behind it", hour + 1, false, 1050},
		{"the vessel", 0, true, 2000}, {"nothing since", 4 * hour, false, 0},
	} {
		if got := book.Middle(c.since, c.vessel); got != c.want {
			t.Errorf("%s: %d µL; want %d", c.name, got, c.want)
		}
	}
}

func TestLockoutsAreCodesThatAPersonEnds(t *testing.T) {
	for code, want := range map[Code]bool{NotCalibrated: true, Fault: true, OutOfService: true, LedgerRestored: true, ContainerEmpty: true,
		OnHold: false, InterlockActive: false, NodeOffline: false, DayCap: false, OK: false, ClockUntrusted: false} {
		if code.Lockout() != want {
			t.Errorf("%s is a lockout: %v; want %v", code, code.Lockout(), want)
		}
	}
}
