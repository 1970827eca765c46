package planner_test

import (
	"math"
	"testing"
	"time"

	"aliquot/planner"

	"pgregory.net/rapid"
)

func TestNightCarriesItsShare(t *testing.T) {
	for _, c := range []struct {
		name         string
		cron         string
		night        planner.Night
		first, last  float64 // days of the slots at 0:00 and at 12:00
		nights, days int
	}{
		{"none", "0 */2 * * *", planner.Night{}, 1. / 12, 1. / 12, 0, 12},
		{"through midnight", "0 */2 * * *", planner.Night{From: 20 * 60, To: 8 * 60, Share: .7}, .7 / 6, .3 / 6, 6, 6},
		{"within a day", "0 */2 * * *", planner.Night{From: 0, To: 6 * 60, Share: .5}, .5 / 3, .5 / 9, 3, 9},
		{"its end belongs to the rest", "0 0,12 * * *", planner.Night{From: 20 * 60, To: 12 * 60, Share: .8}, .8, .2, 1, 1},
		{"all slots inside", "0 0,12 * * *", planner.Night{From: 20 * 60, To: 13 * 60, Share: .8}, .5, .5, 0, 2},
		{"no slot inside", "0 0,12 * * *", planner.Night{From: 1 * 60, To: 2 * 60, Share: .8}, .5, .5, 0, 2},
		{"all of it is no share", "0 0,12 * * *", planner.Night{From: 20 * 60, To: 8 * 60, Share: 1}, .5, .5, 0, 2},
		{"nothing is none", "0 0,12 * * *", planner.Night{From: 20 * 60, To: 8 * 60, Share: math.NaN()}, .5, .5, 0, 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			cal := calendar(t, c.cron, "UTC")
			cal.Night = c.night
			slots := cal.Slots(utc("2027-03-10"), utc("2027-03-11"))
			if len(slots) != c.nights+c.days {
				t.Fatalf("%d slots, want %d", len(slots), c.nights+c.days)
			}
			most, times := 0., []time.Duration{}
			for _, s := range slots {
				most, times = max(most, s.Days), append(times, s.At.Sub(utc("2027-03-10")))
			}
			if got := c.night.Most(times); math.Abs(got-most) > 1e-12 {
				t.Errorf("Most %v, want %v", got, most)
			}
			for _, s := range slots {
				switch s.At.Hour() {
				case 0:
					if math.Abs(s.Days-c.first) > 1e-12 {
						t.Errorf("the slot at 0:00 carries %v, want %v", s.Days, c.first)
					}
				case 12:
					if math.Abs(s.Days-c.last) > 1e-12 {
						t.Errorf("the slot at 12:00 carries %v, want %v", s.Days, c.last)
					}
				}
			}
		})
	}
}

// Whatever part of the day is favoured, a day carries a day, and Peak is at least that.
func TestNightLosesNothing(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		cal := calendar(t, rapid.SampledFrom([]string{"*/30 * * * *", "5 */3 * * *", "0 6,7,22 * * *"}).Draw(rt, "slots"), "Europe/Lisbon")
		cal.Night = planner.Night{From: rapid.IntRange(0, 1439).Draw(rt, "from"), To: rapid.IntRange(0, 1439).Draw(rt, "to"),
			Share: rapid.Float64Range(0, 1).Draw(rt, "share")}
		from := utc("2027-01-01").Add(time.Duration(rapid.IntRange(0, 360).Draw(rt, "day")) * 24 * time.Hour)
		sum := 0.0
		for _, s := range cal.Slots(from.Add(-24*time.Hour), from.Add(9*24*time.Hour)) {
			if key := s.Key[:10]; key >= from.Format(time.DateOnly) && key < from.Add(7*24*time.Hour).Format(time.DateOnly) {
				sum += s.Days
			}
			if !(s.Days >= 0) {
				rt.Fatalf("slot %s carries %v", s.Key, s.Days)
			}
		}
		if math.Abs(sum-7) > 1e-9 {
			rt.Fatalf("seven dates carry %v days", sum)
		}
		if p := cal.Peak(from); p.Days < 1-1e-9 {
			rt.Fatalf("Peak %+v, want a day at least", p)
		}
	})
}
