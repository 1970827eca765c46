package machine

import (
	"strings"
	"time"

	"aliquot/planner"
	"aliquot/planner/units"
	"aliquot/safety"
)

// Site is everything about an installation that does not change while it runs. Its slices are in the order of
// the configuration, which is also the order of all output.
type Site struct {
	Name       string
	Zone       *time.Location
	ClockTrust safety.ClockTrust
	Tick       planner.Schedule // when plans are recomputed, local wall time
	Version    string
	Planner    Planner // nil: the planner package
	// Told says that alerts go out on a way beside the broker too; AlertTest is when a test message does, local wall time,
	// nil where there is none.
	Told      bool
	AlertTest planner.Schedule

	Systems     []planner.System
	Waters      []Water // of systems whose salinity and temperature are known
	Supplements []Supplement
	Containers  []Container
	Nodes       []Node
	Channels    []Channel
	KeepApart   []Apart
	Probes      []Probe
	Interlocks  []Interlock
}

// Supplement is a stock solution. Strength is what 1 mL does to 1 L of water, in canonical units.
type Supplement struct {
	ID       string
	Strength map[units.Quantity]float64
	// LateShare (0..1) of its alkalinity appears in the water over AppearsOver, the rest at once.
	LateShare   float64
	AppearsOver time.Duration
	Limewater   bool     // replaces evaporation: its volume is bounded by that
	Cautions    []string // shown wherever somebody handles it
	Caustic     bool     // handling it asks for a second word
}

// Container holds a supplement.
type Container struct {
	ID         string
	Supplement string
	Capacity   safety.Microlitres
	Stop       safety.Microlitres // at or below it nothing is taken out
	Warn       time.Duration      // warn when it lasts less than this
	Level      bool               // it stands on a scale or has a level sensor
}

// Style says how a node is told to run.
type Style string

// Styles of node.
const (
	BoundedRun Style = "bounded-run"
	Switch     Style = "switch"
	Supply     Style = "supply" // a relay in the feed of other nodes' pumps: it is opened from here and never closed
)

// SupplyOutput is the output of a supply relay.
const SupplyOutput = 0

// Node drives one or more outputs.
type Node struct {
	ID          string
	Style       Style
	AutoOff     safety.Milliseconds // fixed on-time inside a relay; 0: the command carries its duration
	OnlineEvery time.Duration       // how often it says that it is online; 0: only when that changes
	Fingerprint string              // of its configuration: a change voids a proof
}

// Line is a channel's tubing.
type Line struct {
	VolumeML float64            // inside
	Prime    safety.Microlitres // to pump so that an empty line is full
	// TubingLife is the running time that the pump tubing is good for; 0: not judged (H-18).
	TubingLife time.Duration
}

// Channel is one pump output and everything that bounds it.
type Channel struct {
	planner.Channel
	Container   string
	Node        string
	Supply      string // the supply relay that feeds its node's pumps; may be empty
	Output      int
	NominalRate safety.Rate // 0: unknown
	Line        Line
	Limits      safety.Limits
	// Gentle is the largest planned run whose pH step stays within the default (H-26); 0: not bounded so.
	Gentle safety.Microlitres
	// Alkaline is what a measured pH makes a smaller bound of.
	Alkaline AlkalineEffect
}

// Apart keeps channels from running within Gap of each other.
type Apart struct {
	Channels []string
	Gap      time.Duration
}

// Probe streams a measurement.
type Probe struct {
	ID         string
	System     string // may be empty
	Quantity   units.Quantity
	Low, High  float64 // plausible range, canonical unit
	StaleAfter time.Duration
	StuckAfter time.Duration // 0: not watched
	Unheard    bool          // the estimate leaves it out
}

// Interlock pauses channels on a probe's reading.
type Interlock struct {
	Name  string
	Probe string
	Rule  safety.InterlockRule
	Block []string // channel ids; every channel where the configuration says all
}

// cautionText puts what somebody must be told who handles the supplement into one line, without a full stop.
func (p *Supplement) cautionText() string {
	parts := make([]string, 0, len(p.Cautions))
	for _, c := range p.Cautions {
		parts = append(parts, strings.TrimRight(c, ". "))
	}
	return strings.Join(parts, "; ")
}
