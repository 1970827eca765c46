package machine_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner"
	"aliquot/safety"
)

func march(d int) time.Time { return time.Date(2027, 3, d, 0, 0, 0, 0, time.UTC) }

// courseSite gives the traces every morning, as a course.
func courseSite(zone *time.Location, course safety.Course) *machine.Site {
	s := lagoon(zone)
	c := &s.Channels[3]
	c.Calendar.EveryDays, c.Calendar.Start, c.Course = 0, time.Time{}, course
	return s
}

// poured is all that truly left a channel's outlet into the tank, mL.
func (k *checker) pouredML(channel string) float64 {
	var sum float64
	for _, p := range k.pours[channel] {
		if !p.intoVessel {
			sum += p.ul / 1000
		}
	}
	return sum
}

// days lists the local days on which a channel's planned runs were reserved, and their volumes.
func (r *rig) doses(channel string) (days []int, volumes []safety.Microlitres) {
	for _, row := range r.rows {
		if b, ok := row.Body.(machine.RunReserved); ok && b.Channel == channel && b.Purpose == machine.Dose {
			days, volumes = append(days, row.At.In(r.site.Zone).Day()), append(volumes, b.Volume)
		}
	}
	return days, volumes
}

// withheld counts the events that say so.
func (r *rig) countWithheld(channel string) *int {
	n := 0
	r.told = func(_ time.Time, e machine.Effect) {
		if h, ok := e.(machine.Happened); ok && h.Kind == "run_withheld" {
			if w := h.Data.(machine.WithheldEvent); w.Channel == channel {
				n++
			}
		}
	}
	return &n
}

func TestACourseBeginsAndEndsByItself(t *testing.T) {
	r := newRig(t, courseSite(time.UTC, safety.Course{From: march(3), Until: march(6)}), noon)
	r.boot()
	r.commission()
	withheld := r.countWithheld("trace")
	if c := r.channel("trace").Course; c == nil || c.State != machine.CourseAhead || *c.From != "2027-03-03" || *c.Until != "2027-03-06" || c.TotalML != nil || *c.Ends != "2027-03-06" {
		t.Errorf("on the first day: %+v", c)
	}
	if b := r.channel("trace").Withheld; len(b) != 1 || b[0].Code != safety.CourseNotBegun {
		t.Errorf("withheld on the first day: %+v", b)
	}
	r.advance(3 * 24 * time.Hour)
	if c := r.channel("trace"); c.Course.State != machine.CourseRunning || c.Next == nil || c.Next.At.Day() != 5 || len(c.Withheld) != 0 {
		t.Errorf("in the middle: %+v, %+v", c, c.Course)
	}
	r.advance(5 * 24 * time.Hour)
	if days, _ := r.doses("trace"); !slices.Equal(days, []int{3, 4, 5, 6}) {
		t.Errorf("given on the days %v of March; want 3 to 6", days)
	}
	c := r.channel("trace")
	if c.Course.State != machine.CourseEnded || c.Course.Ends != nil || c.Next != nil || c.PlannedMLPerDay != 0 || len(c.Withheld) != 1 || c.Withheld[0].Code != safety.CourseOver {
		t.Errorf("afterwards: %+v, %+v", c, c.Course)
	}
	if a := r.alerts["course-over-trace"]; !a.Raised || a.Level != machine.Notice || !strings.Contains(a.Text, "2027-03-06 was its last day") {
		t.Errorf("told of the end: %+v", a)
	}
	if *withheld > 0 {
		t.Errorf("%d runs are told as withheld; a course that is over misses nothing", *withheld)
	}
	r.check.refolds(r)
}

