package faultsim

import (
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/node"
	"aliquot/planner"
	"aliquot/planner/units"
	"aliquot/safety"
)

// The cove is an invented site: 340 L with three quantities, four channels on a pump board and on a relay.

// Names in the cove.
const (
	board = "board"
	plug  = "plug"
)

// True rates of the pumps before they drift, mL/min, and the fixed on-time inside the relay.
const (
	boardRate = 9.8
	plugRate  = 5.0
	autoOff   = 60 * time.Second
)

// clockFace is a schedule: a minute of certain hours, every hour if none is named.
type clockFace struct {
	minute int
	hours  []int
}

// Next is the next such minute after t, in t's own zone.
func (f clockFace) Next(t time.Time) time.Time {
	at := t.Truncate(time.Minute).Add(time.Minute)
	at = at.Add(time.Duration((f.minute-at.Minute()+60)%60) * time.Minute)
	for range 48 {
		if f.at(at.Hour()) {
			return at
		}
		at = at.Add(time.Hour)
	}
	return time.Time{}
}

func (f clockFace) at(hour int) bool {
	for _, h := range f.hours {
		if h == hour {
			return true
		}
	}
	return len(f.hours) == 0
}

func ml(v float64) safety.Microlitres { return safety.Microlitres(v * 1000) }

func rateOf(mlPerMin float64) safety.Rate { return safety.Rate(mlPerMin * 1e6 / 60) }

// coveOf makes the site of a scenario.
func coveOf(s Scenario) *machine.Site {
	site := &machine.Site{
		Name: "cove", Zone: s.Zone, ClockTrust: safety.TrustSynced, Tick: clockFace{minute: 5, hours: []int{0, 6, 12, 18}}, Version: "simulated",
		Systems:     []planner.System{{ID: "reef", Kind: planner.Coral, NetLitres: coveLitres, Targets: targets()}},
		Supplements: []machine.Supplement{solution("carbonate", units.Alkalinity, 4.25), solution("chloride", units.Calcium, 36), solution("sulfate", units.Magnesium, 40), solution("traces", units.Strontium, 1)},
		Containers:  []machine.Container{jug("carbonate", 5000), jug("chloride", 5000), jug("sulfate", 2000), jug("traces", 500)},
		Nodes:       []machine.Node{{ID: board, Style: machine.BoundedRun, Fingerprint: "board-1"}, {ID: plug, Style: machine.Switch, Fingerprint: "plug-1"}},
		KeepApart:   []machine.Apart{{Channels: []string{"alk", "ca"}, Gap: 10 * time.Minute}, {Channels: []string{"alk", "mg"}, Gap: 15 * time.Minute}},
		Probes: []machine.Probe{
			{ID: "ph", System: "reef", Quantity: units.PH, Low: 7, High: 9.5, StaleAfter: 10 * time.Minute, StuckAfter: 12 * time.Hour},
			{ID: "leak", Quantity: units.Switch, Low: 0, High: 1, StaleAfter: time.Hour}},
		Interlocks: []machine.Interlock{
			{Name: "ph-high", Probe: "ph", Block: []string{"alk"}, Rule: safety.InterlockRule{
				When: safety.Bound{Value: 8.5, Above: true}, Until: &safety.Bound{Value: 8.4}, UntilFor: 5 * time.Minute}},
			{Name: "leak", Probe: "leak", Block: []string{"alk", "ca", "mg", "trace"}, Rule: safety.InterlockRule{
				When: safety.Bound{Value: 1, Equal: true}, Latch: true, IgnoreStale: true}}},
	}
	site.Containers[0].Level, site.Containers[2].Level = true, true
	if !s.Timed {
		site.Nodes[1].AutoOff = safety.Milliseconds(autoOff / time.Millisecond)
	}
	hourly := func(minute int) planner.Calendar {
		return planner.Calendar{Schedule: clockFace{minute: minute}, Zone: s.Zone}
	}
	alternate := planner.Calendar{Schedule: clockFace{minute: 15, hours: []int{8}}, Zone: s.Zone, EveryDays: 2, Start: time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)}
	site.Channels = []machine.Channel{
		coveChannel(site, 0, "alk", board, 1, hourly(0), 6, 150),
		coveChannel(site, 1, "ca", board, 2, hourly(30), 6, 120),
		coveChannel(site, 2, "mg", plug, 1, planner.Calendar{Schedule: clockFace{minute: 45, hours: []int{0, 3, 6, 9, 12, 15, 18, 21}}, Zone: s.Zone}, 4, 45),
		coveChannel(site, 3, "trace", board, 3, alternate, 5, 12),
	}
	base := ml(4)
	site.Channels[2].Base, site.Channels[2].NominalRate = &base, rateOf(plugRate)
	trace := &site.Channels[3]
	trace.Mode, trace.Quantity, trace.FixedPerDay = planner.Fixed, "", 1.5
	if s.Greedy {
		tighten(site)
	}
	if s.Fed {
		behindFeed(site)
	}
	return site
}

