package logbook

import (
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner"
	"aliquot/planner/metering"
	"aliquot/planner/units"
	"aliquot/safety"
)

var lisbon = mustZone("Europe/Lisbon")

func mustZone(name string) *time.Location {
	z, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return z
}

func ptr[T any](v T) *T { return &v }

// hostile would break a page that does not escape it.
const hostile = `<b>"it's" & more</b><script>`

// shed is an invented site of one channel and one quantity.
func shed() *machine.Site {
	return &machine.Site{Name: "harbour-shed", Zone: lisbon,
		Systems:     []planner.System{{ID: "nursery", Kind: planner.Coral, NetLitres: 340, Targets: []planner.Target{{Quantity: units.Alkalinity, Target: 8.3, Band: 0.5, MaxRise: 0.7, MaxFall: 0.7, Test: planner.TestHabits{SD: 0.15}}}}},
		Supplements: []machine.Supplement{{ID: "carbonate", Strength: map[units.Quantity]float64{units.Alkalinity: 4.23}}},
		Containers:  []machine.Container{{ID: "jug", Supplement: "carbonate", Capacity: 5000 * safety.Millilitre, Stop: 150 * safety.Millilitre}},
		Nodes:       []machine.Node{{ID: "board", Style: machine.BoundedRun}},
		Channels: []machine.Channel{{Channel: planner.Channel{ID: "alk", System: "nursery", Mode: planner.Follow, Quantity: units.Alkalinity, Strength: map[units.Quantity]float64{units.Alkalinity: 4.23},
			PerRun: 8 * safety.Millilitre, PerDay: 180 * safety.Millilitre}, Container: "jug", Node: "board", Output: 1,
			Limits: safety.Limits{PerRun: 8 * safety.Millilitre, PerDay: 180 * safety.Millilitre, RunTime: 60000}}}}
}

// diary collects rows on the wall clock's axis.
type diary struct{ rows []machine.Row }

func (d *diary) add(at time.Time, by string, b machine.Body) {
	d.rows = append(d.rows, machine.Row{Seq: int64(len(d.rows) + 1), At: at.UTC(), Elapsed: safety.Elapsed(at.UnixMilli()), Trusted: true, By: by, Body: b})
}

func trials(ml float64) []metering.Trial {
	return []metering.Trial{{Seconds: 60, MeasuredML: ml}, {Seconds: 60, MeasuredML: ml}, {Seconds: 60, MeasuredML: ml}}
}

// march is an invented month, its end of a clock change included, with everything that can happen in it.
func march() []machine.Row {
	d := &diary{}
	day := func(n, hour int) time.Time { return time.Date(2027, 3, n, hour, 0, 0, 0, lisbon) }
	full := 5000 * safety.Millilitre
	d.add(day(-9, 8), "", machine.DaemonStarted{Version: "1.2.0", Epoch: 1})
	d.add(day(-9, 9), "nele", machine.Refill{Container: "jug", Remaining: &full})
	d.add(day(-9, 9), "nele", machine.Primed{Channel: "alk"})
	d.add(day(-9, 10), "nele", machine.Calibration{Channel: "alk", Trials: trials(10)})
	run := 0
	for n := -8; n <= 33; n++ {
		for hour := 1; hour < 24; hour += 6 {
			run++
			id, ml := "run-"+time.Duration(run).String(), safety.Microlitres(24000)
			d.add(day(n, hour), "", machine.RunReserved{Run: id, Channel: "alk", Container: "jug", Node: "board", Output: 1, Purpose: machine.Dose, Into: machine.IntoTank,
				Slot: day(n, hour).Format("2006-01-02T15:04"), Volume: ml, Duration: 144000, Longest: 150000, Worst: ml, Tolerance: 50, Rate: safety.Rate(ml * 1000 / 144)})
			ended := machine.RunEnded{Run: id, Outcome: machine.Finished, Hi: ml + ml/20, Lo: ml - ml/20}
			if n == 12 && hour == 7 {
				ended = machine.RunEnded{Run: id, Outcome: machine.Unknown, Hi: ml * 2, Reason: hostile}
			}
			d.add(day(n, hour).Add(3*time.Minute), "", ended)
		}
		if n%3 == 0 {
			level := 8.2
			if n == 15 {
				level = 11.6
			}
			d.add(day(n, 20), "nele", machine.Test{System: "nursery", Quantity: units.Alkalinity, Level: level, Value: level, Unit: "dKH", Taken: day(n, 20).UTC(), Method: "titration", Lot: "4711"})
		}
	}
	d.add(day(33, 20), "", machine.SlotCarried{Channel: "alk", Slot: "2027-04-02T20:00"})
	return d.rows
}

