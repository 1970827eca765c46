package machine

import (
	"time"

	"aliquot/safety"
)

// The views are what the outside may see of the state: the payloads of the retained topics, the metrics and the
// status page are made of them. Every measure names its unit. Null means unknown.

// SiteView is the whole site at one moment.
type SiteView struct {
	At         time.Time   `json:"at"`
	Site       string      `json:"site"`
	Version    string      `json:"version"`
	Ready      bool        `json:"ready"` // linked, owner, ledger good, clock trusted
	Why        []BlockView `json:"why"`   // what stands in the way of everything
	NextTick   *time.Time  `json:"next_tick"`
	LastPlan   *time.Time  `json:"last_plan"`
	LedgerRows int64       `json:"ledger_rows"`
	// HoldUntil is when the hold on everything ends; null where there is none.
	HoldUntil  *time.Time      `json:"hold_until"`
	Systems    []SystemView    `json:"systems"`
	Quantities []QuantityView  `json:"quantities"`
	Channels   []ChannelView   `json:"channels"`
	Containers []ContainerView `json:"containers"`
	Probes     []ProbeView     `json:"probes"`
	Nodes      []NodeView      `json:"nodes"`
	Interlocks []InterlockView `json:"interlocks"`
	Alerts     []AlertView     `json:"alerts"`
}

// SystemView is one body of water.
type SystemView struct {
	ID       string      `json:"system"`
	NetL     float64     `json:"net_l"`
	Withheld []BlockView `json:"withheld"`
	// Balance is whether the measured uses can all be true; null where there is too little to compare.
	Balance *BalanceView `json:"balance"`
	// AragoniteSaturation has no unit; null where it is not known.
	AragoniteSaturation *float64 `json:"aragonite_saturation"`
	// HoldUntil is when the hold on this system ends; null where there is none.
	HoldUntil *time.Time `json:"hold_until"`
}

// QuantityView is one quantity of a system.
type QuantityView struct {
	System            string     `json:"system"`
	Quantity          string     `json:"quantity"`
	Unit              string     `json:"unit"`
	Level             *float64   `json:"level"`
	LevelSD           *float64   `json:"level_sd"`
	ConsumptionPerDay *float64   `json:"consumption_per_day"`
	ConsumptionSD     *float64   `json:"consumption_sd"`
	Target            float64    `json:"target"`
	Band              float64    `json:"band"`
	TestsUsed         int        `json:"tests_used"`
	TestsSetAside     int        `json:"tests_set_aside"`
	LastTest          *time.Time `json:"last_test"`
	LastValue         *float64   `json:"last_value"`  // what that test said
	TestDue           *time.Time `json:"test_due"`    // by due_every alone: the alert is raised from then on; never before next_test
	Unconfirmed       *float64   `json:"unconfirmed"` // a test held back until a second one agrees
	// What follows is advice: it changes no dose. Intervals are of 90 %.
	NextTest            *time.Time `json:"next_test"` // the earlier of when another test is worth most and of due_every
	NextTestWhy         string     `json:"next_test_why"`
	ConsumptionLow      *float64   `json:"consumption_low"`
	ConsumptionHigh     *float64   `json:"consumption_high"`
	ConsumptionWeekAgo  *float64   `json:"consumption_7_days_ago"` // as believed then
	ConsumptionMonthAgo *float64   `json:"consumption_28_days_ago"`
	TrendPerDay         *float64   `json:"trend_per_day"` // of the consumption; null where there is too little
	TrendLow            *float64   `json:"trend_low"`
	TrendHigh           *float64   `json:"trend_high"`
	Gain                *float64   `json:"gain"` // what the system gets for 1 of what is told to be dosed
	GainSD              *float64   `json:"gain_sd"`
	// ProbeOffset is by how much the probe that streams this quantity reads above the tests; null where none is heard.
	ProbeOffset   *float64 `json:"probe_offset"`
	ProbeOffsetSD *float64 `json:"probe_offset_sd"`
	// Pending was dosed and is not in the level yet, below 0 where something is still to disappear: of the alkalinity of organic salts. Null before the first test.
	Pending      *float64     `json:"pending"`
	PendingHours *float64     `json:"pending_hours"` // mean time constant in which it appears; 0 where nothing is pending
	Advice       []AdviceView `json:"advice"`
}

// BlockView is one reason why something does not run.
type BlockView struct {
	Code  safety.Code `json:"code"`
	Text  string      `json:"text"`
	Until *time.Time  `json:"until"`
}

// PlannedRun is a run that the plan intends.
type PlannedRun struct {
	At       time.Time `json:"at"`
	VolumeML float64   `json:"volume_ml"`
	Seconds  float64   `json:"seconds"`
}

