package safety

import (
	"testing"

	"pgregory.net/rapid"
)

func ran(t Milliseconds) *Milliseconds { return &t }

// Every row of the table of run states: what counts as the most and the least that left the outlet.
func TestH09AccountTable(t *testing.T) {
	// 10 mL/min; the node ends a run by the duration inside it: the worst case is the volume.
	bounded := Commanded{Volume: 2000, Worst: 2000, Rate: 166_667, Tolerance: 50}
	// The same pump on a relay that goes off by itself after 30 s: the worst case is 5001 µL (5000.01).
	relay := Commanded{Volume: 2000, Worst: 5001, Rate: 166_667, Tolerance: 50}
	tests := []struct {
		name    string
		c       Commanded
		o       Outcome
		ran     *Milliseconds
		hi, lo  Microlitres
		comment string
	}{
		{name: "reserved, sent or started", c: bounded, o: "", hi: 2100},
		{name: "unknown", c: bounded, o: Unknown, hi: 2100},
		{name: "unknown on a relay", c: relay, o: Unknown, hi: 5252, comment: "5251.05 up"},
		{name: "unknown outcome of a later version", c: relay, o: "melted", hi: 5252},
		{name: "unknown with a run time", c: bounded, o: Unknown, ran: ran(60_000), hi: 2100, comment: "an unknown run has none"},
		{name: "refused", c: bounded, o: Refused, hi: 2100},
		{name: "refused on a relay", c: relay, o: Refused, hi: 5252},
		{name: "not sent", c: relay, o: NotSent},
		{name: "not sent with a run time", c: relay, o: NotSent, ran: ran(5000)},
		{name: "finished, no run time", c: bounded, o: Finished, hi: 2100, lo: 1900},
		{name: "finished, no run time, relay", c: relay, o: Finished, hi: 5252, lo: 1900},
		{name: "finished on time", c: bounded, o: Finished, ran: ran(12_000), hi: 2102, lo: 1900, comment: "2000.004 moved: 2001 × 1.05 = 2101.05 up, 2000 × 0.95"},
		{name: "finished just early", c: bounded, o: Finished, ran: ran(11_999), hi: 2100, lo: 1899, comment: "1999.84: 1999 × 0.95 = 1899.05"},
		{name: "finished at once", c: bounded, o: Finished, ran: ran(0), hi: 2100, lo: 0},
		{name: "finished late", c: bounded, o: Finished, ran: ran(24_000), hi: 4202, lo: 3800, comment: "4000.008 moved"},
		{name: "finished within the relay's time", c: relay, o: Finished, ran: ran(12_000), hi: 5252, lo: 1900},
		{name: "finished after the relay's time", c: relay, o: Finished, ran: ran(31_000), hi: 5426, lo: 4907, comment: "5166.677: 5167 × 1.05 = 5425.35; 5166 × 0.95 = 4907.7"},
		{name: "partial, half", c: bounded, o: Partial, ran: ran(6000), hi: 2100, lo: 950},
		{name: "partial, no run time", c: bounded, o: Partial, hi: 2100, lo: 1900},
		{name: "negative run time", c: bounded, o: Finished, ran: ran(-1), hi: 2100, lo: 0},
		{name: "seen on too long", c: bounded, o: Extra, ran: ran(36_000), hi: 6302, lo: 0, comment: "6000.012: 6001 × 1.05 = 6301.05"},
		{name: "seen on, but for less than the worst", c: relay, o: Extra, ran: ran(1000), hi: 5252, lo: 0},
		{name: "happened twice", c: bounded, o: Extra, hi: 2100, lo: 0, comment: "the second run's own share"},
		{name: "worst below the volume is not believed", c: Commanded{Volume: 2000, Worst: 0, Rate: 166_667, Tolerance: 50}, o: Unknown, hi: 2100},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if hi, lo := Account(tt.c, tt.o, tt.ran); hi != tt.hi || lo != tt.lo {
				t.Errorf("Account(%s, %q) = hi %d, lo %d; want %d, %d (%s)", tt.c.Volume, tt.o, hi, lo, tt.hi, tt.lo, tt.comment)
			}
		})
	}
}

var reported = []Outcome{Finished, Partial, Refused, Extra, Unknown, "", "melted"}

func drawCommanded(t *rapid.T) Commanded {
	v := Microlitres(rapid.Int64Range(1, 200_000).Draw(t, "volume"))
	return Commanded{
		Volume:    v,
		Worst:     v + Microlitres(rapid.Int64Range(0, 200_000).Draw(t, "beyond")),
		Rate:      Rate(rapid.Int64Range(167, 83_333_333).Draw(t, "rate")),
		Tolerance: Tolerance(rapid.Int64Range(10, 250).Draw(t, "tolerance")),
	}
}

