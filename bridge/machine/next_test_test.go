package machine_test

import (
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

// dueView starts a machine on an even history and gives what it shows after each of some days without a test.
func dueView(t *testing.T, every time.Duration, days int) (last time.Time, views []machine.SiteView) {
	t.Helper()
	site := lagoon(time.UTC)
	site.Systems[0].Targets[0].Test.DueEvery = every
	h, last := growing(site, 0)
	s := h.fold(site)
	begin := last.Add(2 * time.Hour)
	s, _ = machine.Step(s, safety.Instant{Wall: begin, Synced: true}, machine.Booted{Instance: "one"})
	for m := time.Duration(0); m <= time.Duration(days)*24*time.Hour; m += time.Hour {
		s, _ = machine.Step(s, safety.Instant{Wall: begin.Add(m), Mono: m, Synced: true}, machine.Woke{})
		views = append(views, machine.Snapshot(&s))
	}
	return last, views
}

// The next test is one moment, never later than the reminder, and it stays once it has come.
func TestNextTestIsOneMoment(t *testing.T) {
	const alert = "test-due-reef-alkalinity"
	for _, c := range []struct {
		name  string
		every time.Duration
		why   string
	}{
		{"the reminder comes first", 36 * time.Hour, "a test is due every 36 h"},
		{"the level is unknown before", 30 * 24 * time.Hour, "the level is known only within"},
		{"no reminder", 0, "the level is known only within"},
	} {
		last, views := dueView(t, c.every, 12)
		var come *time.Time
		raised := 0
		for _, v := range views {
			q := quantityOf(t, v, units.Alkalinity)
			if q.NextTest == nil || q.NextTestWhy == "" {
				t.Fatalf("%s: at %v there is no next test", c.name, v.At)
			}
			if due := q.TestDue; c.every > 0 && (due == nil || !due.Equal(last.Add(c.every)) || due.Before(*q.NextTest)) || c.every == 0 && due != nil {
				t.Errorf("%s: test_due %v beside next_test %v", c.name, due, q.NextTest)
			}
			if c.every > 0 && q.NextTest.After(last.Add(c.every)) {
				t.Errorf("%s: the next test is due at %v, later than %v after %v", c.name, q.NextTest, c.every, last)
			}
			if come != nil && !come.Equal(*q.NextTest) {
				t.Errorf("%s: it was due at %v and is due at %v", c.name, come, q.NextTest)
			}
			if !q.NextTest.After(v.At) {
				come = q.NextTest
			}
			for _, a := range v.Alerts {
				if a.Name == alert && a.Raised {
					raised++
					if !q.TestDue.Before(v.At) {
						t.Errorf("%s: at %v, due at %v: %q", c.name, v.At, q.TestDue, a.Text)
					}
				}
			}
		}
		if within := c.every > 0 && c.every < 12*24*time.Hour; (raised > 0) != within || come == nil {
			t.Errorf("%s: it came %v, the alert stood %d times", c.name, come, raised)
		}
		if q := quantityOf(t, views[0], units.Alkalinity); !strings.Contains(q.NextTestWhy, c.why) {
			t.Errorf("%s: why %q; want %q", c.name, q.NextTestWhy, c.why)
		}
	}
}
