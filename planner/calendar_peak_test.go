package planner

import (
	"testing"
	"time"

	"github.com/robfig/cron/v3"
	"pgregory.net/rapid"
)

// What Peak walks over are the slots of every other walk, but for their keys.
func TestBareWalkIsTheWalk(t *testing.T) {
	minutes := []string{"*/10", "*/30", "0", "7,37", "59"}
	hours := []string{"*", "*/2", "6-22", "1-3", "22-23,0-5", "0"}
	dates := []string{"* * *", "* * 1-5", "* * 0,6", "1-15 * *", "* 1,7 *", "13 * 5", "2-30/2 * *", "29 2 *"}
	zones := []string{"UTC", "Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "Africa/Cairo", "America/Santiago"}
	rapid.Check(t, func(rt *rapid.T) {
		draw := func(of []string, label string) string { return rapid.SampledFrom(of).Draw(rt, label) }
		expr := draw(minutes, "minutes") + " " + draw(hours, "hours") + " " + draw(dates, "dates")
		schedule, err := cron.ParseStandard(expr)
		if err != nil {
			rt.Fatal(err)
		}
		zone, err := time.LoadLocation(draw(zones, "zone"))
		if err != nil {
			rt.Fatal(err)
		}
		c := Calendar{Schedule: schedule, Zone: zone, EveryDays: rapid.IntRange(0, 5).Draw(rt, "every")}
		if rapid.Bool().Draw(rt, "night") {
			c.Night = Night{From: rapid.IntRange(0, 1439).Draw(rt, "from"), To: rapid.IntRange(0, 1439).Draw(rt, "to"), Share: rapid.Float64Range(0, 1).Draw(rt, "share")}
		}
		at := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(rapid.IntRange(0, 800*24*60).Draw(rt, "at")) * time.Minute)
		whole, bare := c.walk(at), c.walk(at)
		bare.bare = true
		for n := range 400 {
			want, ok := whole.next()
			got, gotOK := bare.next()
			if want.Key = ""; got != want || gotOK != ok {
				rt.Fatalf("slot %d of %q in %s every %d, night %+v: %+v %t, want %+v %t", n, expr, zone, c.EveryDays, c.Night, got, gotOK, want, ok)
			}
			if !ok {
				return
			}
		}
	})
}