func drawRan(t *rapid.T) *Milliseconds {
	if rapid.Bool().Draw(t, "reports a time") {
		return ran(Milliseconds(rapid.Int64Range(-10, 1<<62).Draw(t, "ran")))
	}
	return nil
}

// No report makes hi smaller than silence does, and what surely left is never more than what may have.
func TestINV9NoReportCountsLessThanSilence(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, o, at := drawCommanded(t), rapid.SampledFrom(reported).Draw(t, "outcome"), drawRan(t)
		silence, silentLo := Account(c, Unknown, nil)
		hi, lo := Account(c, o, at)
		if hi < silence {
			t.Fatalf("%+v: %q counts hi %d, silence %d", c, o, hi, silence)
		}
		if lo > hi || lo < 0 || silentLo != 0 {
			t.Fatalf("%+v: %q counts lo %d of hi %d; silence counts lo %d", c, o, lo, hi, silentLo)
		}
	})
}

// Where the node ends its runs in time, turning its report into silence does not lower hi.
func TestINV9SilenceCountsAsMuchAsATruthfulReport(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCommanded(t)
		longest := c.Rate.TimeFor(c.Worst)
		at := ran(Milliseconds(rapid.Int64Range(0, int64(longest)).Draw(t, "ran")))
		o := rapid.SampledFrom([]Outcome{Finished, Partial, Refused}).Draw(t, "outcome")
		silence, _ := Account(c, Unknown, nil)
		if hi, _ := Account(c, o, at); hi != silence {
			t.Fatalf("%+v: %q after %d ms counts hi %d, silence %d", c, o, *at, hi, silence)
		}
	})
}

// lo never exceeds rate × time × (1 − tolerance), not even by a rounding.
func TestLoIsNeverRoundedUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCommanded(t)
		at := Milliseconds(rapid.Int64Range(0, int64(RunMax)).Draw(t, "ran"))
		_, lo := Account(c, Finished, &at)
		exact := int64(c.Rate) * int64(at) * (1000 - int64(c.Tolerance)) // in 1e-9 µL, below 2^63
		if int64(lo)*1e9 > exact {
			t.Fatalf("%+v ran %d ms: lo %d µL, but only %v surely left", c, at, lo, float64(exact)/1e9)
		}
		if short := exact - int64(lo)*1e9; short >= 2e9 {
			t.Fatalf("%+v ran %d ms: lo %d µL is %v µL short of what surely left", c, at, lo, float64(short)/1e9)
		}
	})
}

// Whatever reports arrive, in any number and order, none lowers what a booking counts, and none makes it leave
// the window earlier than a run's own report does.
func TestINV9NoOutcomeLowersABooking(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCommanded(t)
		longest := c.Rate.TimeFor(c.Worst)
		b := NewBooking("a", false, 1000, longest, c)
		now := Elapsed(1000)
		for range rapid.IntRange(1, 6).Draw(t, "reports") {
			now += Elapsed(rapid.Int64Range(0, 2_000_000).Draw(t, "later"))
			o := rapid.SampledFrom(reported).Draw(t, "outcome")
			hi, lo := Account(c, o, drawRan(t))
			before := b
			b = b.Close(now, o, hi, lo)
			ownReport := before.Open && (o == Finished || o == Partial)
			switch {
			case b.Hi < before.Hi || b.Hi < hi:
				t.Fatalf("%q lowered hi from %d to %d (report %d)", o, before.Hi, b.Hi, hi)
			case b.Lo < before.Lo || b.Lo > b.Hi:
				t.Fatalf("%q made lo %d, was %d, hi %d", o, b.Lo, before.Lo, b.Hi)
			case !ownReport && b.LatestEnd < before.LatestEnd:
				t.Fatalf("%q moved the latest end from %d to %d", o, before.LatestEnd, b.LatestEnd)
			case b.Open:
				t.Fatalf("%q left the booking open", o)
			}
		}
	})
}

// not_sent frees a booking only as its first outcome; after any other it changes nothing.
func TestNotSentFreesOnlyAnOpenBooking(t *testing.T) {
	c := Commanded{Volume: 2000, Worst: 2000, Rate: 166_667, Tolerance: 50}
	open := NewBooking("a", false, 1000, 12_000, c)
	if got := open.Close(2000, NotSent, 0, 0); got.Hi != 0 || got.Lo != 0 || got.LatestEnd != 1000 || got.Open {
		t.Errorf("not_sent first = %+v; want nothing booked, latest end at the start", got)
	}
	unknown := open.Close(2000, Unknown, 2100, 0)
	if got := unknown.Close(3000, NotSent, 0, 0); got != unknown {
		t.Errorf("not_sent after unknown = %+v; want %+v unchanged", got, unknown)
	}
	late := open.Close(2000, NotSent, 0, 0).Close(3000, Finished, 2100, 1900)
	if late.Hi != 2100 || late.Lo != 1900 {
		t.Errorf("finished after not_sent = %+v; want hi 2100, lo 1900", late)
	}
}
