package safety

import (
	"strings"
	"testing"
	"time"
)

func date(month time.Month, d int) time.Time { return time.Date(2027, month, d, 0, 0, 0, 0, time.UTC) }

// onCourse lets anAsk start on the last day of a course, and fills its total exactly.
func onCourse() Facts {
	f := goodFacts()
	f.Course = Course{From: date(3, 1), Until: date(3, 14), Total: 70_000}
	f.Today, f.CourseHi = date(3, 14), 67_900
	return f
}

func TestINV8_INV14_RunsStayWithinTheirCourse(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Ask, *Facts)
		want   []Code
	}{
		{"last day, total filled exactly", func(*Ask, *Facts) {}, nil},
		{"first day", func(_ *Ask, f *Facts) { f.Today = date(3, 1) }, nil},
		{"the day before", func(_ *Ask, f *Facts) { f.Today = date(2, 28) }, []Code{CourseNotBegun}},
		{"the day after", func(_ *Ask, f *Facts) { f.Today = date(3, 15) }, []Code{CourseOver}},
		{"one µL over the total", func(_ *Ask, f *Facts) { f.CourseHi++ }, []Code{CourseOver}},
		{"the total given", func(_ *Ask, f *Facts) { f.CourseHi = 70_000 }, []Code{CourseOver}},
		{"more than the total given", func(_ *Ask, f *Facts) { f.CourseHi = 80_000 }, []Code{CourseOver}},
		{"what a relay may let through counts", func(a *Ask, _ *Facts) { a.Worst++ }, []Code{ContainerEmpty, CourseOver, DayCap, QuantityCap}},
		{"somebody stands beside it", func(a *Ask, f *Facts) { a.Attended = true; f.CourseHi++ }, []Code{CourseOver}},
		{"into a vessel", func(a *Ask, f *Facts) { a.Attended, a.Vessel = true, true; f.CourseHi++; f.Today = date(3, 15) }, nil},
		{"no total", func(_ *Ask, f *Facts) { f.Course.Total = 0; f.CourseHi = 1 << 40 }, nil},
		{"no last day", func(_ *Ask, f *Facts) { f.Course.Until = time.Time{}; f.Today = date(12, 31) }, nil},
		{"no first day", func(_ *Ask, f *Facts) { f.Course.From = time.Time{}; f.Today = date(1, 1) }, nil},
		{"no course", func(_ *Ask, f *Facts) { f.Course, f.Today, f.CourseHi = Course{}, time.Time{}, 1<<40 }, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			a, f := anAsk(), onCourse()
			c.change(&a, &f)
			wantVerdict(t, a, f, c.want...)
		})
	}
}

func TestCourseTexts(t *testing.T) {
	c := onCourse().Course
	for _, k := range []struct {
		today     time.Time
		given, hi Microlitres
		want      string
	}{
		{date(2, 1), 0, 2100, "the course begins on 2027-03-01"},
		{date(3, 20), 0, 2100, "2027-03-14 was its last day"},
		{date(3, 2), 71_000, 2100, "the course is over: of its total of 70 mL, 71 mL may have been given; for another one"},
		{date(3, 2), 69_000, 2100, "of the course's total of 70 mL, 69 mL may have been given, and a run that can add 2.1 mL no longer fits"},
		{date(3, 2), 100, 2100, ""},
	} {
		b, against := c.Against(k.today, k.given, k.hi)
		if against != (k.want != "") || !strings.Contains(b.Text, k.want) {
			t.Errorf("on %s with %s given: %v %q; want %q", k.today.Format(time.DateOnly), k.given, against, b.Text, k.want)
		}
	}
}

// The day of a course is the local one: a UTC evening can be the next day, or the one before.
func TestLocalDay(t *testing.T) {
	at := time.Date(2027, 3, 1, 23, 30, 0, 0, time.UTC)
	for offset, want := range map[int]time.Time{0: date(3, 1), 3600: date(3, 2), -86400: date(2, 28)} {
		if got := LocalDay(at, time.FixedZone("", offset)); !got.Equal(want) {
			t.Errorf("%d s east of UTC it is %s; want %s", offset, got, want)
		}
	}
}
