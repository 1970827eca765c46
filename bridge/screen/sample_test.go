package screen

import (
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/stock"
	"aliquot/safety"
)

var now = time.Date(2027, 3, 2, 9, 14, 5, 0, time.UTC)

func ptr[T any](v T) *T { return &v }

func ago(d time.Duration) *time.Time { return ptr(now.Add(-d)) }

// good is the invented harbour shed on an ordinary morning.
func good() Seen {
	return Seen{At: now, Service: Online, Sign: now.Add(-20 * time.Second), View: machine.SiteView{Site: "harbour-shed", Version: "1.2.0", LastPlan: ago(7 * time.Minute),
		Systems: []machine.SystemView{{ID: "nursery", NetL: 340}},
		Quantities: []machine.QuantityView{
			{System: "nursery", Quantity: "alkalinity", Unit: "dKH", Level: ptr(8.312), LevelSD: ptr(0.092), ConsumptionPerDay: ptr(1.214), ConsumptionSD: ptr(0.061), Target: 8.3, Band: 0.5, TestsUsed: 14,
				TestDue: ago(-30 * time.Hour), NextTest: ago(-30 * time.Hour), TrendPerDay: ptr(0.018), TrendLow: ptr(0.006), TrendHigh: ptr(0.03),
				Advice: []machine.AdviceView{{Kind: "use_trend", Text: "the consumption rises"}}},
			{System: "nursery", Quantity: "calcium", Unit: "mg/L", Level: ptr(428.4), LevelSD: ptr(4.2), ConsumptionPerDay: ptr(7.6), ConsumptionSD: ptr(0.9), Target: 430, Band: 20, TestsUsed: 9, TestDue: ago(-120 * time.Hour), NextTest: ago(-120 * time.Hour),
				TrendPerDay: ptr(0.01), TrendLow: ptr(-0.1), TrendHigh: ptr(0.12)},
			{System: "nursery", Quantity: "magnesium", Unit: "mg/L", Level: ptr(1321.0), LevelSD: ptr(14.0), ConsumptionPerDay: ptr(0.92), ConsumptionSD: ptr(0.6), Target: 1330, Band: 50, TestsUsed: 5, TestDue: ago(2 * time.Hour), NextTest: ago(2 * time.Hour)},
		},
		Channels: []machine.ChannelView{
			{ID: "alk", System: "nursery", Container: "carbonate-jug", Node: "board", Primed: true, PlannedMLPerDay: 97.4, Window24hHiML: 58.3, PerDayML: 180, Next: &machine.PlannedRun{At: now.Add(16 * time.Minute), VolumeML: 2.02}, LastRun: ago(15 * time.Minute), LastOutcome: "finished"},
			{ID: "ca", System: "nursery", Container: "calcium-jug", Node: "board", Primed: true, PlannedMLPerDay: 88.1, Window24hHiML: 86, PerDayML: 180, Running: true, LastRun: ago(30 * time.Second)},
			{ID: "trace", System: "nursery", Container: "trace-bottle", Node: "plug", Primed: true, PlannedMLPerDay: 2, Window24hHiML: 0, PerDayML: 5, Next: &machine.PlannedRun{At: now.Add(24 * time.Hour), VolumeML: 4}, LastRun: ago(24 * time.Hour), LastOutcome: "finished"},
		},
		Containers: []machine.ContainerView{
			{ID: "carbonate-jug", Supplement: "carbonate", CapacityML: 5000, StopML: 150, RemainingMinML: 3789.5, RemainingMaxML: 3906.8, DaysLeft: ptr(37.4), DaysLeftLow: ptr(34.6)},
			{ID: "calcium-jug", Supplement: "calcium", CapacityML: 5000, StopML: 150, RemainingMinML: 2100, RemainingMaxML: 2100, DaysLeft: ptr(22.1), DaysLeftLow: ptr(22.0), LevelML: ptr(2085.0), LevelWhy: ptr("")},
			{ID: "trace-bottle", Supplement: "trace", CapacityML: 500, StopML: 20, RemainingMinML: 312, RemainingMaxML: 315},
		},
		Probes: []machine.ProbeView{{ID: "ph", Quantity: "pH", Unit: "pH", Value: ptr(8.21), Seen: ago(time.Minute), Good: true}, {ID: "leak", Quantity: "switch", Value: ptr(0.0), Seen: ago(5 * time.Minute), Good: true}},
		Nodes:  []machine.NodeView{{ID: "board", Online: true}, {ID: "plug", Online: true}}, Interlocks: []machine.InterlockView{{Name: "ph-high"}, {Name: "floor-wet"}}}}
}

