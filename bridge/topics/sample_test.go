package topics

import (
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

var shed = Layout{Prefix: "aliquot", Site: "harbour-shed"}

func at(hour, minute int) time.Time { return time.Date(2027, 3, 2, hour, minute, 0, 0, time.UTC) }

func ptr[T any](v T) *T { return &v }

// sampleView is the invented harbour shed at one moment: one channel running, one locked out, a probe lost.
func sampleView() machine.SiteView {
	return machine.SiteView{
		At: at(9, 0), Site: "harbour-shed", Version: "0.1.0", Ready: true, LedgerRows: 4711,
		NextTick: ptr(at(9, 7)), LastPlan: ptr(at(8, 7)),
		Systems: []machine.SystemView{{ID: "nursery", NetL: 340, AragoniteSaturation: ptr(4.25), Balance: &machine.BalanceView{Findings: []machine.FindingView{
			{Kind: "holds", Text: "calcium 7.1 mg/L and alkalinity 1.2 dKH a day can both be true; an error above 3.1 mg/L of calcium a day would show"}}}}},
		Quantities: []machine.QuantityView{
			{System: "nursery", Quantity: "alkalinity", Unit: "dKH", Level: ptr(8.31), LevelSD: ptr(0.09), ConsumptionPerDay: ptr(1.21), ConsumptionSD: ptr(0.06),
				Target: 8.3, Band: 0.5, TestsUsed: 14, TestsSetAside: 1, LastTest: ptr(at(7, 30)), TestDue: ptr(at(7, 30).AddDate(0, 0, 4)),
				NextTest: ptr(at(7, 0).AddDate(0, 0, 3)), NextTestWhy: "from then on the level is known only within ± 0.5 dKH, the band is ± 0.5",
				ConsumptionLow: ptr(1.11), ConsumptionHigh: ptr(1.31), ConsumptionWeekAgo: ptr(1.1), TrendPerDay: ptr(0.018), TrendLow: ptr(0.006), TrendHigh: ptr(0.03), Gain: ptr(0.97), GainSD: ptr(0.03), Pending: ptr(0.21), PendingHours: ptr(16.0),
				Advice: []machine.AdviceView{{Kind: "use_trend", Text: "the consumption is 1.21 dKH a day (90 %: 1.11 to 1.31) and rising by about 1.5 % a day"}}},
			{System: "nursery", Quantity: "calcium", Unit: "mg/L", Target: 430, Band: 20, Unconfirmed: ptr(520.0)},
		},
		Channels: []machine.ChannelView{
			{ID: "alk", System: "nursery", Container: "carbonate-jug", Node: "board", Running: true, Run: "01JNX3V9M2K4Q7R8S5T6W0YZAB",
				RateMLPerMin: ptr(9.8), Calibrated: ptr(at(6, 0)), Trials: 3, CVPercent: ptr(0.84), Primed: true, PlannedMLPerDay: 97.4, Window24hHiML: 102.3, PerDayML: 180,
				TotalHiML: 1210.5, TotalLoML: 1093.2, RunSeconds: 7411.2, TubingLifeSeconds: ptr(1.8e6), Next: &machine.PlannedRun{At: at(9, 30), VolumeML: 2.02, Seconds: 12.367},
				LastRun: ptr(at(9, 0)), LastOutcome: "finished", CapExpected: ptr(at(9, 0).AddDate(0, 1, 0)), CapCode: safety.DayCap},
			{ID: "mg", System: "nursery", Container: "magnesium-jug", Node: "board", PerDayML: 40, Withheld: []machine.BlockView{
				{Code: safety.NotPrimed, Text: "the line is not primed"}, {Code: safety.OnHold, Text: "feeding", Until: ptr(at(10, 0))}}},
		},
		Containers: []machine.ContainerView{{ID: "carbonate-jug", Supplement: "carbonate", CapacityML: 5000, StopML: 150, RemainingMinML: 3789.5,
			RemainingMaxML: 3906.8, DaysLeft: ptr(37.4), DaysLeftLow: ptr(34.6), LevelML: ptr(3850.2), LevelSeen: ptr(at(8, 58)), LevelWhy: ptr("")}},
		Probes: []machine.ProbeView{
			{ID: "ph", Quantity: "pH", Unit: "pH", Value: ptr(8.21), Seen: ptr(at(8, 59)), Good: true},
			{ID: "leak", Quantity: "switch", Why: "no reading for 31 min"}},
		Nodes:      []machine.NodeView{{ID: "board", Style: "bounded-run", Online: true}, {ID: "plug", Style: "switch", Needs: true}},
		Interlocks: []machine.InterlockView{{Name: "floor-wet", Active: true, NoData: true}},
		Alerts: []machine.AlertView{
			{Name: "interlock-floor-wet", Level: "warning", Raised: true, Since: at(8, 31), Text: "interlock floor-wet blocks: probe leak has no good reading"},
			{Name: "clock", Level: "warning"}},
	}
}
