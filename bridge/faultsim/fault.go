package faultsim

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Kind names a kind of fault.
type Kind string

// Kinds of fault, by what fails. N of each is explained beside it.
const (
	// the process and its disk
	Crash      Kind = "crash"       // the process dies behind the Nth effect of its next list that sends a run; For: downtime
	Panic      Kind = "panic"       // the process fails, tells the pumps to stop, and is started anew; For: downtime
	Restart    Kind = "restart"     // an orderly stop and a start; For: downtime
	Power      Kind = "power"       // everything on the site loses power, the Nth effect being under way; For: downtime
	NoClock    Kind = "no-clock"    // as Power, and the host comes up in 1970, unsynchronised for 20 min
	DiskFails  Kind = "disk-fails"  // the next append fails; N odd: it is on disk all the same; For: until a restart
	SlowDisk   Kind = "slow-disk"   // an append takes N ms
	OldLedger  Kind = "old-ledger"  // the newest N rows are gone after a restart; For: downtime
	SecondHost Kind = "second-host" // a second daemon with a copy of the ledger that lacks the newest N rows

	// what it is told, and what it thinks
	BadPlan   Kind = "bad-plan"   // the planner answers what cannot be; N: how
	RaisedCap Kind = "raised-cap" // the configuration is changed to twice a channel's per_day, the service started anew; For: until it is changed back

	// the network
	LinkCut      Kind = "link-cut"      // the daemon's connection closes
	HalfOpen     Kind = "half-open"     // it hangs; N: 1 nothing comes in, 2 nothing goes out, 3 neither
	BrokerDown   Kind = "broker-down"   // the broker is down; N odd: what it retained is lost
	NodeAway     Kind = "node-away"     // the node has no connection
	NodeHangs    Kind = "node-hangs"    // no command reaches the node, and nobody notices
	LoseRuns     Kind = "lose-runs"     // N percent
	LoseStops    Kind = "lose-stops"    // N percent
	LoseReports  Kind = "lose-reports"  // N percent
	DelayRuns    Kind = "delay-runs"    // up to N s
	DelayReports Kind = "delay-reports" // up to N s: they overtake each other
	DoubleRuns   Kind = "double-runs"   // to nodes that know ids
	DoubleSaid   Kind = "double-said"   // reports and states come twice
	NoEcho       Kind = "no-echo"       // the daemon cannot read its own command topics

	// nodes
	Reboot     Kind = "reboot"
	Deaf       Kind = "deaf"
	Mute       Kind = "mute"
	DropsSaid  Kind = "drops-said"   // every Nth report or state
	LateStart  Kind = "late-start"   // N s
	LateOff    Kind = "late-off"     // N s
	StuckOn    Kind = "stuck-on"     // a welded contact
	Blocked    Kind = "blocked"      // nothing comes out
	RateDrift  Kind = "rate-drift"   // the rate is N permille of what it was
	DeafToTime Kind = "ignores-time" // runs end on command only

	// a supply relay
	SwitchedOff Kind = "switched-off" // by somebody at the relay
	CutByHand   Kind = "cut"          // somebody asks the service to open it

	// the clock of the host
	ClockStep Kind = "clock-step" // by N s, unsynchronised; For: until it is set right
	ClockSlip Kind = "clock-slip" // by N ms, and the kernel calls it synchronised
	Unsynced  Kind = "unsynced"

	// strangers
	ForgedReport Kind = "forged-report" // N draws what it says
	ForgedRun    Kind = "forged-run"    // a stranger commands the node
	Plant        Kind = "plant"         // a stranger retains a command
	ForgedOwner  Kind = "forged-owner"  // a stranger writes the owner record

	// people and the tank
	Greed     Kind = "greed"    // the keeper asks for all there is, every few minutes
	Careless  Kind = "careless" // the keeper clears whatever stands and looks at nothing
	Hold      Kind = "hold"     // of N minutes
	OutOf     Kind = "out-of-service"
	StopAll   Kind = "stop-all"
	WrongTest Kind = "wrong-test" // a test that is off by N percent
	WrongFill Kind = "wrong-fill" // a refill of N times the capacity
	SwapTubes Kind = "swap"       // the container is swapped
	HighPH    Kind = "high-ph"
	NoProbe   Kind = "no-probe"
	Leak      Kind = "leak"

	// level sensors, by a channel that draws from their container
	LevelStuck  Kind = "level-stuck"
	LevelFalls  Kind = "level-falls"  // to nothing
	LevelDrifts Kind = "level-drifts" // N mL each ten minutes
)

// Fault is one thing that goes wrong, at a true time counted from the start.
type Fault struct {
	At     time.Duration
	For    time.Duration // how long it lasts; 0: a moment
	Kind   Kind
	Target string // a node or channel, where the kind needs one
	N      int
}

// String is the fault as one line of a scenario.
func (f Fault) String() string {
	line := fmt.Sprintf("fault %s %s", f.At, f.Kind)
	if f.Target != "" {
		line += " " + f.Target
	}
	if f.For > 0 {
		line += " for=" + f.For.String()
	}
	if f.N != 0 {
		line += fmt.Sprintf(" n=%d", f.N)
	}
	return line
}

// readFault is the inverse of String, without the word "fault".
func readFault(words []string) (f Fault, err error) {
	if len(words) < 2 {
		return f, fmt.Errorf("a fault needs a time and a kind, found %q", strings.Join(words, " "))
	}
	if f.At, err = time.ParseDuration(words[0]); err != nil {
		return f, err
	}
	f.Kind = Kind(words[1])
	if !known(f.Kind) {
		return f, fmt.Errorf("no fault is called %q", words[1])
	}
	for _, w := range words[2:] {
		key, value, has := strings.Cut(w, "=")
		switch {
		case !has:
			f.Target = w
		case key == "for":
			f.For, err = time.ParseDuration(value)
		case key == "n":
			_, err = fmt.Sscanf(value, "%d", &f.N)
		default:
			err = fmt.Errorf("a fault has no %q", key)
		}
		if err != nil {
			return f, err
		}
	}
	return f, nil
}

func known(k Kind) bool {
	is := func(d dish) bool { return d.kind == k }
	return slices.ContainsFunc(menu, is) || slices.ContainsFunc(fedOnly, is)
}