// wrong is the same shed when nothing is as it should be.
func wrong() Seen {
	s := good()
	v := &s.View
	v.Systems[0].Balance = &machine.BalanceView{Findings: []machine.FindingView{{Kind: stock.BalanceHolds, Text: "not shown"}, {Kind: "calcium_high", Text: "calcium is used 3.1 mg/L a day faster than alkalinity explains: look at both tests"}}}
	a, c, m := &v.Quantities[0], &v.Quantities[1], &v.Quantities[2]
	a.Level, a.Unconfirmed = ptr(9.1), ptr(11.4)
	a.Advice = []machine.AdviceView{{Kind: "dose_answer", Text: "the system rises by 0.6 of what the doses should give: look at the outlet, the calibration and the strength"}}
	c.Level, c.TrendLow, c.TrendHigh, c.TrendPerDay = ptr(401.0), ptr(-0.3), ptr(-0.1), ptr(-0.2)
	m.Level, m.LevelSD, m.ConsumptionPerDay, m.ConsumptionSD, m.TestDue = nil, nil, nil, nil, nil
	m.NextTest = nil
	clock := machine.BlockView{Code: safety.ClockUntrusted, Text: "the system does not say that its clock is set"}
	v.Channels[0].Withheld = []machine.BlockView{clock, {Code: safety.Fault, Text: "the node said that it started a run twice"}, {Code: safety.OnHold, Text: "hold: feeding, until 10:00", Until: ago(-46 * time.Minute)}}
	v.Channels[0].LastOutcome, v.Channels[0].Provisional = "unknown", true
	v.Channels[1].Running, v.Channels[1].Withheld, v.Channels[1].CapExpected, v.Channels[1].CapCode = false, []machine.BlockView{clock, {Code: safety.ContainerEmpty, Text: "the container may hold only 140 mL, and stops at 150 mL: refill it and say how much"}}, ago(-20*24*time.Hour), safety.DayCap
	v.Channels[1].RunSeconds, v.Channels[1].TubingLifeSeconds = 1.9e6, ptr(1.8e6)
	v.Channels[2].Withheld = []machine.BlockView{clock, {Code: safety.NotPrimed, Text: "the line is not primed: prime it, look at the outlet, and confirm that liquid comes"}, {Code: safety.NoProof, Text: "node plug has not proven within 90 days that it goes off by itself"}, {Code: safety.NodeOffline, Text: "node plug has not said that it is online"}}
	k := &v.Containers[1]
	k.RemainingMinML, k.RemainingMaxML, k.DaysLeft, k.DaysLeftLow, k.Low, k.Empty, k.LevelML, k.LevelWhy = 140, 400, ptr(0.0), ptr(0.0), true, true, nil, ptr("no reading for 31 min")
	v.Containers[0].Low = true
	v.Probes[0].Value, v.Probes[0].Good, v.Probes[0].Why, v.Probes[0].Seen = nil, false, "no reading for 31 min", ago(31*time.Minute)
	v.Nodes[1] = machine.NodeView{ID: "plug", Needs: true}
	v.Interlocks = []machine.InterlockView{{Name: "ph-high", Active: true, NoData: true}, {Name: "floor-wet", Active: true}}
	v.Alerts = []machine.AlertView{
		{Name: "container-empty-calcium-jug", Level: machine.Warning, Raised: true, Since: now.Add(-3 * time.Hour), Text: "container calcium-jug may hold only 140 mL; its channels have stopped"},
		{Name: "lockout-alk-fault", Level: machine.Critical, Raised: true, Since: now.Add(-26 * time.Hour), Text: "channel alk: the node said that it started a run twice"},
		{Name: "test-due-nursery-magnesium", Level: machine.Notice, Raised: true, Since: now.AddDate(-1, 0, 0), Text: "magnesium of nursery is due for a test", Acknowledged: true},
		{Name: "node-offline-plug", Level: machine.Warning, Raised: true, Since: now.Add(-time.Hour), Text: "node plug is not online; its channels do not run", Acknowledged: true, SilentUntil: ago(-time.Hour)},
		{Name: "proof-plug", Level: machine.Warning, Raised: true, Since: now.Add(-time.Hour), Text: "node plug has to prove that it goes off by itself: aliquot prove plug"},
		{Name: "interlock-ph-high", Level: machine.Warning, Raised: true, Since: now.Add(-time.Hour), Text: "interlock ph-high blocks: probe ph has no good reading (no reading for 31 min)"},
	}
	return s
}

// empty is a site of which only the service itself is there.
func empty() Seen {
	return Seen{At: now, Service: Online, View: machine.SiteView{Site: "bare"}}
}
