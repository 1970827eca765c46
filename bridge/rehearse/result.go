package rehearse

import (
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// Result is how a rehearsal went. Levels are canonical, volumes mL.
type Result struct {
	Site         string            `json:"site"`
	Zone         string            `json:"timezone"`
	From         time.Time         `json:"from"`
	To           time.Time         `json:"to"`
	Days         int               `json:"days"`
	Seed         uint64            `json:"seed"`
	Asked        []string          `json:"asked"`        // what trouble was asked for
	Commissioned *time.Time        `json:"commissioned"` // when every channel was ready; null: never
	Quantities   []QuantityResult  `json:"quantities"`
	Channels     []ChannelResult   `json:"channels"`
	Containers   []ContainerResult `json:"containers"`
	Withheld     []Withheld        `json:"withheld"`
	Tests        []Test            `json:"tests"`
	Happened     []Remark          `json:"happened"`
	// Exceeded says where more left an outlet, or more of a quantity came in, than its cap and tolerance allow.
	Exceeded []string `json:"exceeded"`

	Rows []machine.Row `json:"-"` // of the ledger
}

// QuantityResult is how one quantity fared. Shares, deviations and swings are of the true level, hour by hour, from
// when the channels were ready.
type QuantityResult struct {
	System        string   `json:"system"`
	Quantity      string   `json:"quantity"`
	Unit          string   `json:"unit"`
	Target        float64  `json:"target"`
	Band          float64  `json:"band"`
	Start         float64  `json:"start"`
	End           float64  `json:"end"`
	InBandPercent float64  `json:"in_band_percent"`
	RMS           float64  `json:"rms_deviation"`
	Worst         float64  `json:"worst_deviation"` // signed, the one farthest from the target
	DaySwing      float64  `json:"largest_day_swing"`
	MaxDose       float64  `json:"max_dose"`      // the configured cap, per 24 h; 0: none
	LargestDose   float64  `json:"largest_dose"`  // all channels, any 24 h, at the declared net volume
	Missed        int      `json:"tests_missed"`  // by the keeper
	Entered       int      `json:"tests_entered"` //
	SetAside      int      `json:"tests_set_aside"`
	Covered       *float64 `json:"within_90_percent"` // share of hours in which the truth lay in the estimate's 90 % interval
	Series        []Sample `json:"-"`
}

// Sample is the state of a quantity at one moment. Pointers are nil before the first test.
type Sample struct {
	At                   time.Time
	Level                *float64 // true; nil where nobody knows it
	Use                  *float64 // true, per day
	Believed, BelievedSD *float64
	BelievedUse, UseSD   *float64
	// Afterwards is what was believed with what came later too; nil where it was not asked for.
	Afterwards, AfterwardsSD, AfterwardsUse, AfterwardsUseSD *float64
}

// ChannelResult is what a channel did.
type ChannelResult struct {
	Channel     string    `json:"channel"`
	System      string    `json:"system"`
	Container   string    `json:"container"`
	Runs        int       `json:"runs"`       // into the tank
	OddRuns     int       `json:"odd_runs"`   // not plainly finished, of any purpose
	VolumeML    float64   `json:"volume_ml"`  // truly, into the tank
	PerDayML    float64   `json:"per_day_ml"` // the cap
	LargestML   float64   `json:"largest_24h_ml"`
	WithheldNum int       `json:"withheld"` // slots that met a reason not to run at once
	Days        []Portion `json:"by_day"`   // truly, into the tank, by local day
}

// Portion is what a channel gave in one local day.
type Portion struct {
	Day string  `json:"day"`
	ML  float64 `json:"ml"`
}

// ContainerResult is what became of a container.
type ContainerResult struct {
	Container  string   `json:"container"`
	CapacityML float64  `json:"capacity_ml"`
	StopML     float64  `json:"stop_ml"`
	Refills    int      `json:"refills"` // after the first
	EndML      float64  `json:"end_ml"`  // truly
	DaysLeft   *float64 `json:"days_left"`
	Series     []Point  `json:"-"` // truly, mL
}

// Point is a value at a moment.
type Point struct {
	At    time.Time
	Value float64
}

// Withheld is a reason for which a channel's slots did not run at once.
type Withheld struct {
	Channel  string      `json:"channel"`
	Code     safety.Code `json:"code"`
	Slots    int         `json:"slots"`     // that met it
	RanLater int         `json:"ran_later"` // of those, within their grace
	First    time.Time   `json:"first"`
	Last     time.Time   `json:"last"`
	Text     string      `json:"text"` // of the first
}

// Test is one test and what was made of it.
type Test struct {
	At          time.Time   `json:"at"` // of the sample
	System      string      `json:"system"`
	Quantity    string      `json:"quantity"`
	Unit        string      `json:"unit"`
	Value       float64     `json:"value"`
	Truth       *float64    `json:"truth"`    // null where nobody knows it
	Mistake     float64     `json:"mistake"`  // that the scenario put in
	Expected    *float64    `json:"expected"` // null: there was no prediction
	ExpectedSD  *float64    `json:"expected_sd"`
	Code        safety.Code `json:"code"`
	Held        bool        `json:"held"`
	PlannedNote string      `json:"planned"` // the daily volumes in force after it
}

// Remark is something else that is worth knowing.
type Remark struct {
	At   time.Time `json:"at"`
	Text string    `json:"text"`
}
