package machine_test

import (
	"math"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

// lateSite is the standard site with a share of the alkalinity of one supplement appearing over a time. The figures are
// invented.
func lateSite(supplement string, share float64, over time.Duration) *machine.Site {
	site := lagoon(time.UTC)
	for i := range site.Supplements {
		if p := &site.Supplements[i]; p.ID == supplement {
			p.LateShare, p.AppearsOver = share, over
		}
	}
	return site
}

// dosedBy folds one run of 80 mL (1 dKH of carbonate) and gives what it did to alkalinity at once and what it has yet to
// do, with what the level was without it taken off. The run takes minutes, in which a little is used and appears.
func dosedBy(t *testing.T, site *machine.Site, outcome machine.Outcome, before ...machine.Body) (level, caught, pending float64) {
	t.Helper()
	return dosedOf(t, site, units.Alkalinity, outcome, before...)
}

func dosedOf(t *testing.T, site *machine.Site, q units.Quantity, outcome machine.Outcome, before ...machine.Body) (level, caught, pending float64) {
	t.Helper()
	end := midnight.Add(time.Hour)
	run := machine.RunPast{Channel: "alk", Happened: end, Purpose: machine.Dose, Into: machine.IntoTank, Volume: ml(80), Outcome: outcome}
	with := ready(site).at(midnight, before...).at(end, run).fold(site)
	without := ready(site).at(midnight, before...).fold(site)
	a, b := machine.Believed(&with, "reef", q, end), machine.Believed(&without, "reef", q, end)
	return a.Level - b.Level, a.LevelCaught - a.Level - (b.LevelCaught - b.Level), a.Pending - b.Pending
}

func TestLateAlkalinityIsPending(t *testing.T) {
	for _, c := range []struct {
		name           string
		site           *machine.Site
		level, pending float64
	}{
		{"at once", lateSite("carbonate", 0, 0), 1, 0},
		{"all of it late", lateSite("carbonate", 1, 24*time.Hour), 0, 1},
		{"a quarter of it late", lateSite("carbonate", .25, 24*time.Hour), .75, .25},
		{"a share without a time", lateSite("carbonate", 1, 0), 1, 0},
		{"a time without a share", lateSite("carbonate", 0, 24*time.Hour), 1, 0},
		{"a share above 1 counts as 1", lateSite("carbonate", 7, 24*time.Hour), 0, 1},
		{"no number", lateSite("carbonate", math.NaN(), 24*time.Hour), 1, 0},
		{"another supplement is late", lateSite("chloride", 1, 24*time.Hour), 1, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			level, caught, pending := dosedBy(t, c.site, machine.Finished)
			if math.Abs(level-c.level) > .01 || math.Abs(pending-c.pending) > .01 || math.Abs(caught) > .01 {
				t.Errorf("level %+.4f, caught %+.4f, pending %+.4f; want %+.4f, 0, %+.4f", level, caught, pending, c.level, c.pending)
			}
		})
	}
}

// What has yet to appear is told, with how long that takes; null before there is a test.
func TestPendingIsShown(t *testing.T) {
	end := midnight.Add(time.Hour)
	run := machine.RunPast{Channel: "alk", Happened: end, Purpose: machine.Dose, Into: machine.IntoTank, Volume: ml(80), Outcome: machine.Finished}
	for _, c := range []struct {
		name           string
		site           *machine.Site
		pending, hours float64
	}{
		{"all of it late, 95 % within a day", lateSite("carbonate", 1, 24*time.Hour), 1, 8},
		{"at once", lateSite("carbonate", 0, 0), 0, 0},
	} {
		s := ready(c.site).at(end, run).fold(c.site)
		for _, q := range machine.Snapshot(&s).Quantities {
			want, hours := c.pending, c.hours
			if q.Quantity != string(units.Alkalinity) {
				want, hours = 0, 0
			}
			switch {
			case q.Level == nil && q.Pending != nil:
				t.Errorf("%s: %s has %v pending without a test", c.name, q.Quantity, *q.Pending)
			case q.Level != nil && (q.Pending == nil || q.PendingHours == nil || math.Abs(*q.Pending-want) > .01 || math.Abs(*q.PendingHours-hours) > .01):
				t.Errorf("%s: %s has %v pending over %v h, want %g over %g h", c.name, q.Quantity, q.Pending, q.PendingHours, want, hours)
			}
		}
		if q := machine.Snapshot(&s).Quantities[0]; q.Quantity != string(units.Alkalinity) || q.Pending == nil {
			t.Errorf("%s: the first quantity is %s with %v pending; want alkalinity, told", c.name, q.Quantity, q.Pending)
		}
	}
}

