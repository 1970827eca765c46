package rehearse

import (
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/node"
	"aliquot/bridge/simnode"
	"aliquot/planner/tank"
	"aliquot/planner/units"
)

// Options are the parts of a rehearsal. Codecs and nodes are used up by it: each rehearsal needs fresh ones.
type Options struct {
	Site   *machine.Site // its clock is declared trusted
	Nodes  []Node
	Waters []Water // of each system, in the order of Site.Systems
	// Carbon is mol of inorganic carbon per eq of alkalinity of each supplement; left out: as bicarbonate.
	Carbon   map[string]float64
	Scenario Scenario
	// Afterwards asks for what was believed afterwards, for plots; it costs time.
	Afterwards bool
	// Progress is told after every simulated day; false ends the rehearsal there. nil: nobody asks.
	Progress func(done, all int) bool
}

// Node is a pump node of the site and what stands in for it.
type Node struct {
	Codec   *node.Codec
	Sim     simnode.Node
	Outputs []int     // the site's numbers of the simulated outputs 1, 2, …
	Rates   []float64 // true, mL/min, of the same outputs
}

// Water is what a system's water is like at the start.
type Water struct {
	NetLitres float64 // true
	Start     map[units.Quantity]float64
	Uptake    tank.Uptake
	MidLight  time.Duration              // as in tank.Params
	LightLong time.Duration              // 0 = ten hours
	Other     map[units.Quantity]float64 // constant use per day
}

// Scenario is what happens. Its zero value, but for Start and Days, is an untroubled time.
type Scenario struct {
	Start      time.Time
	Days       int // 1 to 366
	Seed       uint64
	MissTests  float64 // the chance that a due test is not made, 0 to 1
	Holidays   []Span  // nobody is there
	WrongTests []WrongTest
	Drifts     []Drift
	Outages    []Outage
	Changes    WaterChanges
	Cuts       []Span // the whole house without power: nodes, broker and the service itself
	Empties    []Empties
	Stuck      []StuckProbe
	UseSteps   []UseStep
	Asked      []string // all of the above as it was asked for, for the report
}

// Empties is a container that loses all it holds, and nobody tells the service: a leak, a jug taken away.
type Empties struct {
	Container string
	At        time.Duration
}

// StuckProbe is a probe that repeats one reading.
type StuckProbe struct {
	Probe string
	Span
}

// UseStep changes how much the corals of a system take up: Factor above 0, 1.3 is 30 % more from then on.
type UseStep struct {
	System string
	Factor float64
	At     time.Duration
}

// Span is a time from one moment to another, counted from the start.
type Span struct{ From, To time.Duration }

// WrongTest is a mistake of the keeper on the evening of a day, 1 being the first: the result that is entered is off
// by so much, canonical unit.
type WrongTest struct {
	System   string
	Quantity units.Quantity
	Error    float64
	Day      int
}

// Drift is how a pump's true rate changes, evenly from the start to the end: -0.1 is 10 % less at the end.
type Drift struct {
	Channel string
	Share   float64
}

// Outage is a node without power, or the broker unreachable where Node is Broker.
type Outage struct {
	Node string
	Span
}

// Broker names the broker in an Outage.
const Broker = "broker"

// WaterChanges are regular: Share of the net volume, above 0 to 1, by a mix that has the targets. Zero Every: none.
type WaterChanges struct {
	Share float64
	Every time.Duration
}

// day gives the number of the day that a moment lies in, from 1.
func (s Scenario) day(mono time.Duration) int { return int(mono/(24*time.Hour)) + 1 }

func (s Scenario) away(mono time.Duration) bool {
	for _, h := range s.Holidays {
		if mono >= h.From && mono < h.To {
			return true
		}
	}
	return false
}