// The total holds through crashes, silence and restarts, counted as the most that may have been given; the last run is
// made smaller.
func TestINV1_INV14_ACourseNeverGivesMoreThanItsTotal(t *testing.T) {
	r := newRig(t, courseSite(time.UTC, safety.Course{From: march(2), Total: ml(5.5)}), noon)
	r.boot()
	r.commission()
	r.advance(24 * time.Hour) // 1.5 mL on the 2nd
	r.net.loseReports = true
	r.advance(24 * time.Hour) // as much on the 3rd, of which nobody knows
	r.net.loseReports = false
	r.must(machine.VerbRun, machine.Request{Channel: "trace", VolumeML: ref(1.0)})
	r.crash() // by hand, in the middle of the run
	r.advance(time.Minute)
	r.boot()
	r.advance(20 * time.Minute)
	r.must(machine.VerbClear, machine.Request{Channel: "trace"}) // two runs of which nobody knows
	want := 2*1.5*1.05 + 1.05
	if c := r.channel("trace").Course; c.GivenML < want-.01 || c.GivenML > want+.01 || *c.TotalML != 5.5 {
		t.Fatalf("given %v mL, want %v; %+v", c.GivenML, want, c)
	}
	r.advance(24 * time.Hour) // what is left of it on the 4th
	if days, volumes := r.doses("trace"); !slices.Equal(days, []int{2, 3, 4}) || volumes[2] >= ml(1.3) || volumes[2] < ml(1.2) {
		t.Errorf("given on %v: %v", days, volumes)
	}
	r.advance(3 * 24 * time.Hour)
	if days, _ := r.doses("trace"); len(days) != 3 {
		t.Errorf("after its total a course gives on %v", days)
	}
	if c := r.channel("trace"); c.Course.State != machine.CourseEnded || !strings.Contains(r.alerts["course-over-trace"].Text, "total of 5.5 mL") {
		t.Errorf("afterwards: %+v, %+v, %+v", c, c.Course, r.alerts["course-over-trace"])
	}
	if a := r.ask(machine.VerbRun, machine.Request{Channel: "trace", VolumeML: ref(.3)}); a.OK || a.Code != safety.CourseOver {
		t.Errorf("by hand after the end: %s %s", a.Code, a.Text)
	}
	if a := r.ask(machine.VerbPrime, machine.Request{Channel: "trace", Into: "tank", Seconds: ref(3.0)}); a.OK || a.Code != safety.CourseOver {
		t.Errorf("primed into the tank after the end: %s %s", a.Code, a.Text)
	}
	r.must(machine.VerbPrime, machine.Request{Channel: "trace", Into: "vessel", Seconds: ref(3.0)})
	r.advance(time.Minute)
	if sum := r.check.pouredML("trace"); sum > 5.5 || sum < 4.5 {
		t.Errorf("%.2f mL truly went into the tank, of a course of 5.5 mL", sum)
	}
	r.check.refolds(r)
}

// What shares the volume of a course gives nothing any more once its total is given, not only from the next plan on.
func TestWhatSharesACourseEndsWithIt(t *testing.T) {
	site := courseSite(time.UTC, safety.Course{From: march(1), Total: ml(8)})
	site.Tick = mustCron("5 0 * * *")
	site.Channels[3].FixedPerDay = 4
	c := &site.Channels[1]
	c.Mode, c.Quantity, c.ShareOf, c.ShareRatio = planner.Share, "", "trace", 1
	r := newRig(t, site, noon)
	r.boot()
	r.commission()
	r.advance(5 * 24 * time.Hour)
	var last time.Time // of the course
	given := 0
	for _, row := range r.rows {
		b, ok := row.Body.(machine.RunReserved)
		switch {
		case !ok || b.Purpose != machine.Dose:
		case b.Channel == "trace":
			last = row.At
		case b.Channel == "ca":
			given++
			if !last.IsZero() && r.channel("trace").Course.State == machine.CourseEnded && row.At.After(march(3).Add(9*time.Hour)) {
				t.Errorf("ca gives at %s, after the course ended with the run at %s", row.At.Format(time.DateTime), last.Format(time.DateTime))
			}
		}
	}
	if given == 0 || last.Day() != 3 {
		t.Errorf("ca gave %d times, the last run of the course was at %s; the test wants runs until the morning of the 3rd", given, last.Format(time.DateTime))
	}
}

// A course begins, and is counted, from the first day on by the site's zone.
func TestACourseCountsFromItsFirstLocalDay(t *testing.T) {
	zone := time.FixedZone("five east", 5*3600)
	r := newRig(t, courseSite(zone, safety.Course{From: march(2), Total: ml(50)}), noon)
	r.boot()
	r.commission()
	if a := r.ask(machine.VerbRun, machine.Request{Channel: "trace", VolumeML: ref(1.0)}); a.Code != safety.CourseNotBegun {
		t.Errorf("at %s UTC, on the local evening before: %s %s", r.trueTime().Format("15:04"), a.Code, a.Text)
	}
	r.advance(march(1).Add(19*time.Hour + time.Minute).Sub(r.trueTime()))
	r.must(machine.VerbRun, machine.Request{Channel: "trace", VolumeML: ref(1.0)})
	r.advance(time.Minute)
	if given := r.channel("trace").Course.GivenML; given < 1.04 || given > 1.06 {
		t.Errorf("given %v mL on the first day", given)
	}
}