// ChannelView is one channel.
type ChannelView struct {
	ID              string     `json:"channel"`
	System          string     `json:"system"`
	Container       string     `json:"container"`
	Node            string     `json:"node"`
	Supply          string     `json:"supply,omitempty"` // the supply relay that feeds its pump, where there is one
	Running         bool       `json:"running"`
	Run             string     `json:"run"` // id of the open run, or empty
	RateMLPerMin    *float64   `json:"rate_ml_per_min"`
	OffsetML        float64    `json:"offset_ml,omitempty"` // what every run gives besides rate × time
	Calibrated      *time.Time `json:"calibrated"`
	Provisional     bool       `json:"provisional"`
	Trials          int        `json:"calibration_trials"`     // of the calibration in use
	CVPercent       *float64   `json:"calibration_cv_percent"` // how far they scatter; null for fewer than two
	Primed          bool       `json:"primed"`
	PlannedMLPerDay float64    `json:"planned_ml_per_day"`
	Window24hHiML   float64    `json:"window_24h_hi_ml"` // the most that may have been given in the last 24 h
	PerDayML        float64    `json:"per_day_ml"`
	TodayML         float64    `json:"today_ml"`    // into the tank since local midnight, halfway between the most and the least
	TotalHiML       float64    `json:"total_hi_ml"` // since the ledger began
	TotalLoML       float64    `json:"total_lo_ml"`
	RunSeconds      float64    `json:"run_seconds"` // since the tubing was changed
	// TubingLifeSeconds is how long the pump tubing may run; null where that is not declared.
	TubingLifeSeconds *float64    `json:"tubing_life_seconds"`
	Next              *PlannedRun `json:"next"`
	LastRun           *time.Time  `json:"last_run"`
	LastOutcome       string      `json:"last_outcome"`
	Withheld          []BlockView `json:"withheld"`
	// LockedOut: one of the reasons in Withheld stays until somebody does something.
	LockedOut bool `json:"locked_out"`
	// HoldUntil is when the hold on this channel alone ends; null where there is none.
	HoldUntil   *time.Time  `json:"hold_until"`
	CapExpected *time.Time  `json:"cap_expected"`     // when it will run into a cap; null where nothing says so
	CapCode     safety.Code `json:"cap_code"`         // which one, or empty
	Course      *CourseView `json:"course,omitempty"` // left out where none is declared
	// How far commissioning has come; left out while it has not.
	PlacementChecked *time.Time `json:"placement_checked,omitempty"`
	TrialsKept       string     `json:"trials_kept,omitempty"` // of a calibration that is not entered yet, as the command line takes them
	TestRun          *time.Time `json:"test_run,omitempty"`    // of the calibration in use
	Commissioned     *time.Time `json:"commissioned,omitempty"`
}

// ContainerView is one container: two remainders, since what nobody saw may or may not have left it.
type ContainerView struct {
	ID             string   `json:"container"`
	Supplement     string   `json:"supplement"`
	CapacityML     float64  `json:"capacity_ml"`
	StopML         float64  `json:"stop_ml"`
	RemainingMinML float64  `json:"remaining_min_ml"`
	RemainingMaxML float64  `json:"remaining_max_ml"`
	DaysLeft       *float64 `json:"days_left"`
	DaysLeftLow    *float64 `json:"days_left_low"` // if as much is used as may be
	Low            bool     `json:"low"`
	Empty          bool     `json:"empty"`
	// What a scale or level sensor says; left out where there is none.
	LevelML   *float64   `json:"level_ml,omitempty"` // left out too while there is no good reading
	LevelSeen *time.Time `json:"level_seen,omitempty"`
	LevelWhy  *string    `json:"level_why,omitempty"` // why the reading is not good, else empty
}

// ProbeView is one probe.
type ProbeView struct {
	ID       string     `json:"probe"`
	Quantity string     `json:"quantity"`
	Unit     string     `json:"unit"`
	Value    *float64   `json:"value"` // null if there is no good reading
	Seen     *time.Time `json:"seen"`
	Good     bool       `json:"good"`
	Why      string     `json:"why"` // why it is not good
}

// NodeView is one node.
type NodeView struct {
	ID     string     `json:"node"`
	Style  string     `json:"style"`
	Online bool       `json:"online"`
	Proven *time.Time `json:"proven"` // self-stop proof, where one is needed
	Needs  bool       `json:"needs_proof"`
	On     *bool      `json:"on,omitempty"` // of a supply relay: what it said last; nil: nothing yet
}

// Switched says of a supply relay whether it is on; empty where nothing is known of that.
func (n NodeView) Switched() string {
	switch {
	case n.On == nil:
		return ""
	case *n.On:
		return "on"
	}
	return "off"
}

// InterlockView is one interlock.
type InterlockView struct {
	Name   string `json:"interlock"`
	Active bool   `json:"active"`
	NoData bool   `json:"no_data"`
}

// AlertView is one alert.
type AlertView struct {
	Name         string    `json:"alert"`
	Level        string    `json:"level"` // critical, warning, note
	Raised       bool      `json:"raised"`
	Since        time.Time `json:"since"`
	Text         string    `json:"text"`
	Acknowledged bool      `json:"acknowledged"`
	// SilentUntil is when an acknowledgement ends that was given for a while.
	SilentUntil *time.Time `json:"silent_until,omitempty"`
	// Reminders is how often it was told again since this process began to count.
	Reminders int `json:"reminders,omitempty"`

	silentEnds safety.Elapsed // 0: an acknowledgement holds as long as the alert
}

// BeatView is the heartbeat.
type BeatView struct {
	At            time.Time   `json:"at"`
	UptimeSeconds float64     `json:"uptime_seconds"`
	LastPlan      *time.Time  `json:"last_plan"`
	Withheld      []BlockView `json:"withheld"`
}
