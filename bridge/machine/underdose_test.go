package machine_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/simnode"
	"aliquot/planner/units"
)

// dosing is a site whose alk has run by its plan for so long.
func dosing(t *testing.T, d time.Duration) *rig {
	t.Helper()
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	r.coarse = time.Minute
	r.advance(d)
	if v := r.channel("alk"); v.PlannedMLPerDay < 5 {
		t.Fatalf("alk is planned at %g mL a day; the test needs more", v.PlannedMLPerDay)
	}
	return r
}

// raisedAt advances until an alert is raised, hour by hour, and gives how long that took; at most so long.
func (r *rig) raisedAt(name string, most time.Duration) time.Duration {
	for d := time.Duration(0); d <= most; d += time.Hour {
		if _, ok := r.alerts[name]; ok {
			return d
		}
		r.advance(time.Hour)
	}
	return -1
}

func TestH10UnderDosed(t *testing.T) {
	const alert, never = "under-dosed-alk", time.Duration(-1)
	for _, c := range []struct {
		name     string
		trouble  func(*rig)
		from, to time.Duration // when it is raised; never: not within three days
	}{
		{"all is well", func(*rig) {}, never, never},
		// Half of a day's volume is missing half a day after the trouble began; here the plan of the day before was half of the
		// present one, and the lesser counts.
		{"the broker is away", func(r *rig) { r.cut() }, 12 * time.Hour, 20 * time.Hour},
		{"the board is gone", func(r *rig) { r.disconnect("board") }, 12 * time.Hour, 20 * time.Hour},
		{"nobody answers for the runs", func(r *rig) { r.net.loseReports = true }, 12 * time.Hour, 20 * time.Hour},
		{"out of service", func(r *rig) {
			r.must(machine.VerbOutOfService, machine.Request{Channel: "alk", Reason: "pump head broken"})
		}, never, never},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := dosing(t, 36*time.Hour)
			if a, ok := r.alerts[alert]; ok {
				t.Fatalf("raised before anything happened: %s", a.Text)
			}
			c.trouble(r)
			if got := r.raisedAt(alert, 72*time.Hour); got < c.from || got > c.to {
				t.Errorf("raised after %s; want %s to %s", got, c.from, c.to)
			}
		})
	}
}

// It ends when more is given again, and not at the same limit at which it began.
func TestH10UnderDosedEnds(t *testing.T) {
	r := dosing(t, 36*time.Hour)
	var plans []float64 // each hour
	hour := func() {
		r.advance(time.Hour)
		plans = append(plans, r.channel("alk").PlannedMLPerDay)
	}
	r.disconnect("board")
	for range 26 {
		hour()
	}
	a, ok := r.alerts["under-dosed-alk"]
	if !ok || a.Level != machine.Warning || !strings.Contains(a.Text, " mL in the last 24 hours, of ") {
		t.Fatalf("after a day without runs the alert is %+v, %v", a, ok)
	}
	r.reconnect("board")
	before := r.channel("alk").TotalLoML
	for range 24 {
		hour()
		if _, ok := r.alerts["under-dosed-alk"]; !ok {
			break
		}
	}
	least := slices.Min(plans[len(plans)-25:])
	run := plans[len(plans)-1] / 24
	if share := (r.channel("alk").TotalLoML - before) / least; share < .6 || share > .6+2*run/least {
		t.Errorf("it was over when %.2f of the plan were given; want .6, and at most two runs more", share)
	}
}

// A service that comes back after days knows from its ledger that nothing was given.
func TestH10UnderDosedAfterARestart(t *testing.T) {
	r := dosing(t, 36*time.Hour)
	r.crash()
	r.advance(48 * time.Hour)
	r.boot()
	r.advance(time.Minute)
	if _, ok := r.alerts["under-dosed-alk"]; !ok {
		t.Error("two days without the service are no alert")
	}
}

// A channel that was calibrated, or got its first plan, within the window has not had its time.
func TestH10UnderDosedNeedsItsTime(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	r.faults("board", simnode.Faults{})
	r.disconnect("board")
	r.advance(time.Minute)
	if a, ok := r.alerts["under-dosed-alk"]; ok {
		t.Fatalf("raised right after commissioning: %s", a.Text)
	}
	if got := r.raisedAt("under-dosed-alk", 30*time.Hour); got >= 0 && got < 23*time.Hour {
		t.Errorf("raised %s after commissioning", got)
	}
}

// A plan that was nothing, because the level was too high, and rises again is no shortfall at once.
func TestH10UnderDosedAfterAPause(t *testing.T) {
	r := dosing(t, 36*time.Hour)
	for range 2 {
		r.must(machine.VerbTest, machine.Request{System: "reef", Quantity: string(units.Alkalinity), Value: ref(9.6), Unit: "dKH", Confirm: true})
		r.advance(time.Hour)
	}
	r.advance(72 * time.Hour)
	low := r.channel("alk").PlannedMLPerDay
	r.must(machine.VerbTest, machine.Request{System: "reef", Quantity: string(units.Alkalinity), Value: ref(7.4), Unit: "dKH", Confirm: true})
	r.advance(time.Hour)
	r.must(machine.VerbTest, machine.Request{System: "reef", Quantity: string(units.Alkalinity), Value: ref(7.4), Unit: "dKH", Confirm: true})
	r.advance(time.Minute)
	if high := r.channel("alk").PlannedMLPerDay; high < 2.5*low {
		t.Fatalf("the plan went from %g to %g mL a day; the test needs a larger step", low, high)
	}
	if got := r.raisedAt("under-dosed-alk", 36*time.Hour); got >= 0 {
		t.Errorf("raised %s after a plan rose", got)
	}
}
