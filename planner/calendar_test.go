package planner_test

import (
	"math"
	"testing"
	"time"

	"github.com/robfig/cron/v3"
	"pgregory.net/rapid"

	"aliquot/planner"
)

func mustSchedule(t testing.TB, expr string) planner.Schedule {
	t.Helper()
	s, err := cron.ParseStandard(expr)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func mustZone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

func utc(s string) time.Time {
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04", "2006-01-02"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t
		}
	}
	panic("bad time " + s)
}

func calendar(t testing.TB, expr, zone string) planner.Calendar {
	return planner.Calendar{Schedule: mustSchedule(t, expr), Zone: mustZone(t, zone)}
}

// clockChanges are nights of both kinds. Lord Howe moves by half an hour; Kolkata is a half-hour zone that
// never changes; Cairo changes at midnight itself.
var clockChanges = []struct {
	name, zone, date string
	slots            int // of */30 on that local date
	hours            float64
}{
	{"Lisbon spring", "Europe/Lisbon", "2027-03-28", 46, 23},
	{"Lisbon autumn", "Europe/Lisbon", "2027-10-31", 48, 25},
	{"New York spring", "America/New_York", "2027-03-14", 46, 23},
	{"New York autumn", "America/New_York", "2027-11-07", 48, 25},
	{"Lord Howe spring", "Australia/Lord_Howe", "2027-10-03", 47, 23.5},
	{"Lord Howe autumn", "Australia/Lord_Howe", "2027-04-04", 48, 24.5},
	{"Kolkata", "Asia/Kolkata", "2027-03-28", 48, 24},
	{"Cairo spring at midnight", "Africa/Cairo", "2027-04-30", 46, 23},
}

func TestH13EachSlotKeyOnceOnClockChanges(t *testing.T) {
	for _, c := range clockChanges {
		t.Run(c.name, func(t *testing.T) {
			cal := calendar(t, "*/30 * * * *", c.zone)
			day := utc(c.date)
			from := time.Date(day.Year(), day.Month(), day.Day()-1, 0, 0, 0, 0, cal.Zone)
			slots := cal.Slots(from, from.AddDate(0, 0, 3))
			seen, days, n, instants := map[string]int{}, 0.0, 0, map[time.Time]bool{}
			for _, s := range slots {
				seen[s.Key]++
				if instants[s.At] {
					t.Errorf("two slots at %v", s.At)
				}
				instants[s.At] = true
				if s.Key[:10] == c.date {
					n, days = n+1, days+s.Days
				}
			}
			for k, n := range seen {
				if n != 1 {
					t.Errorf("slot %s comes %d times, want once", k, n)
				}
			}
			if n != c.slots {
				t.Errorf("%s has %d slots, want %d", c.date, n, c.slots)
			}
			if math.Abs(days-1) > 1e-9 {
				t.Errorf("the slots of %s carry %v days of demand, want 1", c.date, days)
			}
		})
	}
}

func TestH13MissingAndDoubledTimes(t *testing.T) {
	for _, c := range []struct{ name, expr, zone, from, key, at string }{
		{"missing: first valid minute", "30 1 * * *", "Europe/Lisbon", "2027-03-28T00:00:00Z", "2027-03-28T01:30", "2027-03-28T01:00:00Z"},
		{"doubled: first occurrence", "30 1 * * *", "Europe/Lisbon", "2027-10-30T12:00:00Z", "2027-10-31T01:30", "2027-10-31T00:30:00Z"},
		{"missing in New York", "15 2 * * *", "America/New_York", "2027-03-14T05:00:00Z", "2027-03-14T02:15", "2027-03-14T07:00:00Z"},
		{"doubled in New York", "15 1 * * *", "America/New_York", "2027-11-07T04:00:00Z", "2027-11-07T01:15", "2027-11-07T05:15:00Z"},
		{"missing half hour", "10 2 * * *", "Australia/Lord_Howe", "2027-10-02T00:00:00Z", "2027-10-03T02:10", "2027-10-02T15:30:00Z"},
		{"doubled half hour", "45 1 * * *", "Australia/Lord_Howe", "2027-04-03T00:00:00Z", "2027-04-04T01:45", "2027-04-03T14:45:00Z"},
		{"no change", "45 1 * * *", "Asia/Kolkata", "2027-04-03T00:00:00Z", "2027-04-04T01:45", "2027-04-03T20:15:00Z"},
		{"missing midnight", "0 0 * * *", "Africa/Cairo", "2027-04-29T12:00:00Z", "2027-04-30T00:00", "2027-04-29T22:00:00Z"},
		{"a whole date skipped", "0 12 * * *", "Pacific/Apia", "2011-12-30T00:00:00Z", "2011-12-30T12:00", "2011-12-30T10:00:00Z"},
	} {
		t.Run(c.name, func(t *testing.T) {
			slots := calendar(t, c.expr, c.zone).Slots(utc(c.from), utc(c.from).Add(24*time.Hour))
			if len(slots) == 0 || slots[0].Key != c.key || !slots[0].At.Equal(utc(c.at)) {
				t.Errorf("slots of %q from %s = %+v, want the first %s at %s", c.expr, c.from, slots, c.key, c.at)
			}
		})
	}
}