const coveLitres = 340

func targets() []planner.Target {
	day := 24 * time.Hour
	return []planner.Target{
		{Quantity: units.Alkalinity, Target: 8.3, Band: .5, MaxRise: .7, MaxFall: .7, MaxDose: 2.1, Test: planner.TestHabits{SD: .15, DueEvery: 4 * day, StaleAfter: 10 * day}},
		{Quantity: units.Calcium, Target: 430, Band: 20, MaxRise: 20, MaxFall: 20, Test: planner.TestHabits{SD: 6, DueEvery: 7 * day, StaleAfter: 21 * day}},
		{Quantity: units.Magnesium, Target: 1320, Band: 40, MaxRise: 50, MaxFall: 50, Test: planner.TestHabits{SD: 15, DueEvery: 14 * day, StaleAfter: 42 * day}},
	}
}

// tighten sets caps that a keeper who asks for more can reach within hours.
func tighten(site *machine.Site) {
	for i := range site.Channels {
		c := &site.Channels[i]
		c.Limits.PerDay = max(c.Limits.PerDay/5, 12*safety.Millilitre)
		c.PerDay = c.Limits.PerDay
		c.Limits.AttendedPerDay = 40 * safety.Millilitre
	}
	site.Systems[0].Targets[0].MaxDose = 0.3
}

func solution(id string, q units.Quantity, strength float64) machine.Supplement {
	return machine.Supplement{ID: id, Strength: map[units.Quantity]float64{q: strength}}
}

func jug(supplement string, capacityML float64) machine.Container {
	return machine.Container{ID: supplement + "-jug", Supplement: supplement, Capacity: ml(capacityML), Stop: ml(capacityML / 25), Warn: 3 * 24 * time.Hour}
}

// coveChannel makes a channel that follows the quantity that the i-th supplement moves.
func coveChannel(site *machine.Site, i int, id, on string, output int, at planner.Calendar, perRun, perDay float64) machine.Channel {
	quantities := []units.Quantity{units.Alkalinity, units.Calcium, units.Magnesium, units.Strontium}
	return machine.Channel{
		Channel: planner.Channel{ID: id, System: "reef", Mode: planner.Follow, Quantity: quantities[i], Strength: site.Supplements[i].Strength, Calendar: at,
			SmallestRun: ml(.3), PerRun: ml(perRun), PerDay: ml(perDay), Tolerance: safety.DefaultTolerance},
		Container: site.Containers[i].ID, Node: on, Output: output, NominalRate: rateOf(10),
		Line: machine.Line{VolumeML: 7, Prime: ml(10)},
		Limits: safety.Limits{SmallestRun: ml(.3), PerRun: ml(perRun), PerDay: ml(perDay), RunTime: 60_000, Rest: 5 * time.Minute,
			AttendedPerRun: safety.AttendedPerRun, AttendedPerDay: safety.AttendedPerDay},
	}
}

// specs say how the cove's nodes are spoken to.
func specs(s Scenario) []node.Spec {
	relay := node.Spec{ID: plug, Style: machine.Switch, Outputs: []int{1}, Command: "cove/plug/set", On: "on", Off: "off", AutoOff: safety.Milliseconds(autoOff / time.Millisecond),
		State: node.State{Topic: "cove/plug/state", On: "ON", Off: "OFF"}, Online: node.Online{Topic: "cove/plug/online", Up: "1", Down: "0"}}
	if s.Timed {
		relay.On, relay.Off, relay.AutoOff = "on {{.Seconds}} {{.Serial}}", "off {{.Serial}}", 0
	}
	all := []node.Spec{
		{ID: board, Style: machine.BoundedRun, Outputs: []int{1, 2, 3}, Run: "cove/pumps/{{.Output}}/run", Stop: "cove/pumps/{{.Output}}/stop", Report: "cove/pumps/{{.Output}}/report",
			Online: node.Online{Topic: "cove/pumps/online", Up: "1", Down: "0"}},
		relay}
	if s.Fed {
		all = append(all, feedSpec())
	}
	return all
}
