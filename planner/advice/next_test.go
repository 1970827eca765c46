package advice_test

import (
	"strings"
	"testing"
	"time"

	"aliquot/planner"
	"aliquot/planner/advice"
	"aliquot/planner/estimate"
	"aliquot/planner/units"

	"pgregory.net/rapid"
)

const daily = 24 * time.Hour

func target(band float64, due, stale time.Duration) planner.Target {
	return planner.Target{Quantity: units.Alkalinity, Target: 8.3, Band: band, Test: planner.TestHabits{SD: .15, DueEvery: due, StaleAfter: stale}}
}

var followed = advice.Doses{Planned: 1.2, Followed: true}

func even(float64) float64 { return 1.2 }

// settled is a filter after 31 days of an even use; the last test is of day 30, now is day 31.
func settled() *estimate.Filter {
	f, _, _ := keeper(1, 31, even)
	return f
}

func TestNextTest(t *testing.T) {
	last := day(30)
	for _, c := range []struct {
		name string
		now  time.Time
		t    planner.Target
		at   time.Time // zero: see between
		why  string
	}{
		{"a wide band: stale_after", day(31), target(9, 0, 14*daily), last.Add(14 * daily), "14 days old"},
		{"a wide band: due_every", day(31), target(9, 4*daily, 14*daily), last.Add(4 * daily), "due every 4 days"},
		{"due_every above stale_after", day(31), target(9, 20*daily, 14*daily), last.Add(14 * daily), "stops correcting"},
		{"neither", day(31), target(9, 0, 0), last.Add(28 * daily), "four weeks"},
		{"due_every is over", day(31), target(9, 20*time.Hour, 14*daily), day(31), "due every 20 h"},
		{"due_every is over this moment", day(31), target(9, daily, 14*daily), day(31), "due every 1 day"},
		{"stale", day(45), target(9, 0, 14*daily), day(45), "14 days old"},
		{"a narrow band, at once", day(31), target(.05, 0, 14*daily), day(31), "known only within"},
		{"no band", day(31), target(0, 0, 14*daily), day(31), "known only within"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := advice.NextTest(c.now, settled(), c.t, followed)
			if !got.At.Equal(c.at) || !strings.Contains(got.Why, c.why) {
				t.Errorf("%v, %q; want %v and %q", got.At, got.Why, c.at, c.why)
			}
		})
	}
}

// Right after a test the next one is worth nothing for 12 hours, unless the keeper wants it.
func TestNextTestNotBefore12Hours(t *testing.T) {
	f, _, _ := keeper(1, 31, even)
	at := day(31)
	f.Test(estimate.Test{At: at, Quantity: units.Alkalinity, Value: 8.3})
	for _, c := range []struct {
		due, want time.Duration
	}{{0, 12 * time.Hour}, {12 * time.Hour, 12 * time.Hour}, {13 * time.Hour, 12 * time.Hour}, {11 * time.Hour, 11 * time.Hour}} {
		if got := advice.NextTest(at, f, target(.01, c.due, 0), followed); !got.At.Equal(at.Add(c.want)) {
			t.Errorf("due every %v: %v after the test, want %v (%s)", c.due, got.At.Sub(at), c.want, got.Why)
		}
	}
}

// The time is the one at which the estimate, given what it uses each day, really is as wide as the band.
func TestNextTestIsWhereTheIntervalIsAsWideAsTheBand(t *testing.T) {
	f := settled()
	for _, band := range []float64{.3, .5, .8} {
		got := advice.NextTest(day(31), f, target(band, 0, 60*daily), followed)
		if !strings.Contains(got.Why, "the band is") || !got.At.After(day(31)) {
			t.Fatalf("band %v: %+v", band, got)
		}
		c, e := f.Clone(), f.At(day(31), units.Alkalinity)
		rise := e.Use / e.Gain / 4
		for at := day(31); at.Before(got.At); at = at.Add(6 * time.Hour) {
			c.Dose(at, []estimate.Rise{{Quantity: units.Alkalinity, Mean: rise, Lo: rise, Hi: rise}})
		}
		if half := 1.645 * c.At(got.At, units.Alkalinity).LevelSD; half < .93*band || half > 1.07*band {
			t.Errorf("band %v: ± %.3f at %v", band, half, got.At)
		}
	}
}

func TestNextTestOfWhatIsNotKnown(t *testing.T) {
	f := estimate.New(340, []estimate.Spec{{Quantity: units.Alkalinity, Target: 8.3}})
	if got := advice.NextTest(day(1), f, target(.5, daily, 0), followed); !got.At.IsZero() || got.Why != "there is no test yet" {
		t.Errorf("without a test: %+v", got)
	}
	f = settled()
	if r := f.Test(estimate.Test{At: day(31), Quantity: units.Alkalinity, Value: 15}); r.Verdict != estimate.Held {
		t.Fatalf("15 dKH is %v", r.Verdict)
	}
	if got := advice.NextTest(day(31), f, target(9, 0, 0), followed); !got.At.Equal(day(31)) || !strings.Contains(got.Why, "second") {
		t.Errorf("with a held test: %+v", got)
	}
}

// For any tank and habit: never before now, never after what the keeper declared unless that is over, at least 12 h after
// the last test unless declared, a wider band never earlier, the filter as it was.
func TestNextTestProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, _, _ := keeper(rapid.Uint64().Draw(t, "seed"), rapid.IntRange(1, 40).Draw(t, "days"), func(float64) float64 { return .8 })
		last := f.At(day(40), units.Alkalinity).LastAccepted
		now := day(rapid.Float64Range(40, 60).Draw(t, "now"))
		due := time.Duration(rapid.IntRange(0, 30).Draw(t, "due")) * daily
		stale := time.Duration(rapid.IntRange(0, 30).Draw(t, "stale")) * daily
		d := advice.Doses{Planned: rapid.Float64Range(0, 3).Draw(t, "planned"), Followed: rapid.Bool().Draw(t, "followed")}
		before := f.At(now, units.Alkalinity)
		was := time.Time{}
		for band := .05; band < 2; band *= 1.3 {
			got := advice.NextTest(now, f, target(band, due, stale), d)
			switch {
			case got.At.Before(now):
				t.Fatalf("band %v: %v is before now, %v", band, got.At, now)
			case due > 0 && got.At.After(latest(now, last.Add(due))):
				t.Fatalf("band %v: %v is after the last test, %v, and %v", band, got.At, last, due)
			case stale > 0 && got.At.After(latest(now, last.Add(stale))):
				t.Fatalf("band %v: %v is after the last test, %v, and %v", band, got.At, last, stale)
			case got.At.Before(last.Add(12 * time.Hour)):
				t.Fatalf("band %v: %v is less than 12 h after the last test, %v", band, got.At, last)
			case got.At.Before(was):
				t.Fatalf("band %v: %v, a narrower one %v", band, got.At, was)
			}
			was = got.At
		}
		if after := f.At(now, units.Alkalinity); after.LevelSD != before.LevelSD || after.Level != before.Level {
			t.Fatalf("the filter changed: %+v, before %+v", after, before)
		}
	})
}

func latest(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

func BenchmarkNextTest(b *testing.B) {
	f := settled()
	for b.Loop() {
		advice.NextTest(day(31), f, target(9, 0, 14*daily), followed)
	}
}
