package faultsim

import (
	"math/rand/v2"
	"time"
)

// dish is a kind of fault on the menu: how it is drawn.
type dish struct {
	kind    Kind
	perWeek float64 // how often it comes in a seed that has it
	longest time.Duration
	n       func(r *rand.Rand) int
	target  []string
}

func upTo(least, most int) func(*rand.Rand) int {
	return func(r *rand.Rand) int { return least + r.IntN(most-least+1) }
}

func oneOf(values ...int) func(*rand.Rand) int {
	return func(r *rand.Rand) int { return values[r.IntN(len(values))] }
}

var (
	nodesOnly    = []string{board, plug}
	sensedOnly   = []string{"alk", "mg"}
	channelsOnly = []string{"alk", "ca", "mg", "trace"}
)

const hour = time.Hour

// menu is what can go wrong. How often and how long are our own choice: often enough that faults meet.
var menu = []dish{
	{Crash, 10, hour, upTo(0, 6), nil},
	{Panic, 3, 10 * time.Minute, nil, nil},
	{Restart, 3, 2 * hour, nil, nil},
	{Power, 4, 6 * hour, upTo(0, 6), nil},
	{NoClock, 2, 30 * hour, upTo(0, 6), nil},
	{DiskFails, 3, 8 * hour, upTo(0, 1), nil},
	{SlowDisk, 4, 12 * hour, oneOf(5, 200, 1500, 6000, 9990, 12_000, 40_000), nil},
	{OldLedger, 1, hour, upTo(1, 60), nil},
	{SecondHost, 1, 12 * hour, upTo(0, 40), nil},
	{LinkCut, 12, 8 * hour, nil, nil},
	{HalfOpen, 8, 2 * time.Minute, upTo(1, 3), nil},
	{BrokerDown, 3, 10 * hour, upTo(0, 1), nil},
	{NodeAway, 6, 10 * hour, nil, nodesOnly},
	{NodeHangs, 4, 3 * hour, nil, nodesOnly},
	{LoseRuns, 3, 20 * hour, oneOf(5, 30, 100), nil},
	{LoseStops, 3, 40 * hour, oneOf(30, 100), nil},
	{LoseReports, 3, 20 * hour, oneOf(5, 30, 100), nil},
	{DelayRuns, 4, 20 * hour, oneOf(1, 4, 12, 300, 440), nil},
	{DelayReports, 4, 30 * hour, oneOf(1, 6, 60, 1000, 86_000), nil},
	{DoubleRuns, 3, 30 * hour, nil, nil},
	{DoubleSaid, 3, 30 * hour, nil, nil},
	{NoEcho, 1, 30 * hour, nil, nil},
	{Reboot, 8, 0, nil, nodesOnly},
	{Deaf, 3, 5 * hour, nil, nodesOnly},
	{Mute, 3, 5 * hour, nil, nodesOnly},
	{DropsSaid, 3, 20 * hour, upTo(1, 4), nodesOnly},
	{LateStart, 4, 20 * hour, oneOf(1, 5, 30, 440), nodesOnly},
	{LateOff, 2, 10 * hour, oneOf(1, 2, 4, 30), nodesOnly},
	{StuckOn, 1, 3 * hour, nil, nodesOnly},
	{Blocked, 2, 20 * hour, nil, nodesOnly},
	{RateDrift, 3, 60 * hour, upTo(980, 1020), nodesOnly},
	{DeafToTime, 1, 5 * hour, nil, nodesOnly},
	{ClockStep, 4, 10 * hour, oneOf(-1, 1, 59, -59, 61, -61, 3600, -3600, 90_000, -90_000, 31_536_000, -31_536_000), nil},
	{ClockSlip, 3, 0, upTo(-1000, 1000), nil},
	{Unsynced, 2, 10 * hour, nil, nil},
	{ForgedReport, 12, 0, upTo(0, 1<<20), nodesOnly},
	{ForgedRun, 2, 0, upTo(1, 3), nodesOnly},
	{Plant, 3, 0, upTo(1, 3), nodesOnly},
	{ForgedOwner, 2, 0, upTo(-200, 200), nil},
	{Greed, 6, 20 * hour, nil, nil},
	{Careless, 4, 40 * hour, nil, nil},
	{Hold, 4, 0, upTo(1, 240), nil},
	{OutOf, 1, 10 * hour, nil, channelsOnly},
	{StopAll, 4, 0, nil, nil},
	{WrongTest, 3, 0, upTo(-60, 900), nil},
	{WrongFill, 2, 0, upTo(2, 10), nil},
	{SwapTubes, 1, 0, nil, channelsOnly},
	{HighPH, 3, 6 * hour, nil, nil},
	{NoProbe, 3, 6 * hour, nil, nil},
	{Leak, 1, hour, nil, nil},
	{BadPlan, 3, 20 * hour, upTo(1, 8), nil},
	{RaisedCap, 2, 30 * hour, nil, channelsOnly},
	{LevelStuck, 2, 40 * hour, nil, sensedOnly},
	{LevelFalls, 2, 4 * hour, nil, sensedOnly},
	{LevelDrifts, 2, 40 * hour, oneOf(-20, -3, 3, 20), sensedOnly},
}

// draw chooses what goes wrong between two moments: each kind is on in a random part of the seeds.
func draw(menu []dish, r *rand.Rand, from, to time.Duration) []Fault {
	var out []Fault
	share := []float64{.08, .2, .4}[r.IntN(3)]
	for _, d := range menu {
		on, often := r.Float64() < share, r.ExpFloat64()
		if !on {
			continue
		}
		// Calm weeks and bad ones: a seed's rate is spread around the menu's.
		count := int(d.perWeek*(.3+often)*(to-from).Hours()/(7*24) + r.Float64())
		for range count {
			out = append(out, d.draw(r, from, to))
		}
	}
	return out
}

func (d dish) draw(r *rand.Rand, from, to time.Duration) Fault {
	f := Fault{Kind: d.kind, At: from + time.Duration(r.Int64N(int64(to-from))).Truncate(time.Second)}
	if r.IntN(3) == 0 { // near a slot, where it matters
		f.At = min(to, f.At.Truncate(30*time.Minute)+time.Duration(r.IntN(60_000))*time.Millisecond)
	}
	if d.longest > 0 { // short ones are as likely as long ones
		f.For = time.Duration(float64(time.Second) * pow(r.Float64(), d.longest.Seconds()))
		f.For = min(f.For.Truncate(time.Second)+time.Second, max(time.Second, to-f.At))
	}
	if d.n != nil {
		f.N = d.n(r)
	}
	if len(d.target) > 0 {
		f.Target = d.target[r.IntN(len(d.target))]
	}
	return f
}
