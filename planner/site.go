package planner

import (
	"time"

	"aliquot/planner/units"
	"aliquot/safety"
)

// Schedule gives the first instant strictly after t at which a cron expression fires. It is evaluated on
// local wall time written as if it were UTC (see Calendar). The zero time means never. On every date on which it fires
// it fires at the same times of day, as the fields of an expression say by themselves.
type Schedule interface{ Next(t time.Time) time.Time }

// Kind says how a system may be treated.
type Kind string

// Kinds of system. In a Treatment system nothing is ever raised automatically.
const (
	Coral     Kind = "coral"
	Fish      Kind = "fish"
	Treatment Kind = "treatment"
)

// System is one body of water.
type System struct {
	ID        string
	Kind      Kind
	NetLitres float64 // water only; 5..20000
	// Evaporation is mL a day: the most that all limewater together may bring. 0: not declared, no limewater is planned.
	Evaporation float64
	Light       Light
	Targets     []Target
}

// Light is when a system's lights are on, in minutes after local midnight, 0..1439; To before From goes through midnight, and
// From equal to To says nothing.
type Light struct{ From, To int }

// Told says whether the keeper has said it.
func (l Light) Told() bool { return l.From != l.To }

// Target is what a keeper wants of one quantity of a system. Levels are in the quantity's canonical unit
// (units.Quantity.Unit), changes in that unit per day.
type Target struct {
	Quantity units.Quantity
	Target   float64
	Band     float64 // half width
	MaxRise  float64 // per day, the largest correction above the estimated use
	MaxFall  float64 // per day
	MaxDose  float64 // everything dosed in any 24 h; 0 = not set
	Test     TestHabits
}

// TestHabits describes the keeper's tests of one quantity.
type TestHabits struct {
	SD         float64       // repeatability, canonical unit
	DueEvery   time.Duration // 0 = no reminder
	StaleAfter time.Duration
}

// Mode says where a channel's daily volume comes from.
type Mode int

// Modes of a channel.
const (
	Follow Mode = iota // driven by tests of one quantity
	Fixed              // so many mL a day
	Share              // a ratio of another channel's volume
)

// Channel is what the planner needs to know of a pump channel.
type Channel struct {
	ID          string
	System      string
	Mode        Mode
	Quantity    units.Quantity             // Follow only
	FixedPerDay float64                    // Fixed only, mL/day, an average over the calendar's days
	Course      safety.Course              // Fixed only; zero: it has no end
	ShareOf     string                     // Share only
	ShareRatio  float64                    // Share only, of the other channel's volume
	Base        *safety.Microlitres        // per day; nil = none declared
	Strength    map[units.Quantity]float64 // canonical unit, in 1 L, for 1 mL
	Limewater   bool                       // its supplement is saturated limewater, which replaces evaporation
	Calendar    Calendar
	SmallestRun safety.Microlitres
	PerRun      safety.Microlitres
	PerDay      safety.Microlitres
	Tolerance   safety.Tolerance
}
