package estimate_test

import (
	"math"
	"testing"

	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

func TestH29OutliersAreHeld(t *testing.T) {
	for _, c := range []struct {
		name  string
		value float64
		want  estimate.Verdict
	}{
		{"just inside", 8.3 + 1.4, estimate.Accepted}, // four predicted sd are 1.5 dKH here
		{"just outside", 8.3 + 1.6, estimate.Held},
		{"typed ten times too high", 80, estimate.Held},
		{"far too low", 5.2, estimate.Held},
		{"inside below", 7.6, estimate.Accepted},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := steady(t)
			before := at(f, 12)
			r := f.Test(alk(12, c.value))
			if r.Verdict != c.want {
				t.Fatalf("8.3 → %v is %v (distance %.2f, limit %.2f), want %v", c.value, r.Verdict, r.Distance, r.Limit, c.want)
			}
			e := at(f, 12)
			if c.want == estimate.Held && (e.Level != before.Level || e.Consumption != before.Consumption ||
				e.Held == nil || e.Held.Value != c.value || e.TestsSetAside != 1 || !e.LastAccepted.Equal(before.LastAccepted)) {
				t.Errorf("a held test changed the estimate: %+v, before %+v", e, before)
			}
		})
	}
}

// steady is a system with a settled estimate: four tests of 8.3, 1.2 dKH a day used and dosed.
func steady(t *testing.T) *estimate.Filter {
	t.Helper()
	f := newFilter()
	for d := 0.; d < 12; d += 3 {
		if r := f.Test(alk(d, 8.3)); r.Verdict != estimate.Accepted {
			t.Fatalf("day %v: %+v", d, r)
		}
		doseDaily(f, d, d+3, 1.2)
	}
	return f
}

func TestH29TheSecondTestEver(t *testing.T) {
	for _, c := range []struct {
		name       string
		value      float64
		dose, days float64
		want       estimate.Verdict
	}{
		{"ten times", 80, 1.2, 3, estimate.Held},
		{"a fall that dosing makes unlikely", 5.2, 1.2, 3, estimate.Held},
		{"deliveries met the use", 8.1, 2.5, 4, estimate.Accepted},
		{"nothing dosed, nothing used", 8, 0, 4, estimate.Accepted},
		{"nothing dosed, 0.6 a day used", 5.6, 0, 4, estimate.Accepted},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := newFilter()
			f.Test(alk(0, 8))
			doseDaily(f, 0, c.days, c.dose)
			if r := f.Test(alk(c.days, c.value)); r.Verdict != c.want {
				t.Errorf("8.0, then %v: %v (distance %.2f, limit %.2f), want %v", c.value, r.Verdict, r.Distance, r.Limit, c.want)
			}
		})
	}
}

// What one test makes up of the use is told apart, and only that.
func TestH29UseThatOneTestRaised(t *testing.T) {
	f := newFilter()
	f.Test(alk(0, 8.3))
	near(t, "after the first test", at(f, 0).UseRaised, 0, 0)
	was := at(f, 1).UseAtTarget
	f.Test(alk(1, 6.6))
	near(t, "after a second one that raises the use", at(f, 1).UseRaised, at(f, 1).UseAtTarget-was, 1e-9)
	if !(at(f, 1).UseRaised > 0.5) {
		t.Errorf("a fall of 1.7 dKH in a day raises the use by %.2f, want more than 0.5", at(f, 1).UseRaised)
	}
	doseDaily(f, 1, 2, 1.5)
	f.Test(alk(2, 8.1))
	near(t, "after a third one that lowers it", at(f, 2).UseRaised, 0, 0)
	was = at(f, 3).UseAtTarget
	f.Test(alk(3, 6.6))
	near(t, "after a fourth", at(f, 3).UseRaised, at(f, 3).UseAtTarget-was, 1e-9)
}

func TestH29TheNextTestResolves(t *testing.T) {
	for _, c := range []struct {
		name        string
		held, next  float64
		verdict     estimate.Verdict
		resolved    estimate.Resolution
		level       float64
		used, aside int
	}{
		{"refuted", 5.2, 8.2, estimate.Accepted, estimate.Refuted, 8.25, 5, 1},
		{"confirmed", 5.2, 5.3, estimate.Accepted, estimate.Confirmed, 5.25, 6, 0},
		{"confirmed high", 10.2, 10.1, estimate.Accepted, estimate.Confirmed, 10.15, 6, 0},
		{"agrees with neither", 5.2, 10.4, estimate.Held, estimate.Refuted, 8.3, 4, 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := steady(t)
			f.Test(alk(12, c.held))
			r := f.Test(alk(12.1, c.next))
			e := at(f, 12.1)
			if r.Verdict != c.verdict || r.Resolved != c.resolved || e.TestsUsed != c.used || e.TestsSetAside != c.aside {
				t.Errorf("%+v, used %d, aside %d; want %v, %v, %d, %d", r, e.TestsUsed, e.TestsSetAside, c.verdict, c.resolved, c.used, c.aside)
			}
			near(t, "level", e.Level, c.level, .2)
			if held := e.Held != nil; held != (c.verdict == estimate.Held) {
				t.Errorf("still held: %v", held)
			}
		})
	}
}

