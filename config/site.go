package config

import (
	"time"

	"aliquot/planner"
	"aliquot/planner/acidity"
	"aliquot/planner/stock"
	"aliquot/planner/units"
	"aliquot/safety"

	"github.com/robfig/cron/v3"
)

// Site is one installation as its file describes it, with every default filled in. Lists are in the order of
// the file. Names that one entry gives for another exist.
type Site struct {
	File        string
	Name        string
	Zone        *time.Location
	ClockTrust  ClockTrust
	MQTT        MQTT
	HTTP        HTTP
	Ledger      Ledger
	PlanTick    Schedule
	Alerts      *Alerts // nil: told at the broker and on the page alone
	Systems     []System
	Supplements []Supplement
	Containers  []Container
	Nodes       []Node
	Channels    []Channel
	KeepApart   []Pair
	Probes      []Probe
	Interlocks  []Interlock
	NotYet      []NotYet // keys that have no effect in this version, in the order of the file

	places map[string]Pos
	text   []byte // the file as it was read
}

// Where gives the place of a path such as channels.alk.limits.per_run; false if it is not in the file.
func (s *Site) Where(path string) (Pos, bool) {
	at, ok := s.places[path]
	return at, ok
}

// ClockTrust says when the host's clock is believed.
type ClockTrust string

// Ways to trust a clock.
const (
	Synced    ClockTrust = "synced"    // the kernel says that it is synchronised
	Confirmed ClockTrust = "confirmed" // the keeper says so after each start
)

// MQTT is the connection to the broker.
type MQTT struct {
	Embedded     *Embedded // nil: an outside broker at Host and Port
	Host         string
	Port         int
	TLS          *TLS // nil: no TLS
	Username     string
	PasswordFile string // never opened here
	Prefix       string
	Discovery    Discovery
	At           Pos
}

// TLS says how the broker is verified and how we identify ourselves. Empty: the system's own.
type TLS struct{ CAFile, CertFile, KeyFile, ServerName string }

// Embedded is the broker inside.
type Embedded struct {
	Listen    string // host:port
	UsersFile string // empty: anybody who reaches Listen may connect
}

// Discovery asks for announcements.
type Discovery struct {
	Enabled bool
	Prefix  string
}

// HTTP is the read-only page.
type HTTP struct {
	Listen    string
	TokenFile string // empty: no token is asked for; never opened here
}

// Ledger is the durable record.
type Ledger struct {
	Path string
	Keep time.Duration // older rows are exported and summed; 0: never
}

// KeepLeast is how long every row of a ledger stays as it was written.
const KeepLeast = 400 * 24 * time.Hour

// Schedule is a cron expression. Cron is evaluated on local wall time written as if it were UTC; it has at
// least one instant.
type Schedule struct {
	Text string
	Cron cron.Schedule
}

// System is one body of water.
type System struct {
	ID           string
	Kind         planner.Kind
	NetLitres    float64 // water only, 5..20000
	SalinityPSU  float64
	TemperatureC float64
	Evaporation  float64 // mL a day; 0: not declared
	Light        planner.Light
	Quantities   []Target
	At           Pos
}

// Tank gives the water into which solutions go, its alkalinity at the target.
func (s System) Tank() acidity.Tank {
	t := acidity.Tank{SalinityPSU: s.SalinityPSU, TemperatureC: s.TemperatureC, Litres: s.NetLitres}
	for _, q := range s.Quantities {
		if q.Quantity == units.Alkalinity {
			t.AlkalinityDKH = q.Target
		}
	}
	return t
}

// Target is what is wanted of one quantity. Levels in units.Quantity.Unit, changes in that unit per day.
type Target struct {
	Quantity   units.Quantity
	Target     float64
	Unit       string // in which target was written: the keeper's own
	Band       float64
	MaxRise    float64
	MaxFall    float64
	MaxDose    float64 // 0: not declared
	TestSD     float64
	DueEvery   time.Duration // 0: no reminder
	StaleAfter time.Duration
	At         Pos
}

// Supplement is a stock solution.
type Supplement struct {
	ID       string
	Solution []Salt                     // nil if only a label's claim is known
	Claims   []Claim                    // nil if the salts are known
	Classes  []stock.Class              // contents by which solutions are kept apart
	Strength map[units.Quantity]float64 // canonical unit, in 1 L of water, for 1 mL
	// Limewater: saturated, Solution is what it holds then; nil: something else.
	Limewater *stock.Limewater
	// LateShare (0..1) of the alkalinity appears over AppearsOver, the rest at once.
	LateShare   float64
	AppearsOver time.Duration
	At          Pos
}

// Salt is one salt of a solution, as named in the file.
type Salt struct {
	Name   string
	GPerL  float64 // as weighed
	Purity float64 // share of it that is this salt, 0.01 to 1
}

// Parts gives the recipe; nil if only a label's claim is known.
func (s Supplement) Parts() []stock.Part {
	var out []stock.Part
	for _, salt := range s.Solution {
		out = append(out, stock.Part{Salt: salt.Name, GramsPerLitre: salt.GPerL, Purity: salt.Purity})
	}
	return out
}

