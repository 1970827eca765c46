package planner_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"aliquot/planner"
	"aliquot/safety"
)

func date(text string) time.Time {
	at, err := time.Parse(time.DateOnly, text)
	if err != nil {
		panic(err)
	}
	return at
}

// volumes of the runs of a plan.
func volumes(out planner.Output) []safety.Microlitres {
	var list []safety.Microlitres
	for _, r := range out.Runs {
		list = append(list, r.Volume)
	}
	return list
}

// Slots at 09:15 and 21:15 in Lisbon, 4 mL a day: 1.999 mL each, counted as 2.099 mL.
func TestACourseBoundsThePlan(t *testing.T) {
	for _, c := range []struct {
		name   string
		at     string
		course safety.Course
		given  safety.Microlitres
		want   []safety.Microlitres
		why    safety.Code
	}{
		{"within it", "2027-03-10T00:00:00Z", safety.Course{From: date("2027-03-10"), Until: date("2027-03-10")}, 0, []safety.Microlitres{1999, 2000}, ""},
		{"begins tomorrow", "2027-03-10T00:00:00Z", safety.Course{From: date("2027-03-11")}, 0, nil, safety.CourseNotBegun},
		{"begins within the day", "2027-03-10T12:00:00Z", safety.Course{From: date("2027-03-11")}, 0, []safety.Microlitres{1999}, ""},
		{"ends within the day", "2027-03-10T12:00:00Z", safety.Course{Until: date("2027-03-10")}, 0, []safety.Microlitres{1999}, ""},
		{"was over yesterday", "2027-03-11T00:00:00Z", safety.Course{Until: date("2027-03-10")}, 0, nil, safety.CourseOver},
		{"room for both, the last run exactly", "2027-03-10T00:00:00Z", safety.Course{From: date("2027-03-01"), Total: 70_000}, 65_797, []safety.Microlitres{1999, 2000}, ""},
		{"the last run is made smaller", "2027-03-10T00:00:00Z", safety.Course{From: date("2027-03-01"), Total: 70_000}, 66_500, []safety.Microlitres{1999, 1331}, ""},
		{"the last run would be too small", "2027-03-10T00:00:00Z", safety.Course{From: date("2027-03-01"), Total: 70_000}, 67_600, []safety.Microlitres{1999}, ""},
		{"all given", "2027-03-10T00:00:00Z", safety.Course{From: date("2027-03-01"), Total: 70_000}, 70_000, nil, safety.CourseOver},
		{"less left than the smallest run", "2027-03-10T00:00:00Z", safety.Course{From: date("2027-03-01"), Total: 70_000}, 69_686, nil, safety.CourseOver},
		{"the smallest run left, by arithmetic alone", "2027-03-10T00:00:00Z", safety.Course{From: date("2027-03-01"), Total: 70_000}, 69_684, nil, safety.CourseOver},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := fixed(t, "15 9,21 * * *", 0, 4)
			at, err := time.Parse(time.RFC3339, c.at)
			if err != nil {
				t.Fatal(err)
			}
			in.At, in.Channels[0].Course, in.Channels[0].CourseHi = at, c.course, c.given
			out := planner.Plan(in)
			if got := volumes(out); !slices.Equal(got, c.want) {
				t.Errorf("runs of %v; want %v (%+v)", got, c.want, out)
			}
			if (c.why == "") != (len(out.Withheld) == 0) || (c.why != "" && (out.Withheld[0].Code != c.why || out.Withheld[0].Text == "" || out.Days[0].PerDay != 0)) {
				t.Errorf("withheld %+v; want %q", out.Withheld, c.why)
			}
			if total := len(out.Notes) > 0; total != strings.Contains(c.name, "last run") {
				t.Errorf("notes %q", out.Notes)
			}
		})
	}
}

func TestASlotOutsideTheCourseIsNone(t *testing.T) {
	c := fixed(t, "15 9,21 * * *", 0, 4).Channels[0].Channel
	c.Course = safety.Course{From: date("2027-03-27"), Until: date("2027-03-28")} // the clock goes forward on the 28th
	want := []string{"2027-03-27T09:15", "2027-03-27T21:15", "2027-03-28T09:15", "2027-03-28T21:15"}
	var slots, next []string
	for _, s := range c.Slots(utc("2027-01-01"), utc("2028-01-01")) {
		slots = append(slots, s.Key)
	}
	for at := utc("2020-01-01"); ; {
		s, ok := c.NextAfter(at)
		if !ok {
			break
		}
		next, at = append(next, s.Key), s.At
	}
	if !slices.Equal(slots, want) || !slices.Equal(next, want) {
		t.Errorf("slots %v, one after the other %v; want %v", slots, next, want)
	}
}

// However a course is set up and planned, its runs, each at its most, stay within its total and its days.
func TestACourseNeverPlansMoreThanItsTotal(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		in := drawFixed(t, rt)
		c := &in.Channels[0]
		c.Course = safety.Course{From: safety.LocalDay(in.At, c.Calendar.Zone).AddDate(0, 0, rapid.IntRange(-2, 3).Draw(rt, "from")),
			Total: safety.Microlitres(rapid.IntRange(1, 300_000).Draw(rt, "total"))}
		if rapid.Bool().Draw(rt, "ends") {
			c.Course.Until = c.Course.From.AddDate(0, 0, rapid.IntRange(0, 5).Draw(rt, "days"))
		}
		c.Peak = c.Calendar.Peak(in.At) // by which a relay's runs are made fewer, slot by slot too
		c.Offset = safety.Microlitres(rapid.IntRange(-50, 50).Draw(rt, "offset"))
		c.RunsOn = max(0, c.Offset) + safety.Microlitres(rapid.IntRange(0, 30).Draw(rt, "runs_on"))
		if rapid.Bool().Draw(rt, "relay") {
			c.Worst = safety.Microlitres(rapid.IntRange(1, 60_000).Draw(rt, "worst"))
		}
		for range 6 {
			out := planner.Plan(in)
			slots := c.Slots(in.At, in.At.Add(24*time.Hour))
			one := *c
			for _, s := range slots {
				run, carry, ok := planner.RunAt(one, out.Days[0].PerDay, s)
				one.CarryNL = carry
				if !ok {
					continue
				}
				if code := c.Course.On(safety.LocalDay(s.At, c.Calendar.Zone)); code != "" {
					rt.Fatalf("a run at %s: %s", s.At, code)
				}
				hi := c.Tolerance.Above(max(c.Worst, c.Rate.VolumeIn(run.Duration)+c.RunsOn, run.Volume))
				one.CourseHi += hi
				if one.CourseHi > c.Course.Total {
					rt.Fatalf("with %v at %s the course comes to %v of %v", run.Volume, s.Key, one.CourseHi, c.Course.Total)
				}
			}
			in.At, c.CarryNL, c.CourseHi = in.At.Add(24*time.Hour), one.CarryNL, one.CourseHi
		}
	})
}