func TestH13EveryTwoHoursOnBothNights(t *testing.T) {
	cal := calendar(t, "0 */2 * * *", "Europe/Lisbon")
	for _, c := range []struct {
		from  string
		first []string
	}{
		{"2027-03-28T00:00:00Z", []string{"2027-03-28T00:00:00Z", "2027-03-28T01:00:00Z", "2027-03-28T03:00:00Z"}},
		{"2027-10-30T23:00:00Z", []string{"2027-10-30T23:00:00Z", "2027-10-31T02:00:00Z", "2027-10-31T04:00:00Z"}},
	} {
		got := cal.Slots(utc(c.from), utc(c.from).Add(25*time.Hour))
		for i, want := range c.first {
			if !got[i].At.Equal(utc(want)) {
				t.Errorf("slot %d from %s is at %v, want %s", i, c.from, got[i].At, want)
			}
		}
	}
}

func TestMergedSlotsKeepTheFirstKeyAndAllTheDemand(t *testing.T) {
	slots := calendar(t, "*/30 * * * *", "Europe/Lisbon").Slots(utc("2027-03-28T01:00:00Z"), utc("2027-03-28T01:01:00Z"))
	if len(slots) != 1 || slots[0].Key != "2027-03-28T01:00" || math.Abs(slots[0].Days-3.0/48) > 1e-12 {
		t.Errorf("slots at the gap = %+v, want one with key 01:00 (merged with 01:30 and 02:00), 3/48 days", slots)
	}
	if slots[0].Interval != 30*time.Minute {
		t.Errorf("interval %v, want 30m", slots[0].Interval)
	}
}