// Claim is what a label says of one quantity, as written.
type Claim struct {
	Quantity units.Quantity
	Text     string
}

// Container is one vessel.
type Container struct {
	ID            string
	Supplement    string
	Capacity      safety.Microlitres
	Warn          time.Duration // of planned use
	Stop          safety.Microlitres
	TopToOutletMM *float64 // positive: the highest liquid level lies above the outlet; nil: not declared
	Level         *Level   // nil: none
	At            Pos
}

// Level is a scale, a level sensor or a float switch.
type Level struct {
	Topic, Path, Unit string
	TareG             float64            // g and kg only
	DensityKgPerL     float64            // g and kg only
	Table             []LevelAt          // mm and cm only: readings rising, volumes rising or falling
	Low, Enough       string             // switch only: the words for at or below the mark, and above it
	Mark              safety.Microlitres // switch only: what the container holds when it trips
}

// LevelAt is what a container holds at a reading.
type LevelAt struct {
	MM    float64
	Holds safety.Microlitres
}

// Style is how a node is driven.
type Style string

// Styles of node.
const (
	BoundedRun Style = "bounded-run"
	Switch     Style = "switch"
	Supply     Style = "supply"
)

// Node is one MQTT device. Texts may hold templates; they are kept as written.
type Node struct {
	ID                string
	Style             Style
	Run, Stop, Report string // bounded-run: topics
	Command           string // switch, supply: topic
	On, Off           string // switch: payloads; supply: off only
	State             State  // switch, supply
	AutoOff           time.Duration
	Supply            string // name of the supply relay that feeds the node's pumps; may be empty
	Online            Online
	At                Pos
}

// State is how a relay says what it is.
type State struct{ Topic, Path, On, Off string }

// Online is how a node says that it is there.
type Online struct {
	Topic, Up, Down string
	Every           time.Duration // 0: it does not repeat itself
}

// Channel is one pump output.
type Channel struct {
	ID          string
	System      string
	Container   string
	Node        string
	Output      int
	NominalRate safety.Rate // 0: not declared
	Line        Line
	Mode        planner.Mode
	Follow      units.Quantity      // planner.Follow
	FixedPerDay float64             // planner.Fixed, mL/day
	Course      safety.Course       // planner.Fixed, and the days of it for what shares its volume; zero: it has no end
	ShareOf     string              // planner.Share
	ShareRatio  float64             // planner.Share
	Base        *safety.Microlitres // per day; nil: not declared
	Slots       Schedule
	Every       int       // local days, at least 1
	Start       time.Time // first day of Every, written as midnight UTC
	Night       planner.Night
	Limits      Limits
	Attended    Attended
	At          Pos
}

// Outlet says where a line ends.
type Outlet string

// Ends of a line; OutletUnknown: not declared.
const (
	OutletUnknown Outlet = ""
	AboveWater    Outlet = "above_water"
	UnderWater    Outlet = "under_water"
)

// Line is the tubing of a channel.
type Line struct {
	BoreMM, LengthMM, LiftMM float64
	Outlet                   Outlet
	SiphonBreak              bool
	TubingLife               time.Duration // running time; 0: not declared
}

// Limits are what a channel may never exceed.
type Limits struct {
	SmallestRun safety.Microlitres
	PerRun      safety.Microlitres
	PerDay      safety.Microlitres
	RunTime     safety.Milliseconds
	Rest        time.Duration
}

// Attended are the limits of runs into a vessel with a person present.
type Attended struct{ PerRun, PerDay safety.Microlitres }

// Pair is two channels that are kept apart, A before B in the file.
type Pair struct {
	A, B     string
	Gap      time.Duration
	Implicit bool // not declared: their solutions are incompatible
	At       Pos

	path string
}

// Probe is a topic that streams a measurement.
type Probe struct {
	ID          string
	System      string // empty for a switch that belongs to none
	Topic, Path string
	Quantity    units.Quantity
	Unit        string  // of the readings; empty for a switch
	Low, High   float64 // plausible, in Unit
	On, Off     string  // switch only
	StaleAfter  time.Duration
	StuckAfter  time.Duration // 0: never judged stuck
	Unheard     bool          // the estimate of its quantity leaves it out
	At          Pos
}

// Relation is how an interlock compares.
type Relation string

// Relations of an interlock.
const (
	Above Relation = "above"
	Below Relation = "below"
	IsOn  Relation = "on"
	IsOff Relation = "off"
)

// Condition is one side of an interlock. Value is in the canonical unit of the probe's quantity; it is 0 for
// IsOn and IsOff.
type Condition struct {
	Relation Relation
	Value    float64
	For      time.Duration
}

// Interlock is a condition on a probe that pauses channels.
type Interlock struct {
	Name        string
	Probe       string
	When        Condition
	Until       *Condition // nil: latched, or a switch that lets go as soon as it says the other
	BlockAll    bool
	Block       []string // channels, unless BlockAll
	Latch       bool
	StaleIgnore bool
	At          Pos

	path string
}
