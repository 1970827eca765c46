package rehearse

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/robfig/cron/v3"

	"aliquot/bridge/machine"
	"aliquot/bridge/node"
	"aliquot/bridge/simnode"
	"aliquot/planner"
	"aliquot/planner/tank"
	"aliquot/planner/units"
	"aliquot/safety"
)

// The bay is an invented site of one system: two channels on a board, one on a relay with a time of its own.

var start = time.Date(2027, 3, 1, 7, 10, 0, 0, time.UTC)

const day = 24 * time.Hour

func ml(v int64) safety.Microlitres { return safety.Microlitres(v * 1000) }

func slots(t testing.TB, text string) planner.Calendar {
	t.Helper()
	s, err := cron.ParseStandard(text)
	if err != nil {
		t.Fatal(err)
	}
	return planner.Calendar{Schedule: s, Zone: time.UTC}
}

func bay(t testing.TB) *machine.Site {
	t.Helper()
	carbonate := map[units.Quantity]float64{units.Alkalinity: 2.0}
	chloride := map[units.Quantity]float64{units.Calcium: 25}
	potash := map[units.Quantity]float64{units.Potassium: 5}
	channel := func(id, box, node string, output int, strength map[units.Quantity]float64, at string, perDay int64) machine.Channel {
		limits := safety.Limits{SmallestRun: 300, PerRun: ml(6), PerDay: ml(perDay), RunTime: 45_000, Rest: 5 * time.Minute, AttendedPerRun: ml(25), AttendedPerDay: ml(200)}
		base := ml(40)
		return machine.Channel{Channel: planner.Channel{ID: id, System: "bay", Mode: planner.Follow, Base: &base, Strength: strength, Calendar: slots(t, at),
			SmallestRun: limits.SmallestRun, PerRun: limits.PerRun, PerDay: limits.PerDay, Tolerance: safety.DefaultTolerance},
			Container: box, Node: node, Output: output, Line: machine.Line{VolumeML: 4, Prime: ml(6)}, Limits: limits}
	}
	rate, err := safety.RateFromMillilitresPerMinute(12)
	if err != nil {
		t.Fatal(err)
	}
	site := &machine.Site{Name: "bay", Zone: time.UTC, Tick: slots(t, "5 * * * *").Schedule, Version: "test",
		Systems: []planner.System{{ID: "bay", Kind: planner.Coral, NetLitres: 120, Targets: []planner.Target{
			{Quantity: units.Alkalinity, Target: 8, Band: 0.5, MaxRise: 0.7, MaxFall: 0.7, MaxDose: 2, Test: planner.TestHabits{SD: 0.12, DueEvery: 2 * day, StaleAfter: 10 * day}},
			{Quantity: units.Calcium, Target: 425, Band: 20, MaxRise: 20, MaxFall: 20, Test: planner.TestHabits{SD: 6, StaleAfter: 21 * day}},
		}}},
		Supplements: []machine.Supplement{{ID: "carbonate", Strength: carbonate}, {ID: "chloride", Strength: chloride}, {ID: "potash", Strength: potash}},
		Containers: []machine.Container{{ID: "alk-jug", Supplement: "carbonate", Capacity: ml(500), Stop: ml(30), Warn: 2 * day},
			{ID: "ca-jug", Supplement: "chloride", Capacity: ml(1000), Stop: ml(30), Warn: 2 * day}, {ID: "k-jug", Supplement: "potash", Capacity: ml(300), Stop: ml(20)}},
		Nodes: []machine.Node{{ID: "board", Style: machine.BoundedRun, Fingerprint: "b", OnlineEvery: 10 * time.Minute}, {ID: "plug", Style: machine.Switch, AutoOff: 20_000, Fingerprint: "p"}},
		Channels: []machine.Channel{
			channel("alk", "alk-jug", "board", 1, carbonate, "0 * * * *", 110),
			channel("ca", "ca-jug", "board", 2, chloride, "30 * * * *", 90),
			channel("k", "k-jug", "plug", 0, potash, "45 10 * * *", 8),
		},
		KeepApart: []machine.Apart{{Channels: []string{"alk", "ca"}, Gap: 10 * time.Minute}},
		Probes: []machine.Probe{{ID: "ph", System: "bay", Quantity: units.PH, Low: 7, High: 9, StaleAfter: 10 * time.Minute, StuckAfter: 12 * time.Hour},
			{ID: "float", Quantity: units.Switch, High: 1, StaleAfter: time.Hour}, {ID: "orp", Quantity: units.ORP, Low: 200, High: 500, StaleAfter: time.Hour, StuckAfter: 12 * time.Hour}},
		Interlocks: []machine.Interlock{{Name: "ph-high", Probe: "ph", Block: []string{"alk"}, Rule: safety.InterlockRule{When: safety.Bound{Value: 8.6, Above: true}, Until: &safety.Bound{Value: 8.5}}},
			{Name: "float-down", Probe: "float", Block: []string{"alk", "ca", "k"}, Rule: safety.InterlockRule{When: safety.Bound{Value: 0, Equal: true}, Latch: true}}},
	}
	for i := range site.Channels {
		site.Channels[i].NominalRate = rate
	}
	site.Channels[0].Quantity, site.Channels[1].Quantity = units.Alkalinity, units.Calcium
	site.Channels[2].Mode, site.Channels[2].FixedPerDay, site.Channels[2].Base = planner.Fixed, 3, nil
	site.Channels[2].Limits.RunTime = 20_000
	return site
}