// A held test is carried on with what happens to the system until the next test comes.
func TestH29AHeldTestMovesWithTheSystem(t *testing.T) {
	f := steady(t)
	f.Test(alk(12, 6))
	f.WaterChange(day(13), .5, []estimate.Level{{Quantity: units.Alkalinity, Value: 8}})
	f.Dose(day(13), rise(.6))
	e := at(f, 13)
	near(t, "held level", e.HeldLevel, (6-1.2)/2+4+.6, .3) // the use may have grown as well
	if r := f.Test(alk(13, e.HeldLevel)); r.Resolved != estimate.Confirmed {
		t.Errorf("a test at the held level %v: %+v, want confirmed", e.HeldLevel, r)
	}
}

// When the use changes, a held test's distance goes on growing. The next test, whenever it comes, still confirms.
func TestH29AChangedUseIsConfirmedDaysLater(t *testing.T) {
	for _, c := range []struct {
		name  string
		use   float64
		later float64 // days between the held test and the next
	}{{"uptake stops", 0, 3}, {"uptake stops, asked again at once", 0, .05}, {"uptake trebles", 3, 1}, {"uptake stops, a week", 0, 7}} {
		t.Run(c.name, func(t *testing.T) {
			f := steady(t)
			doseDaily(f, 12, 15, 1.2)
			level := 8.3 + 3*(1.2-c.use)
			if r := f.Test(alk(15, level)); r.Verdict != estimate.Held {
				t.Fatalf("%v is %+v, want held", level, r)
			}
			doseDaily(f, 15, 15+c.later, 1.2)
			level += c.later * (1.2 - c.use)
			if r := f.Test(alk(15+c.later, level)); r.Verdict != estimate.Accepted || r.Resolved != estimate.Confirmed {
				t.Fatalf("%v after %v days: %+v, want confirmed", level, c.later, r)
			}
			e := at(f, 15+c.later)
			near(t, "level", e.Level, level, .4)
			if was, is := math.Abs(1.2-c.use), math.Abs(e.UseAtTarget-c.use); is > .75*was {
				t.Errorf("use %v, want it nearer to %v", e.UseAtTarget, c.use)
			}
		})
	}
}

func TestAConfirmedTestIsTakenAtOnce(t *testing.T) {
	f := steady(t)
	test := alk(12, 5.2)
	test.Confirmed = true
	if r := f.Test(test); r.Verdict != estimate.Accepted {
		t.Fatalf("%+v, want accepted", r)
	}
	near(t, "level", at(f, 12).Level, 5.2, .2)
	f = steady(t)
	f.Test(alk(12, 9.9))
	test = alk(12.2, 7)
	test.Confirmed = true
	if r := f.Test(test); r.Verdict != estimate.Accepted || r.Resolved != estimate.Refuted {
		t.Errorf("confirmed test beside a held one: %+v, want accepted, the other refuted", r)
	}
}

func TestH28DoubtfulTestsConfirmNothing(t *testing.T) {
	f := newFilter()
	doubtful := alk(0, 143)
	doubtful.Doubtful = true
	if r := f.Test(doubtful); r.Verdict != estimate.Held || at(f, 0).Known {
		t.Fatalf("a doubtful first test: %+v, want held", r)
	}
	doubtful.At = day(1)
	if r := f.Test(doubtful); r.Verdict != estimate.Held || at(f, 1).Known {
		t.Fatalf("the same mistake twice: %+v, want held", r)
	}
	if r := f.Test(alk(2, 8)); r.Verdict != estimate.Accepted || r.Resolved != estimate.Refuted || at(f, 2).TestsSetAside != 2 {
		t.Fatalf("a good test afterwards: %+v %+v", r, at(f, 2))
	}
	doubtful.At = day(3)
	doubtful.Confirmed = true
	if r := f.Test(doubtful); r.Verdict != estimate.Accepted {
		t.Errorf("confirmed: %+v, want accepted", r)
	}
}

// What is not far enough to be held may still well be wrong, and then counts for less.
func TestASuspiciousTestCountsForLess(t *testing.T) {
	for _, c := range []struct {
		name    string
		by      float64
		suspect bool
	}{{"fits", 0, false}, {"a scatter of the kit", .2, false}, {"much lower", -.95, true}, {"much higher", .95, true}} {
		t.Run(c.name, func(t *testing.T) {
			f := newFilter()
			for d := 0.; d < 60; d += 2 { // a tank that is known well
				f.Test(alk(d, 8.3+.1*math.Sin(d)))
				doseDaily(f, d, d+2, 1.2)
			}
			before := at(f, 60)
			r := f.Test(alk(60, before.Level+c.by))
			if r.Verdict != estimate.Accepted || (r.Gross > .3) != c.suspect {
				t.Fatalf("%+v, want accepted, suspicious: %v", r, c.suspect)
			}
			if moved := math.Abs(at(f, 60).Level - before.Level); c.suspect && moved > .6*math.Abs(c.by) {
				t.Errorf("the level moved by %.2f dKH for a suspicious test at a distance of %.2f", moved, c.by)
			}
		})
	}
}
