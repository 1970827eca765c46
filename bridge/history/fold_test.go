package history

import (
	"math"
	"reflect"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner"
	"aliquot/planner/metering"
	"aliquot/planner/units"
	"aliquot/safety"
)

// hourly fires at each full hour.
type hourly struct{}

func (hourly) Next(t time.Time) time.Time { return t.Truncate(time.Hour).Add(time.Hour) }

func reef() *machine.Site {
	strength := map[units.Quantity]float64{units.Alkalinity: 4.23}
	return &machine.Site{Name: "harbour-shed", Zone: time.UTC, ClockTrust: safety.TrustDeclared, Tick: hourly{},
		Systems: []planner.System{{ID: "nursery", Kind: planner.Coral, NetLitres: 340, Targets: []planner.Target{
			{Quantity: units.Alkalinity, Target: 8.3, Band: 0.5, MaxRise: 0.7, MaxFall: 0.7, Test: planner.TestHabits{SD: 0.15, StaleAfter: 240 * time.Hour}}}}},
		Supplements: []machine.Supplement{{ID: "carbonate", Strength: strength}, {ID: "weak", Strength: map[units.Quantity]float64{units.Alkalinity: 2}}},
		Containers:  []machine.Container{{ID: "jug", Supplement: "carbonate", Capacity: 5_000_000, Stop: 150_000}},
		Nodes:       []machine.Node{{ID: "board", Style: machine.BoundedRun}},
		Channels: []machine.Channel{{Channel: planner.Channel{ID: "alk", System: "nursery", Mode: planner.Follow, Quantity: units.Alkalinity, Strength: strength,
			Calendar: planner.Calendar{Schedule: hourly{}}, SmallestRun: 300, PerRun: 5000, PerDay: 90_000, Tolerance: 50},
			Container: "jug", Node: "board", Output: 1, Limits: safety.Limits{SmallestRun: 300, PerRun: 5000, PerDay: 90_000, RunTime: 60_000, Rest: 5 * time.Minute}}},
		Probes: []machine.Probe{{ID: "ph", System: "nursery", Quantity: units.PH, Low: 7, High: 9, StaleAfter: time.Minute}},
	}
}

// folded gives what the outside sees of a site after rows.
func folded(rows []machine.Row) machine.SiteView {
	f := machine.NewFold(reef())
	for _, r := range rows {
		f.Add(r)
	}
	s := f.State()
	return machine.Snapshot(&s)
}

// same compares the water, containers and channels of two views. What may have left the outlet and what a
// container surely holds must be equal: caps rest on them. What surely left may differ by a µL or two a run, since
// a line says what moved and not the least of it; so may what follows from it.
func same(t *testing.T, got, want machine.SiteView) {
	t.Helper()
	near := func(name string, got, want, within float64) {
		if !(math.Abs(got-want) <= within) {
			t.Errorf("%s = %v, of the ledger %v", name, got, want)
		}
	}
	equal := func(name string, got, want any) {
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s = %+v, of the ledger %+v", name, got, want)
		}
	}
	q, wq := got.Quantities[0], want.Quantities[0]
	near("level", *q.Level, *wq.Level, 1e-4)
	near("level's sd", *q.LevelSD, *wq.LevelSD, 1e-4)
	near("consumption", *q.ConsumptionPerDay, *wq.ConsumptionPerDay, 1e-4)
	equal("tests used", q.TestsUsed, wq.TestsUsed)
	equal("last test", q.LastTest, wq.LastTest)

	c, wc := got.Channels[0], want.Channels[0]
	near("lo", c.TotalLoML, wc.TotalLoML, 0.005)
	equal("hi", c.TotalHiML, wc.TotalHiML)
	equal("window", c.Window24hHiML, wc.Window24hHiML)
	equal("rate", c.RateMLPerMin, wc.RateMLPerMin)
	equal("calibrated", c.Calibrated, wc.Calibrated)
	equal("primed", c.Primed, wc.Primed)
	equal("pump time", c.RunSeconds, wc.RunSeconds)
	equal("last run", c.LastRun, wc.LastRun)
	equal("last outcome", c.LastOutcome, wc.LastOutcome)
	equal("what withholds the channel", c.Withheld, wc.Withheld)
	equal("what withholds the system", got.Systems, want.Systems)

	k, wk := got.Containers[0], want.Containers[0]
	equal("supplement", k.Supplement, wk.Supplement)
	equal("surely in the container", k.RemainingMinML, wk.RemainingMinML)
	near("at most in the container", k.RemainingMaxML, wk.RemainingMaxML, 0.005)
}

