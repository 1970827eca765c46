package safety

import (
	"math"
	"testing"
	"time"
)

func attended(vessel bool) Ask {
	a := anAsk()
	a.Attended, a.Vessel = true, vessel
	return a
}

func proving() Ask {
	a := attended(true)
	a.Proving = true
	return a
}

// What an attended run waives, and where: one row for each condition of the gate. "scheduled" is the code for a
// run nobody watches; the other columns say whether it still blocks.
func TestINV14WaiversExactly(t *testing.T) {
	tests := []struct {
		name                string
		change              func(*Ask, *Facts)
		code                Code // for a scheduled run
		tank, vessel, prove bool // still blocks for an attended run into the tank, a vessel, a proof
	}{
		{"not calibrated", func(_ *Ask, f *Facts) { f.Calibrated = false }, NotCalibrated, false, false, false},
		{"not primed", func(_ *Ask, f *Facts) { f.Primed = false }, NotPrimed, false, false, false},
		{"rest", func(_ *Ask, f *Facts) { f.LatestEnd = f.Now }, RestTime, false, false, false},
		{"smallest run", func(_ *Ask, f *Facts) { f.Limits.SmallestRun = 2001 }, BelowSmallestRun, false, false, false},

		{"per run", func(_ *Ask, f *Facts) { f.Limits.PerRun = 1999 }, RunCap, true, false, false},
		{"run time", func(_ *Ask, f *Facts) { f.Limits.RunTime = 1999 }, RunTimeCap, true, false, false},
		{"day cap", func(_ *Ask, f *Facts) { f.TankHi = 7901 }, DayCap, true, false, false},
		{"quantity cap", func(_ *Ask, f *Facts) { f.Quantities[0].Used = 0.51 }, QuantityCap, true, false, false},

		{"no self-stop proof", func(_ *Ask, f *Facts) { f.Proven = false }, NoProof, true, true, false},

		{"ledger", func(_ *Ask, f *Facts) { f.LedgerGood = false }, LedgerFault, true, true, true},
		{"owner", func(_ *Ask, f *Facts) { f.OwnerSure = false }, SecondOwner, true, true, true},
		{"clock", func(_ *Ask, f *Facts) { f.ClockTrusted = false }, ClockUntrusted, true, true, true},
		{"link", func(_ *Ask, f *Facts) { f.LinkUp = false }, LinkDown, true, true, true},
		{"node", func(_ *Ask, f *Facts) { f.NodeUp = false }, NodeOffline, true, true, true},
		{"fault", func(_ *Ask, f *Facts) { f.Standing = []Block{{Code: Fault, Text: "stuck"}} }, Fault, true, true, true},
		{"hold", func(_ *Ask, f *Facts) { f.Standing = []Block{{Code: OnHold, Text: "feeding"}} }, OnHold, true, true, true},
		{"interlock", func(_ *Ask, f *Facts) { f.Standing = []Block{{Code: InterlockActive, Text: "pH"}} }, InterlockActive, true, true, true},
		{"out of service", func(_ *Ask, f *Facts) { f.Standing = []Block{{Code: OutOfService, Text: "leak"}} }, OutOfService, true, true, true},
		{"container empty", func(_ *Ask, f *Facts) { f.RemainingMin = f.EmptyAt }, ContainerEmpty, true, true, true},
		{"container short", func(_ *Ask, f *Facts) { f.RemainingMin, f.EmptyAt = 2099, 0 }, ContainerEmpty, true, true, true},
		{"busy", func(_ *Ask, f *Facts) { f.Open = true }, ChannelBusy, true, true, true},
		{"kept apart", func(_ *Ask, f *Facts) { f.Neighbours[0].LatestEnd = f.Now }, KeptApart, true, true, true},
		{"neighbour open", func(_ *Ask, f *Facts) { f.Neighbours[0].Open = true }, KeptApart, true, true, true},
		{"no volume", func(a *Ask, f *Facts) { a.Volume, f.Limits.SmallestRun = 0, 0 }, BadVolume, true, true, true},
		{"too long", func(a *Ask, _ *Facts) { a.Longest = RunMax + 1 }, BadVolume, true, true, true},
	}
	for _, tt := range tests {
		for _, kind := range []struct {
			name   string
			ask    Ask
			blocks bool
		}{
			{"scheduled", anAsk(), true},
			{"attended into the tank", attended(false), tt.tank},
			{"attended into a vessel", attended(true), tt.vessel},
			{"proof", proving(), tt.prove},
		} {
			t.Run(tt.name+", "+kind.name, func(t *testing.T) {
				a, f := kind.ask, goodFacts()
				tt.change(&a, &f)
				if kind.blocks {
					wantVerdict(t, a, f, tt.code)
				} else {
					wantVerdict(t, a, f)
				}
			})
		}
	}
}