func compile(t testing.TB, s node.Spec) *node.Codec {
	t.Helper()
	c, err := node.Compile(s)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// bayOptions gives a rehearsal of the bay with fresh nodes.
func bayOptions(t testing.TB, days int, seed uint64) Options {
	t.Helper()
	board := compile(t, node.Spec{ID: "board", Style: machine.BoundedRun, Outputs: []int{1, 2}, Run: "b/{{.Output}}/run", Stop: "b/{{.Output}}/stop", Report: "b/{{.Output}}/report",
		Online: node.Online{Topic: "b/online", Up: "1", Down: "0"}})
	plug := compile(t, node.Spec{ID: "plug", Style: machine.Switch, Outputs: []int{0}, Command: "p/set", On: "ON", Off: "OFF", AutoOff: 20_000,
		State: node.State{Topic: "p/state", On: "ON", Off: "OFF"}, Online: node.Online{Topic: "p/online", Up: "1", Down: "0"}})
	pumps, err := simnode.NewBoard(simnode.BoardOptions{RatesMLPerMin: []float64{11.8, 12.1}, MaxRun: safety.RunMax.Duration(), Boot: 1, IDAware: true, HasClock: true})
	if err != nil {
		t.Fatal(err)
	}
	relay, err := simnode.NewRelay(simnode.RelayOptions{RatesMLPerMin: []float64{12.2}, AutoOff: 20 * time.Second, StateQoS: 1,
		OnOff: func(p []byte) (bool, float64, bool) {
			return string(p) == "ON", 0, string(p) == "ON" || string(p) == "OFF"
		}})
	if err != nil {
		t.Fatal(err)
	}
	return Options{Site: bay(t),
		Nodes: []Node{{board, pumps, []int{1, 2}, []float64{11.8, 12.1}}, {plug, relay, []int{0}, []float64{12.2}}},
		Waters: []Water{{NetLitres: 117, Start: map[units.Quantity]float64{units.Alkalinity: 7.8, units.Calcium: 415},
			Uptake: tank.Uptake{PerDay: 0.7, Law: tank.MichaelisMenten, HalfLevel: 3, DaySwing: 0.4}}},
		Scenario: Scenario{Start: start, Days: days, Seed: seed}}
}

func rehearsed(t testing.TB, o Options) Result {
	t.Helper()
	r, err := Run(o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func asJSON(t testing.TB, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func noted(r Result, part string) int {
	n := 0
	for _, m := range r.Happened {
		if contains(m.Text, part) {
			n++
		}
	}
	return n
}

func withheld(r Result, channel string, code safety.Code) Withheld {
	for _, h := range r.Withheld {
		if h.Channel == channel && h.Code == code {
			return h
		}
	}
	return Withheld{}
}
