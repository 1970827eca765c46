package planner_test

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"aliquot/planner"
)

// slowPeak slides the window over every slot of 400 days.
func slowPeak(c planner.Calendar, from time.Time) planner.Peak {
	slots := c.Slots(from, from.Add(400*24*time.Hour))
	var p planner.Peak
	first, days := 0, 0.0
	for i, s := range slots {
		days += s.Days
		for s.At.Sub(slots[first].At) > 24*time.Hour {
			days -= slots[first].Days
			first++
		}
		p = planner.Peak{Days: max(p.Days, days), Slots: max(p.Slots, i-first+1)}
	}
	return p
}

// What Peak leaves out never holds the fullest window.
func TestPeakMissesNothing(t *testing.T) {
	minutes := []string{"*/10", "*/30", "0", "7,37"}
	hours := []string{"*", "*/2", "6-22", "1-3", "22-23,0-5"}
	dates := []string{"* * *", "* * 1-5", "* * 0,6", "1-15 * *", "* 1,7 *", "13 * 5", "2-30/2 * *"}
	zones := []string{"Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "Africa/Cairo", "Europe/Berlin"}
	rapid.Check(t, func(rt *rapid.T) {
		expr := rapid.SampledFrom(minutes).Draw(rt, "minutes") + " " + rapid.SampledFrom(hours).Draw(rt, "hours") + " " + rapid.SampledFrom(dates).Draw(rt, "dates")
		c := calendar(t, expr, rapid.SampledFrom(zones).Draw(rt, "zone"))
		c.EveryDays = rapid.SampledFrom([]int{0, 0, 0, 2, 5}).Draw(rt, "every")
		from := utc("2027-01-01")
		got, want := c.Peak(from), slowPeak(c, from)
		if got.Slots < want.Slots || got.Days < want.Days-1e-9 {
			rt.Fatalf("Peak of %q in %s every %d = %+v; every window of 400 days says %+v", expr, c.Zone, c.EveryDays, got, want)
		}
		if math.IsNaN(got.Days) {
			rt.Fatal("NaN")
		}
	})
}