func TestH36ACourseThatIsRaisedOrBegunAnewWaitsForAWord(t *testing.T) {
	course := safety.Course{From: march(1), Until: march(20), Total: ml(20)}
	set := func(change func(*safety.Course)) func(*machine.Site) {
		return func(s *machine.Site) {
			c := course
			change(&c)
			s.Channels[3].Course = c
		}
	}
	for _, c := range []struct {
		name   string
		change func(*machine.Site)
		want   string
	}{
		{"the same", set(func(*safety.Course) {}), ""},
		{"more in all", set(func(c *safety.Course) { c.Total++ }), "channels.trace.course.total was 20 mL and is 20.001 mL"},
		{"less in all", set(func(c *safety.Course) { c.Total /= 2 }), ""},
		{"no total", set(func(c *safety.Course) { c.Total = 0 }), "channels.trace.course.total was 20 mL and is gone"},
		{"a day longer", set(func(c *safety.Course) { c.Until = march(21) }), "channels.trace.course.until was 2027-03-20 and is 2027-03-21"},
		{"a day shorter", set(func(c *safety.Course) { c.Until = march(19) }), ""},
		{"without an end", set(func(c *safety.Course) { c.Until = time.Time{} }), "channels.trace.course.until was 2027-03-20 and is gone"},
		{"begun anew", set(func(c *safety.Course) { c.From = march(2) }), "channels.trace.course.from was 2027-03-01 and is 2027-03-02"},
		{"begun before", set(func(c *safety.Course) { c.From = march(1).AddDate(0, 0, -1) }), "from was 2027-03-01 and is 2027-02-28"},
		{"no course any more", func(*machine.Site) {}, "channels.trace.course.from was 2027-03-01 and is gone; channels.trace.course.until was 2027-03-20 and is gone; channels.trace.course.total"},
	} {
		t.Run(c.name, func(t *testing.T) {
			site := lagoon(time.UTC)
			site.Channels[3].Course = course
			r := newRig(t, site, noon)
			r.boot()
			r.commission()
			r.onSite(c.change)
			got := r.notAccepted("trace")
			if (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
				t.Fatalf("trace waits since %q; want %q", got, c.want)
			}
			if other := r.notAccepted("alk"); other != "" {
				t.Errorf("alk waits too: %s", other)
			}
			if c.want == "" {
				return
			}
			r.advance(time.Minute)
			if a := r.ask(machine.VerbRun, machine.Request{Channel: "trace", VolumeML: ref(1.0)}); a.Code != safety.NotAccepted {
				t.Errorf("a run meanwhile: %s %s", a.Code, a.Text)
			}
			r.must(machine.VerbAccept, machine.Request{What: "configuration"})
			r.crash()
			r.boot()
			if got := r.notAccepted("trace"); got != "" {
				t.Errorf("accepted, and waits again since %q", got)
			}
			r.check.refolds(r)
		})
	}
	t.Run("one more course where there was none", func(t *testing.T) {
		r := newRig(t, lagoon(time.UTC), noon)
		r.boot()
		r.commission()
		r.onSite(set(func(*safety.Course) {}))
		if got := r.notAccepted("trace"); got != "" {
			t.Errorf("it bounds what was without an end, and waits since %q", got)
		}
	})
}

// A container lasts beyond a course that takes less than it holds, and no alert speaks of it.
func TestDaysLeftKnowThatACourseEnds(t *testing.T) {
	for _, c := range []struct {
		name   string
		course safety.Course
		holds  float64 // mL, of which 20 stay
		want   float64 // days left; 0: it is not used up
	}{
		{"no course", safety.Course{}, 29, 6},
		{"over before it is empty", safety.Course{Until: march(5)}, 29, 0},
		{"over after it is empty", safety.Course{Until: march(20)}, 29, 6},
		{"begins later", safety.Course{From: march(11), Until: march(30)}, 29, 15.5},
		{"its total is less", safety.Course{From: march(1), Total: ml(8)}, 29, 0},
		{"its total is more", safety.Course{From: march(1), Total: ml(12)}, 29, 6},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, courseSite(time.UTC, c.course), noon)
			r.boot()
			r.commission()
			r.must(machine.VerbRefill, machine.Request{Container: "trace-bottle", RemainingML: &c.holds})
			r.advance(time.Second)
			got := 0.0
			if d := r.container("trace-bottle").DaysLeft; d != nil {
				got = *d
			}
			if got < c.want-.1 || got > c.want+.1 {
				t.Errorf("%v days left, want %v", got, c.want)
			}
			s := r.foldOf(r.rows)
			ahead := machine.Ahead(&s, r.trueTime()).Containers[3]
			if (ahead.Empty == nil) != (c.want == 0) || (ahead.Empty != nil && ahead.Empty.Sub(r.trueTime()).Hours()/24-c.want > .1) {
				t.Errorf("empty at %v, looked at from %s", ahead.Empty, r.trueTime())
			}
		})
	}
}