type story struct{ rows []machine.Row }

func (s *story) add(clock string, b machine.Body) {
	r := machine.Row{Seq: int64(len(s.rows)) + 1, At: at(clock), Elapsed: safety.Elapsed(at(clock).UnixMilli()), Trusted: true, Body: b}
	if v, ok := b.(machine.RunReserved); ok {
		r.ID = v.Run
	}
	s.rows = append(s.rows, r)
}

// run is a run as the live machine records it: the reported time fits the commanded volume.
func (s *story) run(id, clock, end string, o machine.Outcome) {
	const volume, duration, rate = 2040, 12_400, 163_333
	s.add(clock, machine.RunReserved{Run: id, Channel: "alk", Container: "jug", Node: "board", Output: 1, Purpose: machine.Dose, Into: machine.IntoTank,
		Volume: volume, Duration: duration, Longest: duration, Worst: volume, Tolerance: 50, Rate: rate})
	e := machine.RunEnded{Run: id, Outcome: o}
	var ran *safety.Milliseconds
	if o == machine.Finished {
		ran = new(safety.Milliseconds)
		*ran, e.Duration = duration, duration
	}
	e.Hi, e.Lo = safety.Account(safety.Commanded{Volume: volume, Worst: volume, Rate: rate, Tolerance: 50}, o, ran)
	s.add(end, e)
}

// A plan from an exported history rests on the same site as the daemon's own ledger.
func TestExportedHistoryFoldsAlike(t *testing.T) {
	var s story
	rest := safety.Microlitres(4_700_000)
	s.add("05:00:00", machine.Refill{Container: "jug", Added: 4_800_000})
	s.add("05:10:00", machine.Primed{Channel: "alk"})
	s.add("05:20:00", machine.Calibration{Channel: "alk", Trials: []metering.Trial{{Seconds: 60, MeasuredML: 9.8}, {Seconds: 60, MeasuredML: 9.8}, {Seconds: 60, MeasuredML: 9.8}}, Rate: 163_333, Tolerance: 50})
	s.add("06:00:00", machine.Test{System: "nursery", Quantity: units.Alkalinity, Level: 8.1, Value: 8.1, Unit: "dKH", Taken: at("06:00:00")})
	s.run("r1", "07:00:00", "07:00:12", machine.Finished)
	s.run("r2", "08:00:00", "08:00:17", machine.Unknown)
	s.add("08:30:00", machine.WaterChange{System: "nursery", Taken: at("08:30:00"), Litres: 30, Mix: []machine.Level{{Quantity: units.Alkalinity, Level: 7.9}}})
	s.add("08:45:00", machine.Hold{Scope: machine.Scope{System: "nursery"}, Reason: "feeding", Until: at("09:30:00"), Length: 2_700_000})
	s.add("09:00:00", machine.Release{Scope: machine.Scope{System: "nursery"}})
	s.run("r3", "09:30:00", "09:30:01", machine.NotSent)
	s.add("10:00:00", machine.Test{System: "nursery", Quantity: units.Alkalinity, Level: 8.2, Value: 8.2, Unit: "dKH", Taken: at("09:00:00")})
	s.add("10:10:00", machine.Note{System: "nursery", Note: "livestock_added"})
	s.add("10:20:00", machine.Lockout{Scope: machine.Scope{Channel: "alk"}, Code: safety.Fault, Text: "the outlet is crusted"})
	s.add("10:25:00", machine.OutOfService{Scope: machine.Scope{System: "nursery"}, Reason: "leak"})
	s.add("10:30:00", machine.Cleared{Scope: machine.Scope{Channel: "alk"}, Code: safety.Fault})
	s.add("10:40:00", machine.Refill{Container: "jug", Added: 10_000, Remaining: &rest})
	s.run("r4", "11:00:00", "11:00:12", machine.Finished)

	again, notes := mustRead(t, mustWrite(t, s.rows))
	if len(notes) != 0 {
		t.Errorf("notes %v; want none", notes)
	}
	same(t, folded(again), folded(s.rows))
	for n := range s.rows { // and at every earlier moment at which no run is open
		if n > 0 && s.rows[n-1].Body.Kind() != (machine.RunReserved{}).Kind() && folded(s.rows[:n]).Quantities[0].Level != nil {
			part, _ := mustRead(t, mustWrite(t, s.rows[:n]))
			same(t, folded(part), folded(s.rows[:n]))
		}
	}
}