// Into a vessel the channel's own attended limits take the place of the tank's.
func TestINV14VesselLimits(t *testing.T) {
	tests := []struct {
		name   string
		change func(*Ask, *Facts)
		want   []Code
	}{
		{"exactly met", func(*Ask, *Facts) {}, nil},
		{"per run, 1 µL less", func(_ *Ask, f *Facts) { f.Limits.AttendedPerRun = 1999 }, []Code{RunCap}},
		{"per run looks at what the node can move", func(a *Ask, f *Facts) { a.Worst, f.RemainingMin, f.VesselHi = 2001, 9000, 0 }, []Code{RunCap}},
		{"per day, 1 µL more", func(_ *Ask, f *Facts) { f.VesselHi = 7901 }, []Code{DayCap}},
		{"the tank's cap does not matter", func(_ *Ask, f *Facts) { f.TankHi, f.Limits.PerDay = 1<<40, 0 }, nil},
		{"nor do unknown quantities", func(_ *Ask, f *Facts) { f.Quantities[0].Used = math.NaN() }, nil},
		{"no limits declared: nothing", func(_ *Ask, f *Facts) { f.Limits = Limits{Rest: time.Minute} }, []Code{RunCap, DayCap}},
	}
	for _, tt := range tests {
		for name, a := range map[string]Ask{"vessel": attended(true), "proof": proving()} {
			t.Run(tt.name+", "+name, func(t *testing.T) {
				f := goodFacts()
				tt.change(&a, &f)
				wantVerdict(t, a, f, tt.want...)
			})
		}
	}
}

func TestINV14OnlyAnAttendedRunGoesIntoAVessel(t *testing.T) {
	a := anAsk()
	a.Vessel = true
	wantVerdict(t, a, goodFacts(), BadVolume)
}

func TestH02ProofRun(t *testing.T) {
	f := goodFacts()
	f.Proven, f.Calibrated, f.Primed = false, false, false
	wantVerdict(t, proving(), f)

	tank := attended(false)
	tank.Proving = true
	wantVerdict(t, tank, f, BadVolume)

	unwatched := proving()
	unwatched.Attended = false
	f = goodFacts()
	wantVerdict(t, unwatched, f, BadVolume)

	plain := attended(true)
	f.Proven = false
	wantVerdict(t, plain, f, NoProof)
}

// The rest is waived for attended runs; a run that was given up and may still start is not (INV-7).
func TestINV7AttendedRunsWaitForAGivenUpOne(t *testing.T) {
	for _, c := range []struct {
		name    string
		left    Elapsed // until the latest end of the run before
		allowed bool
	}{{"long before", 15 * minute, false}, {"just before its latest end", 1, false}, {"at its latest end", 0, true}, {"after it", -second, true}} {
		t.Run(c.name, func(t *testing.T) {
			a, f := anAsk(), goodFacts()
			a.Attended, f.LatestEnd, f.RunsApart = true, f.Now+c.left, true
			if v := Permit(a, f); !v.Allowed {
				t.Errorf("on a node that keeps runs apart Permit = %+v; want allowed", v)
			}
			f.RunsApart = false
			v := Permit(a, f)
			if v.Allowed != c.allowed || (!v.Allowed && (v.Code != ChannelBusy || v.Until != f.LatestEnd)) {
				t.Errorf("Permit = %+v; want allowed %v, else %s until %d", v, c.allowed, ChannelBusy, f.LatestEnd)
			}
		})
	}
}
