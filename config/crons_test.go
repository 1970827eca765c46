package config

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/planner"

	"pgregory.net/rapid"
)

func scheduleOf(t interface{ Fatalf(string, ...any) }, text string) Schedule {
	parsed, err := cronParser.Parse(text)
	if err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	return Schedule{Text: text, Cron: parsed}
}

// drawCron draws an expression of the kinds that people write.
func drawCron(rt *rapid.T) string {
	minute := rapid.SampledFrom([]string{"*", "0", "*/30", "*/7", "15,45", "5-59/10", "59"}).Draw(rt, "minute")
	hour := rapid.SampledFrom([]string{"*", "9", "*/4", "6-22/4", "20-23,0-6", "0"}).Draw(rt, "hour")
	dom := rapid.SampledFrom([]string{"*", "*", "1", "13", "*/2", "31", "29"}).Draw(rt, "day")
	month := rapid.SampledFrom([]string{"*", "*", "*/2", "2", "JAN,JUL"}).Draw(rt, "month")
	dow := rapid.SampledFrom([]string{"*", "*", "1", "MON-FRI", "0", "*/2"}).Draw(rt, "weekday")
	return strings.Join([]string{minute, hour, dom, month, dow}, " ")
}

// A calendar has exactly the instants that the library's Next gives.
func TestCalendarEqualsNext(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := scheduleOf(rt, drawCron(rt))
		cal, ok := newCalendar(s, 1, everyStart)
		if !ok {
			rt.Fatalf("%q is no calendar", s.Text)
		}
		day := everyStart.AddDate(0, 0, rapid.IntRange(0, 1500).Draw(rt, "from"))
		end := day.AddDate(0, 0, 20)
		var want, got []time.Time
		for at := s.Cron.Next(day.Add(-time.Second)); !at.IsZero() && at.Before(end); at = s.Cron.Next(at) {
			want = append(want, at)
		}
		for d := day; d.Before(end); d = d.AddDate(0, 0, 1) {
			for _, at := range cal.times {
				if cal.on(d) {
					got = append(got, d.Add(at))
				}
			}
		}
		if !slices.Equal(got, want) {
			rt.Fatalf("%q from %v: calendar has %d instants, Next gives %d", s.Text, day, len(got), len(want))
		}
	})
}

// What a slot carries at most is what the planner will ask of one.
func TestSlotVolumeEqualsPlanner(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		_, rest, _ := strings.Cut(drawCron(rt), " ")
		s := scheduleOf(rt, "15 "+rest) // few slots a day keep the planner's enumeration short
		every := rapid.SampledFrom([]int{1, 1, 2, 3, 7}).Draw(rt, "every")
		c := pump{Channel: &Channel{Slots: s, Every: every, Start: everyStart}}
		perSlot, _, _, ok := c.slotVolume(10)
		cal := planner.Calendar{Schedule: s.Cron, EveryDays: every, Start: everyStart}
		want, seen := 0.0, 0
		for _, slot := range cal.Slots(everyStart, everyStart.AddDate(0, 0, horizonDays)) {
			seen++
			want = math.Max(want, 10*slot.Days)
		}
		if seen == 0 {
			if ok {
				rt.Fatalf("%q every %d: slotVolume = %v, want none", s.Text, every, perSlot)
			}
			return
		}
		// The first day of a calendar may carry a nominal `every`, and a rare day the whole span.
		if !ok || perSlot < want*(1-1e-9) && want > 10*float64(every)+1e-9 {
			rt.Fatalf("%q every %d: slotVolume = %v, the planner asks for %v", s.Text, every, perSlot, want)
		}
	})
}

// A clash is found exactly if two slots of the two channels are nearer than they may be, by comparing all of
// them.
func TestClashEqualsComparison(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		draw := func(id string) pump {
			every := rapid.SampledFrom([]int{1, 1, 2, 5}).Draw(rt, id+" every")
			return pump{Channel: &Channel{ID: id, Slots: scheduleOf(rt, drawCron(rt)), Every: every, Start: everyStart, Limits: Limits{RunTime: 60_000}}}
		}
		a, b := draw("a"), draw("b")
		gap := rapid.SampledFrom([]time.Duration{5 * time.Minute, 14 * time.Minute, 3 * time.Hour}).Draw(rt, "gap")
		found, clash := findClash(a, b, gap)
		x, y := instants(a, 400), instants(b, 400)
		near := false
		for i, j := 0, 0; i < len(x) && j < len(y) && !near; {
			near = x[i].Sub(y[j]).Abs() < gap+time.Minute
			if x[i].Before(y[j]) {
				i++
			} else {
				j++
			}
		}
		if near && !clash {
			rt.Fatalf("%q and %q, gap %v: no clash found", a.Slots.Text, b.Slots.Text, gap)
		}
		if clash {
			between := found.t2 + time.Duration(found.days)*24*time.Hour - found.t1
			if between < 0 || between >= gap+time.Minute {
				rt.Fatalf("%q and %q, gap %v: clash %v and %v are %v apart", a.Slots.Text, b.Slots.Text, gap, found.t1, found.t2, between)
			}
		}
	})
}

func instants(c pump, days int) []time.Time {
	var list []time.Time
	cal, _ := newCalendar(c.Slots, c.Every, c.Start)
	for i := range days {
		day := c.Start.AddDate(0, 0, i)
		if !cal.on(day) {
			continue
		}
		for _, at := range cal.times {
			list = append(list, day.Add(at))
		}
	}
	return list
}

func TestSlotVolume(t *testing.T) {
	for _, c := range []struct {
		slots string
		every int
		want  float64
		slot  int
	}{
		{"15 9 * * *", 1, 2, 1},
		{"15 9 * * *", 2, 4, 1},
		{"0 * * * *", 1, 2.0 / 24, 24},
		{"15 9 * * 1", 1, 14, 1},
		{"15 9,21 * * 1-5", 1, 3, 2},
		{"15 9 1 * *", 1, 62, 1},
	} {
		p := pump{Channel: &Channel{Slots: scheduleOf(t, c.slots), Every: c.every, Start: everyStart}}
		if got, _, n, ok := p.slotVolume(2); !ok || math.Abs(got-c.want) > 1e-9 || n != c.slot {
			t.Errorf("2 mL/day at %q every %dd: %v mL in %d slots, want %v in %d", c.slots, c.every, got, n, c.want, c.slot)
		}
	}
}