func TestDaysOfSparseSchedules(t *testing.T) {
	for _, c := range []struct {
		name, expr string
		every      int
		start      string
		from       string
		keys       []string
		days       []float64
	}{
		{"24 times a day", "0 * * * *", 0, "", "2027-03-01", []string{"2027-03-01T00:00", "2027-03-01T01:00"}, []float64{1. / 24, 1. / 24}},
		{"weekdays", "0 8 * * 1-5", 0, "", "2027-03-05", []string{"2027-03-05T08:00", "2027-03-08T08:00", "2027-03-09T08:00"}, []float64{1, 3, 1}},
		{"weekdays twice", "0 8,20 * * 1-5", 0, "", "2027-03-08", []string{"2027-03-08T08:00", "2027-03-08T20:00", "2027-03-09T08:00"}, []float64{1.5, 1.5, .5}},
		{"monthly", "0 8 1 * *", 0, "", "2027-02-15", []string{"2027-03-01T08:00", "2027-04-01T08:00", "2027-05-01T08:00"}, []float64{28, 31, 30}},
		{"monthly in a leap year", "0 8 1 * *", 0, "", "2028-02-15", []string{"2028-03-01T08:00"}, []float64{29}},
		{"the 31st", "0 8 31 * *", 0, "", "2027-01-15", []string{"2027-01-31T08:00", "2027-03-31T08:00", "2027-05-31T08:00"}, []float64{31, 59, 61}},
		{"29 February", "0 8 29 2 *", 0, "", "2027-01-15", []string{"2028-02-29T08:00"}, []float64{1461}},
		{"every 2d, no start", "0 8 * * *", 2, "", "2000-01-01", []string{"2000-01-01T08:00", "2000-01-03T08:00"}, []float64{2, 2}},
		{"every 2d before 2000", "0 8 * * *", 2, "", "1999-12-29", []string{"1999-12-30T08:00", "2000-01-01T08:00"}, []float64{2, 2}},
		{"every 3d from a start", "0 8 * * *", 3, "2027-03-02", "2027-02-01", []string{"2027-03-02T08:00", "2027-03-05T08:00"}, []float64{3, 3}},
		{"every 2d twice a day", "0 8,20 * * *", 2, "2027-03-02", "2027-03-03", []string{"2027-03-04T08:00", "2027-03-04T20:00"}, []float64{1, 1}},
		{"start alone", "0 8 * * *", 0, "2027-03-02", "2027-02-01", []string{"2027-03-02T08:00", "2027-03-03T08:00"}, []float64{1, 1}},
		{"every 2d over a leap day", "0 8 * * *", 2, "2028-02-28", "2028-02-28", []string{"2028-02-28T08:00", "2028-03-01T08:00"}, []float64{2, 2}},
		{"mondays, every 14d", "0 8 * * 1", 14, "2027-03-01", "2027-03-02", []string{"2027-03-15T08:00", "2027-03-29T08:00"}, []float64{14, 14}},
	} {
		t.Run(c.name, func(t *testing.T) {
			cal := calendar(t, c.expr, "Etc/UTC")
			cal.EveryDays = c.every
			if c.start != "" {
				cal.Start = utc(c.start)
			}
			at := utc(c.from).Add(-time.Nanosecond)
			for i := range c.keys {
				s, ok := cal.NextAfter(at)
				if !ok || s.Key != c.keys[i] || math.Abs(s.Days-c.days[i]) > 1e-9 {
					t.Fatalf("slot %d = %+v (%v), want %s with %v days", i, s, ok, c.keys[i], c.days[i])
				}
				at = s.At
			}
		})
	}
}

// scheduleFunc is a schedule made of one function, here mostly of a bad one.
type scheduleFunc func(time.Time) time.Time

func (b scheduleFunc) Next(t time.Time) time.Time { return b(t) }

func TestCalendarsThatNeverFireEnd(t *testing.T) {
	never := mustSchedule(t, "0 0 30 2 *")
	for _, c := range []struct {
		name string
		cal  planner.Calendar
	}{
		{"zero value", planner.Calendar{}},
		{"30 February", planner.Calendar{Schedule: never}},
		{"a Monday that is never counted", planner.Calendar{Schedule: mustSchedule(t, "0 8 * * 1"), EveryDays: 7, Start: utc("2027-03-02")}},
		{"stands still", planner.Calendar{Schedule: scheduleFunc(func(t time.Time) time.Time { return t })}},
		{"goes back", planner.Calendar{Schedule: scheduleFunc(func(t time.Time) time.Time { return t.Add(-time.Hour) })}},
	} {
		t.Run(c.name, func(t *testing.T) {
			at := utc("2027-03-01")
			if s, ok := c.cal.NextAfter(at); ok {
				t.Errorf("NextAfter = %+v, want none", s)
			}
			if got := c.cal.Slots(at, at.AddDate(1, 0, 0)); len(got) != 0 {
				t.Errorf("Slots = %+v, want none", got)
			}
			if p := c.cal.Peak(at); p != (planner.Peak{}) {
				t.Errorf("Peak = %+v, want none", p)
			}
		})
	}
}

func TestSubMinuteSchedulesGiveOneSlotAMinute(t *testing.T) {
	cal := planner.Calendar{Schedule: scheduleFunc(func(t time.Time) time.Time { return t.Truncate(time.Second).Add(time.Second) })}
	if n := len(cal.Slots(utc("2027-03-01"), utc("2027-03-02"))); n != 24*60 {
		t.Errorf("%d slots in a day, want one a minute", n)
	}
}

