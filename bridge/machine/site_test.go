package machine_test

import (
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner"
	"aliquot/planner/units"
	"aliquot/safety"

	"github.com/robfig/cron/v3"
)

// The site of these tests is invented: 340 L with three quantities, four channels on a pump board and on a relay
// that goes off by itself after 60 s.

// Rates of the pumps. The true ones differ a little from what their keeper expects of them.
const (
	boardRate = 9.8 // mL/min
	relayRate = 5.0
)

func mustCron(expression string) planner.Schedule {
	s, err := cron.ParseStandard(expression)
	if err != nil {
		panic(err)
	}
	return s
}

func mustRate(mlPerMin float64) safety.Rate {
	r, err := safety.RateFromMillilitresPerMinute(mlPerMin)
	if err != nil {
		panic(err)
	}
	return r
}

func ml(v float64) safety.Microlitres {
	u, err := safety.MillilitresDown(v)
	if err != nil {
		panic(err)
	}
	return u
}

func ref[T any](v T) *T { return &v }

// strengths in canonical units, in 1 L, for 1 mL.
var (
	carbonate = map[units.Quantity]float64{units.Alkalinity: 4.25}
	chloride  = map[units.Quantity]float64{units.Calcium: 36}
	sulfate   = map[units.Quantity]float64{units.Magnesium: 40}
	traces    = map[units.Quantity]float64{units.Strontium: 1}
)

// lagoon is the standard site. Its zone decides when the slots fall.
func lagoon(zone *time.Location) *machine.Site {
	day := 24 * time.Hour
	at := func(expression string) planner.Calendar {
		return planner.Calendar{Schedule: mustCron(expression), Zone: zone}
	}
	trace := at("15 8 * * *")
	trace.EveryDays, trace.Start = 2, time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)
	return &machine.Site{
		Name: "lagoon", Zone: zone, ClockTrust: safety.TrustSynced, Tick: mustCron("5 */6 * * *"), Version: "test",
		Systems: []planner.System{{ID: "reef", Kind: planner.Coral, NetLitres: 340, Targets: []planner.Target{
			{Quantity: units.Alkalinity, Target: 8.3, Band: .5, MaxRise: .7, MaxFall: .7, MaxDose: 2.1,
				Test: planner.TestHabits{SD: .15, DueEvery: 4 * day, StaleAfter: 10 * day}},
			{Quantity: units.Calcium, Target: 430, Band: 20, MaxRise: 20, MaxFall: 20,
				Test: planner.TestHabits{SD: 6, DueEvery: 7 * day, StaleAfter: 21 * day}},
			{Quantity: units.Magnesium, Target: 1320, Band: 40, MaxRise: 50, MaxFall: 50,
				Test: planner.TestHabits{SD: 15, DueEvery: 14 * day, StaleAfter: 42 * day}},
		}}},
		Waters: []machine.Water{{System: "reef", Salinity: 35, Temperature: 25}},
		Supplements: []machine.Supplement{
			{ID: "carbonate", Strength: carbonate, Cautions: []string{"Alkaline: gloves and goggles."}},
			{ID: "chloride", Strength: chloride},
			{ID: "sulfate", Strength: sulfate},
			{ID: "traces", Strength: traces},
			{ID: "limewater", Strength: map[units.Quantity]float64{units.Alkalinity: .12, units.Calcium: .8}, Cautions: []string{"Caustic: it burns skin and eyes."}, Caustic: true},
		},
		Containers: []machine.Container{
			{ID: "carbonate-jug", Supplement: "carbonate", Capacity: ml(5000), Stop: ml(200), Warn: 3 * day},
			{ID: "chloride-jug", Supplement: "chloride", Capacity: ml(5000), Stop: ml(200), Warn: 3 * day},
			{ID: "sulfate-jug", Supplement: "sulfate", Capacity: ml(2000), Stop: ml(100)},
			{ID: "trace-bottle", Supplement: "traces", Capacity: ml(500), Stop: ml(20)},
		},
		Nodes: []machine.Node{
			{ID: "board", Style: machine.BoundedRun, Fingerprint: "board-1"},
			{ID: "plug", Style: machine.Switch, AutoOff: 60_000, Fingerprint: "plug-1"},
		},
		Channels: []machine.Channel{
			channel("alk", "carbonate-jug", "board", 1, carbonate, at("0 * * * *"), ml(6), ml(150)),
			channel("ca", "chloride-jug", "board", 2, chloride, at("30 * * * *"), ml(6), ml(120)),
			magnesium(channel("mg", "sulfate-jug", "plug", 1, sulfate, at("45 6,18 * * *"), ml(4), ml(45))),
			fixed(channel("trace", "trace-bottle", "board", 3, traces, trace, ml(5), ml(12)), 1.5),
		},
		KeepApart: []machine.Apart{{Channels: []string{"alk", "ca"}, Gap: 10 * time.Minute}},
		Probes: []machine.Probe{
			{ID: "ph", System: "reef", Quantity: units.PH, Low: 7, High: 9.5, StaleAfter: 10 * time.Minute, StuckAfter: 12 * time.Hour},
			{ID: "leak", Quantity: units.Switch, Low: 0, High: 1, StaleAfter: time.Hour},
		},
		Interlocks: []machine.Interlock{
			{Name: "ph-high", Probe: "ph", Block: []string{"alk"}, Rule: safety.InterlockRule{
				When: safety.Bound{Value: 8.5, Above: true}, Until: &safety.Bound{Value: 8.4}, UntilFor: 5 * time.Minute}},
			{Name: "leak", Probe: "leak", Block: []string{"alk", "ca", "mg", "trace"}, Rule: safety.InterlockRule{
				When: safety.Bound{Value: 1, Equal: true}, Latch: true, IgnoreStale: true}},
		},
	}
}

func channel(id, container, node string, output int, strength map[units.Quantity]float64, calendar planner.Calendar, perRun, perDay safety.Microlitres) machine.Channel {
	quantity := units.Alkalinity
	if id == "ca" {
		quantity = units.Calcium
	}
	return machine.Channel{
		Channel: planner.Channel{ID: id, System: "reef", Mode: planner.Follow, Quantity: quantity, Strength: strength, Calendar: calendar,
			SmallestRun: ml(.3), PerRun: perRun, PerDay: perDay, Tolerance: safety.DefaultTolerance},
		Container: container, Node: node, Output: output, NominalRate: mustRate(10),
		Line: machine.Line{VolumeML: 7, Prime: ml(10)},
		Limits: safety.Limits{SmallestRun: ml(.3), PerRun: perRun, PerDay: perDay, RunTime: 60_000, Rest: 5 * time.Minute,
			AttendedPerRun: safety.AttendedPerRun, AttendedPerDay: safety.AttendedPerDay},
	}
}

// magnesium follows its tests from a base on, so that it runs without one.
func magnesium(c machine.Channel) machine.Channel {
	c.Quantity, c.Base, c.NominalRate = units.Magnesium, ref(ml(4)), mustRate(relayRate)
	return c
}

func fixed(c machine.Channel, mlPerDay float64) machine.Channel {
	c.Mode, c.Quantity, c.FixedPerDay = planner.Fixed, "", mlPerDay
	return c
}