// An unknown run of a late supplement counts against raises at once, and half of it is expected to appear.
func TestLateAlkalinityOfAnUnknownRun(t *testing.T) {
	level, caught, pending := dosedBy(t, lateSite("carbonate", 1, 24*time.Hour), machine.Unknown)
	if math.Abs(level) > .01 || !(pending > .45 && pending < .55) || !(caught+pending >= 1) {
		t.Errorf("level %+.4f, caught %+.4f, pending %+.4f; want 0 and all of 1 dKH counted", level, caught, pending)
	}
}

// What the container holds now decides, not what the configuration says of it.
func TestLateAlkalinityFollowsTheContainer(t *testing.T) {
	site := lateSite("carbonate", 0, 0)
	site.Supplements = append(site.Supplements, machine.Supplement{ID: "formate", Strength: map[units.Quantity]float64{units.Alkalinity: 4.25, units.Calcium: 30}, LateShare: 1, AppearsOver: 48 * time.Hour})
	swap := machine.Swap{Container: "carbonate-jug", Supplement: "formate", Remaining: ml(4000)}
	level, _, pending := dosedBy(t, site, machine.Finished, swap, machine.Primed{Channel: "alk"})
	if math.Abs(level) > .01 || math.Abs(pending-1) > .01 {
		t.Errorf("level %+.4f, pending %+.4f; want 0 and 1", level, pending)
	}
	// Only the alkalinity is late: calcium is there at once.
	calcium, _, pending := dosedOf(t, site, units.Calcium, machine.Finished, swap)
	if want := 80 * 30. / 340; math.Abs(calcium-want) > .1 || pending != 0 {
		t.Errorf("calcium %+.2f mg/L with %.2f pending; want %+.2f at once", calcium, pending, want)
	}
}

// The caps count a late run in full when it is given (H-26).
func TestH26_CapsCountLateAlkalinityAtOnce(t *testing.T) {
	day := func(site *machine.Site) safety.Microlitres {
		h := ready(site).at(midnight.Add(time.Hour), machine.RunPast{Channel: "alk", Happened: midnight.Add(time.Hour), Purpose: machine.Dose,
			Into: machine.IntoTank, Volume: ml(80), Outcome: machine.Finished})
		s := h.fold(site)
		return ml(machine.Snapshot(&s).Channels[0].Window24hHiML)
	}
	if late, once := day(lateSite("carbonate", 1, 48*time.Hour)), day(lateSite("carbonate", 0, 0)); late != once || once < ml(80) {
		t.Errorf("a late run is booked as %v, one that acts at once as %v", late, once)
	}
}

// A container that was swapped to limewater is bounded by evaporation, whatever the configuration says is in it.
func TestLimewaterFollowsTheContainer(t *testing.T) {
	planned := func(evaporation float64, supplement string) safety.Microlitres {
		site := lagoon(time.UTC)
		site.Systems[0].Evaporation = evaporation
		for i := range site.Supplements {
			site.Supplements[i].Limewater = site.Supplements[i].ID == "limewater"
		}
		h := ready(site)
		if supplement != "" {
			h = h.at(midnight, machine.Swap{Container: "carbonate-jug", Supplement: supplement, Remaining: ml(4000)}, machine.Primed{Channel: "alk"})
		}
		s := h.fold(site)
		sum := 0.0
		for _, r := range runsOf(machine.Preview(&s, midnight.Add(6*time.Hour)), "alk") {
			sum += r.VolumeML
		}
		return ml(sum)
	}
	if without, tight := planned(0, ""), planned(1, ""); without != tight || without <= ml(1) {
		t.Errorf("carbonate is planned with %v and %v a day; evaporation must not matter", without, tight)
	}
	if lots, tight, none := planned(3000, "limewater"), planned(3, "limewater"), planned(0, "limewater"); !(lots > tight && tight <= ml(3) && none == 0) {
		t.Errorf("limewater is planned with %v, %v and %v a day where 3 L, 3 mL and nothing evaporate", lots, tight, none)
	}
}
