package planner_test

import (
	"testing"
	"time"

	"aliquot/planner"
)

// The longest interval is that of the slots one by one, however sparse the schedule is.
func TestLongestInterval(t *testing.T) {
	tests := []struct {
		name, expr, zone string
		every            int
		want             time.Duration // of 400 slots; 0: as one by one
	}{
		{"every half hour", "*/30 * * * *", "UTC", 1, 30 * time.Minute},
		{"thrice a day", "0 6,9,22 * * *", "UTC", 1, 13 * time.Hour},
		{"once a day through a clock change", "0 12 * * *", "Europe/Lisbon", 1, 25 * time.Hour},
		{"midnight that is skipped", "0 0 * * *", "Africa/Cairo", 1, 25 * time.Hour},
		{"every third day", "0 12 * * *", "UTC", 3, 72 * time.Hour},
		{"mondays", "0 12 * * 1", "UTC", 1, 7 * 24 * time.Hour},
		{"once a year", "0 12 1 1 *", "UTC", 1, 366 * 24 * time.Hour},
		{"29 February", "0 12 29 2 *", "UTC", 1, 0},
		{"never", "0 12 30 2 *", "UTC", 1, 0},
	}
	from := time.Date(2001, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := calendar(t, tt.expr, tt.zone)
			c.EveryDays = tt.every
			for _, n := range []int{0, 1, 2, 64, 400} {
				if got, want := c.LongestInterval(from, n), oneByOne(c, from, n); got != want {
					t.Errorf("of %d slots %s, one by one %s", n, got, want)
				}
			}
			if got := c.LongestInterval(from, 400); tt.want != 0 && got != tt.want {
				t.Errorf("%s, want %s", got, tt.want)
			}
		})
	}
}

func oneByOne(c planner.Calendar, at time.Time, n int) (longest time.Duration) {
	for range n {
		slot, ok := c.NextAfter(at)
		if !ok {
			break
		}
		longest, at = max(longest, slot.Interval), slot.At
	}
	return longest
}