// care is what people and the service do in the middle of march.
func care() []machine.Row {
	d := &diary{}
	at := time.Date(2027, 3, 10, 9, 0, 0, 0, lisbon)
	left := 4800 * safety.Millilitre
	for _, b := range []machine.Body{
		machine.Refill{Container: "jug", Added: 1500 * safety.Millilitre}, machine.Swap{Container: "jug", Supplement: "carbonate", Remaining: left},
		machine.Primed{Channel: "alk"}, machine.Tube{Channel: "alk"}, machine.Calibration{Channel: "alk", Trials: trials(9.3)},
		machine.WaterChange{System: "nursery", Taken: at, Litres: 30, Mix: []machine.Level{{Quantity: units.Alkalinity, Level: 8}}},
		machine.SalinityCorrection{System: "nursery", Litres: 2}, machine.SalinityCorrection{System: "nursery", Level: ptr(35.0)},
		machine.Note{System: "nursery", Note: "livestock_added", Text: hostile},
		machine.Hold{Scope: machine.Scope{}, Reason: "feeding", Until: at.Add(time.Hour)}, machine.Release{Scope: machine.Scope{Channel: "alk"}},
		machine.OutOfService{Scope: machine.Scope{System: "nursery"}, Reason: "out of service: moving"}, machine.Lockout{Scope: machine.Scope{Channel: "alk"}, Code: safety.Fault, Text: "it started twice"},
		machine.Lockout{Scope: machine.Scope{Interlock: "floor-wet"}, Code: safety.InterlockActive, Text: "its condition was met"},
		machine.Cleared{Scope: machine.Scope{Channel: "alk"}, Code: safety.Fault}, machine.Proof{Channel: "alk", Node: "plug", OnFor: 3000},
		machine.Accepted{What: "ledger", Text: "restored from the card"}, machine.ProbeMean{Probe: "ph", Mean: 8.2, Count: 60, From: at, Until: at},
		machine.Answered{Ref: "r", Verb: "clear", OK: true, Code: safety.OK, Text: "cleared"}, machine.ClockConfirmed{},
		machine.AlertChanged{Name: "container-low-jug", Level: machine.Warning, Raised: true, Text: "container jug lasts for less than 7 days"},
		machine.AlertChanged{Name: "container-low-jug", Level: machine.Warning, Raised: true, Acknowledged: true}, machine.AlertChanged{Name: "container-low-jug", Level: machine.Warning},
		machine.DaemonStopped{Reason: "terminated"}, machine.DaemonStarted{Version: "1.2.1"},
		machine.RunPast{Channel: "alk", Happened: at, Purpose: machine.Prime, Into: machine.IntoVessel, Volume: 20 * safety.Millilitre, Outcome: machine.Finished},
		machine.RunPast{Channel: "alk", Happened: at, Purpose: machine.Dose, Volume: 2 * safety.Millilitre, Delivered: ptr(1 * safety.Millilitre), Outcome: machine.Partial},
		machine.RunEnded{Run: "gone", Outcome: machine.Unknown, Hi: 2000},
		machine.Test{System: "nursery", Quantity: units.Alkalinity, Level: 8.0, Value: 143, Unit: "ppm CaCO3", Taken: at.Add(-72 * time.Hour), Of: "reference", Confirmed: true},
	} {
		d.add(at, "nele", b)
		at = at.Add(time.Minute)
	}
	return d.rows
}