func TestSlotsIncludeFromAndExcludeTo(t *testing.T) {
	cal := calendar(t, "0 8 * * *", "Etc/UTC")
	at := utc("2027-03-01T08:00:00Z")
	if n := len(cal.Slots(at, at.Add(24*time.Hour))); n != 1 {
		t.Errorf("%d slots in [08:00, 08:00 next day), want 1", n)
	}
	if n := len(cal.Slots(at.Add(1), at.Add(24*time.Hour))); n != 0 {
		t.Errorf("%d slots just after the slot, want 0", n)
	}
	if s, ok := cal.NextAfter(at); !ok || !s.At.Equal(at.Add(24*time.Hour)) {
		t.Errorf("NextAfter(slot) = %v, want the day after", s.At)
	}
}

func TestPeak(t *testing.T) {
	for _, c := range []struct {
		expr, zone string
		every      int
		days       float64
		slots      int
	}{
		{"0 8 * * *", "Etc/UTC", 0, 2, 2},
		{"*/30 * * * *", "Etc/UTC", 0, 49. / 48, 49},
		{"*/30 * * * *", "Europe/Lisbon", 0, 51. / 48, 49}, // the 23 h day, and one slot more
		{"0 8 * * *", "Etc/UTC", 2, 2, 1},
		{"0 8 * * 1-5", "Etc/UTC", 0, 4, 2},
		{"0 8 1 * *", "Etc/UTC", 0, 31, 1},
	} {
		cal := calendar(t, c.expr, c.zone)
		cal.EveryDays = c.every
		p := cal.Peak(utc("2027-01-15"))
		if math.Abs(p.Days-c.days) > 1e-9 || p.Slots != c.slots {
			t.Errorf("Peak of %q in %s every %d = %+v, want %v days, %d slots", c.expr, c.zone, c.every, p, c.days, c.slots)
		}
	}
}

// Any span cut in two gives the same slots, in order, each with the interval to its successor.
func TestSlotsProperty(t *testing.T) {
	exprs := []string{"*/30 * * * *", "0 */2 * * *", "7,37 1-3 * * *", "0 8 31 * *", "30 2 * * 0", "15 9 * * *", "0 12 13 * 5"}
	zones := []string{"Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "Africa/Cairo"}
	rapid.Check(t, func(rt *rapid.T) {
		cal := calendar(t, rapid.SampledFrom(exprs).Draw(rt, "expr"), rapid.SampledFrom(zones).Draw(rt, "zone"))
		cal.EveryDays = rapid.IntRange(0, 3).Draw(rt, "every")
		from := utc("2027-01-01").Add(time.Duration(rapid.IntRange(0, 500*24*60).Draw(rt, "from")) * time.Minute)
		mid := from.Add(time.Duration(rapid.IntRange(0, 4*24*60).Draw(rt, "mid")) * time.Minute)
		to := mid.Add(time.Duration(rapid.IntRange(0, 4*24*60).Draw(rt, "to")) * time.Minute)
		whole := cal.Slots(from, to)
		parts := append(cal.Slots(from, mid), cal.Slots(mid, to)...)
		if len(whole) != len(parts) {
			rt.Fatalf("%d slots in one, %d in two parts", len(whole), len(parts))
		}
		for i, s := range whole {
			if s != parts[i] {
				rt.Fatalf("slot %d is %+v in one, %+v in two parts", i, s, parts[i])
			}
			if s.At.Before(from) || !s.At.Before(to) || !(s.Days > 0) {
				rt.Fatalf("slot %+v outside [%v, %v) or without demand", s, from, to)
			}
			if i > 0 && whole[i-1].At.Add(whole[i-1].Interval) != s.At {
				rt.Fatalf("interval of %+v does not lead to %+v", whole[i-1], s)
			}
		}
	})
}

func BenchmarkSlotsOfADay(b *testing.B) {
	cal := calendar(b, "*/30 * * * *", "Europe/Lisbon")
	at := utc("2027-03-27T10:00:00Z")
	for b.Loop() {
		cal.Slots(at, at.Add(24*time.Hour))
	}
}

func BenchmarkPeak(b *testing.B) {
	cal := calendar(b, "*/30 * * * *", "Europe/Lisbon")
	for b.Loop() {
		cal.Peak(utc("2027-03-27"))
	}
}