// What is taken between two moments, and until when a volume lasts, know of both ends of a course.
func TestAheadOfACourse(t *testing.T) {
	r := newRig(t, courseSite(time.UTC, safety.Course{From: march(11), Until: march(14)}), noon)
	r.boot()
	r.commission()
	s := r.foldOf(r.rows)
	o := machine.Ahead(&s, r.trueTime())
	k, c := o.Containers[3], o.Channels[3]
	if c.CourseBegins == nil || !c.CourseBegins.Equal(march(11)) || c.CourseEnds == nil || !c.CourseEnds.Equal(march(15)) || len(c.Blocked) > 0 {
		t.Errorf("the course from %v to %v, blocked %v", c.CourseBegins, c.CourseEnds, c.Blocked)
	}
	for _, q := range []struct {
		from, to int
		want     float64
	}{{2, 9, 0}, {2, 12, 1.5}, {12, 13, 1.5}, {13, 30, 3}, {2, 30, 6}, {16, 30, 0}} {
		if plan, high := k.Takes(march(q.from), march(q.to)); plan < q.want-.01 || plan > q.want+.01 || high != plan {
			t.Errorf("from the %d to the %d of March %v mL, at most %v; want %v", q.from, q.to, plan, high, q.want)
		}
	}
	for _, q := range []struct {
		from int
		ml   float64
		want int // 0: it lasts
	}{{2, 3, 13}, {12, 3, 14}, {2, 6.1, 0}, {16, .1, 0}} {
		at, ends := k.Lasts(march(q.from), q.ml)
		if ends != (q.want > 0) || (ends && at.Sub(march(q.want)).Abs() > time.Minute) {
			t.Errorf("%v mL from the %d on last until %s, %v; want the %d", q.ml, q.from, at, ends, q.want)
		}
	}
}

// A preview shows what belongs to the course and no more than its total has left.
func TestPreviewOfACourse(t *testing.T) {
	r := newRig(t, courseSite(time.UTC, safety.Course{From: march(3), Total: ml(1.2)}), noon)
	r.boot()
	r.commission()
	s := r.foldOf(r.rows)
	runs := func(at time.Time) (list []float64, codes []safety.Code) {
		v := machine.Preview(&s, at)
		for _, run := range v.Runs {
			if run.Channel == "trace" {
				list = append(list, run.VolumeML)
			}
		}
		for _, w := range v.Withheld {
			if w.Channel == "trace" {
				codes = append(codes, w.Code)
			}
		}
		return list, codes
	}
	if list, codes := runs(march(1).Add(20 * time.Hour)); len(list) != 0 || !slices.Equal(codes, []safety.Code{safety.CourseNotBegun}) {
		t.Errorf("the evening but one before: %v, %v", list, codes)
	}
	if list, codes := runs(march(2).Add(20 * time.Hour)); len(list) != 1 || list[0] > 1.2/1.05 || len(codes) != 0 {
		t.Errorf("the evening before: %v, %v", list, codes)
	}
}

// Runs that stand in a shorter ledger as sums count to a course as their own rows did; a sum that its first moment lies
// within counts whole, never less.
func TestINV1_SummedRunsCountToACourse(t *testing.T) {
	for name, from := range map[string]time.Time{"from the first day": march(1), "from a day among the sums": march(31), "from the middle of a sum": march(31)} {
		zone := time.UTC
		if name == "from the middle of a sum" {
			zone = time.FixedZone("three east", 3*60*60)
		}
		site := lagoon(zone)
		for i := range site.Channels {
			site.Channels[i].Course = safety.Course{From: from, Total: ml(5000)}
		}
		rows := condensable(site, 160, 7)
		short := shorter(t, rows, condense(rows, rows[len(rows)-1].At.AddDate(0, 0, -60)))
		whole, less := fold(site, rows), fold(site, short)
		for i, c := range machine.Snapshot(&whole).Channels {
			got, want := machine.Snapshot(&less).Channels[i].Course.GivenML, c.Course.GivenML
			if spare := got - want; want < 100 || spare < -1e-9 || spare > 6 || (zone == time.UTC && spare > 1e-9) {
				t.Errorf("%s: of %s the whole ledger counts %v mL, the shorter one %v mL", name, c.ID, want, got)
			}
		}
	}
}
