package safety

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"
)

// anAsk is a scheduled run of 2 mL at 1 mL/s on a node that ends it by itself: hi is 2100 µL.
func anAsk() Ask {
	return Ask{Duration: 2000, Longest: 2000, Commanded: twoMillilitres()}
}

// goodFacts let anAsk start: nothing is wrong and every limit is met exactly.
func goodFacts() Facts {
	return Facts{
		Now: 100 * hour, LinkUp: true, LedgerGood: true, ClockTrusted: true, OwnerSure: true, NodeUp: true, NodeName: "pumps",
		Calibrated: true, Primed: true, NeedsProof: true, Proven: true,
		Limits: Limits{
			SmallestRun: 2000, PerRun: 2000, PerDay: 10_000, RunTime: 2000, Rest: 5 * time.Minute,
			AttendedPerRun: 2000, AttendedPerDay: 10_000,
		},
		TankHi: 7900, VesselHi: 7900,
		LatestEnd:    100*hour - 5*minute,
		Neighbours:   []Neighbour{{Channel: "ca", LatestEnd: 100*hour - 15*minute, Gap: 15 * time.Minute}},
		Quantities:   []QuantityUse{{Name: "alkalinity", Unit: "dKH", Used: 0.5, PerMillilitre: 0.25, Cap: 1.025}},
		RemainingMin: 2100, EmptyAt: 2099,
	}
}

func codes(blocks []Block) []Code {
	out := []Code{}
	for _, b := range blocks {
		out = append(out, b.Code)
	}
	return out
}

// wantVerdict checks the list of blocks and that the verdict is its head.
func wantVerdict(t *testing.T, a Ask, f Facts, want ...Code) {
	t.Helper()
	blocks := Blocks(a, f)
	if got := codes(blocks); !slices.Equal(got, append([]Code{}, want...)) {
		t.Fatalf("Blocks = %v; want %v", got, want)
	}
	for _, b := range blocks {
		if b.Text == "" && b.Code != SecondOwner && b.Code != ClockUntrusted { // those two texts are the caller's
			t.Errorf("%s has no text", b.Code)
		}
	}
	v := Permit(a, f)
	if len(want) == 0 {
		if hi, _ := Account(a.Commanded, Unknown, nil); !v.Allowed || v.Hi != hi || v.Block != (Block{}) {
			t.Fatalf("Permit = %+v; want allowed with hi %d", v, hi)
		}
	} else if v.Allowed || v.Hi != 0 || v.Block != blocks[0] {
		t.Fatalf("Permit = %+v; want refused with the first of %v", v, blocks)
	}
}

func TestINV7ZeroFactsPermitNothing(t *testing.T) {
	for name, a := range map[string]Ask{
		"no ask": {}, "scheduled": anAsk(), "attended": attended(false), "into a vessel": attended(true), "proving": proving(),
	} {
		if v := Permit(a, Facts{}); v.Allowed || v.Hi != 0 {
			t.Errorf("%s: Permit(zero facts) = %+v; want refused", name, v)
		}
	}
	if v := Permit(Ask{}, goodFacts()); v.Allowed || v.Code != BadVolume {
		t.Errorf("Permit(zero ask) = %+v; want %s", v, BadVolume)
	}
}

func TestINV7EveryLimitExactlyMetIsAllowed(t *testing.T) { wantVerdict(t, anAsk(), goodFacts()) }

// Each condition of the gate blocks alone, with its own code, 1 µL, 1 ms or 1 step beyond its limit.
func TestINV7INV8EachLimitAlone(t *testing.T) {
	tests := []struct {
		name   string
		change func(*Ask, *Facts)
		want   []Code
	}{
		{"no volume", func(a *Ask, f *Facts) { a.Volume, f.Limits.SmallestRun = 0, 0 }, []Code{BadVolume}},
		{"negative volume", func(a *Ask, f *Facts) { a.Volume, f.Limits.SmallestRun = -1, -1 }, []Code{BadVolume}},
		{"1 µL", func(a *Ask, f *Facts) { a.Volume, a.Worst, f.Limits.SmallestRun = 1, 1, 1 }, nil},
		{"worst below the volume", func(a *Ask, _ *Facts) { a.Worst = 1999 }, []Code{BadVolume}},
		{"no duration", func(a *Ask, _ *Facts) { a.Duration = 0 }, []Code{BadVolume}},
		{"1 ms", func(a *Ask, _ *Facts) { a.Duration = 1 }, nil},
		{"longest below the duration", func(a *Ask, _ *Facts) { a.Longest = 1999 }, []Code{BadVolume}},
		{"longest RunMax", func(a *Ask, _ *Facts) { a.Longest = RunMax }, nil},
		{"longest above RunMax", func(a *Ask, _ *Facts) { a.Longest = RunMax + 1 }, []Code{BadVolume}},
		{"tolerance 9", func(a *Ask, _ *Facts) { a.Tolerance = 9 }, []Code{BadVolume}},
		{"tolerance 10", func(a *Ask, _ *Facts) { a.Tolerance = 10 }, nil},
		{"tolerance 250", func(a *Ask, f *Facts) { a.Tolerance, f.TankHi, f.RemainingMin, f.Quantities = 250, 7500, 2500, nil }, nil},
		{"tolerance 251", func(a *Ask, f *Facts) { a.Tolerance, f.TankHi, f.RemainingMin, f.Quantities = 251, 0, 9000, nil }, []Code{BadVolume}},

		{"ledger", func(_ *Ask, f *Facts) { f.LedgerGood = false }, []Code{LedgerFault}},
		{"owner", func(_ *Ask, f *Facts) { f.OwnerSure = false }, []Code{SecondOwner}},
		{"clock", func(_ *Ask, f *Facts) { f.ClockTrusted = false }, []Code{ClockUntrusted}},
		{"link", func(_ *Ask, f *Facts) { f.LinkUp = false }, []Code{LinkDown}},
		{"node", func(_ *Ask, f *Facts) { f.NodeUp = false }, []Code{NodeOffline}},
		{"lockout", func(_ *Ask, f *Facts) { f.Standing = []Block{{Code: Fault, Text: "stuck"}} }, []Code{Fault}},

		{"not calibrated", func(_ *Ask, f *Facts) { f.Calibrated = false }, []Code{NotCalibrated}},
		{"not primed", func(_ *Ask, f *Facts) { f.Primed = false }, []Code{NotPrimed}},
		{"not proven", func(_ *Ask, f *Facts) { f.Proven = false }, []Code{NoProof}},
		{"no proof needed", func(_ *Ask, f *Facts) { f.NeedsProof, f.Proven = false, false }, nil},

		{"container at its stop", func(_ *Ask, f *Facts) { f.RemainingMin, f.EmptyAt = 9000, 9000 }, []Code{ContainerEmpty}},
		{"container 1 µL above its stop", func(_ *Ask, f *Facts) { f.RemainingMin, f.EmptyAt = 9001, 9000 }, nil},
		{"container 1 µL short of the run", func(_ *Ask, f *Facts) { f.RemainingMin, f.EmptyAt = 2099, 0 }, []Code{ContainerEmpty}},
		{"container less than nothing", func(_ *Ask, f *Facts) { f.RemainingMin, f.EmptyAt = -1, 0 }, []Code{ContainerEmpty}},

		{"per run", func(_ *Ask, f *Facts) { f.Limits.PerRun = 1999 }, []Code{RunCap}},
		{"per run looks at the commanded volume", func(a *Ask, f *Facts) { a.Worst, f.TankHi, f.RemainingMin, f.Quantities = 4000, 0, 9000, nil }, nil},
		{"run time", func(_ *Ask, f *Facts) { f.Limits.RunTime = 1999 }, []Code{RunTimeCap}},
		{"smallest run", func(_ *Ask, f *Facts) { f.Limits.SmallestRun = 2001 }, []Code{BelowSmallestRun}},
		{"day cap", func(_ *Ask, f *Facts) { f.TankHi = 7901 }, []Code{DayCap}},
		{"day cap counts the worst case", func(a *Ask, f *Facts) { a.Worst, f.RemainingMin, f.Quantities = 2001, 9000, nil }, []Code{DayCap}},
		{"vessels do not count to the tank's cap", func(_ *Ask, f *Facts) { f.VesselHi = 1 << 40 }, nil},

		{"quantity just below", func(_ *Ask, f *Facts) { f.Quantities[0].Used = 0.4999 }, nil},
		{"quantity just above", func(_ *Ask, f *Facts) { f.Quantities[0].Used = 0.5001 }, []Code{QuantityCap}},
		{"quantity not moved by this channel", func(_ *Ask, f *Facts) { f.Quantities[0].Used, f.Quantities[0].PerMillilitre = 99, 0 }, nil},
		{"quantity use unknown", func(_ *Ask, f *Facts) { f.Quantities[0].Used = math.NaN() }, []Code{QuantityCap}},
		{"quantity strength unknown", func(_ *Ask, f *Facts) { f.Quantities[0].PerMillilitre = math.NaN() }, []Code{QuantityCap}},
		{"quantity cap unknown", func(_ *Ask, f *Facts) { f.Quantities[0].Cap = math.NaN() }, []Code{QuantityCap}},
		{"quantity use infinite", func(_ *Ask, f *Facts) { f.Quantities[0].Used = math.Inf(1) }, []Code{QuantityCap}},
		{"quantity without a cap set", func(_ *Ask, f *Facts) { f.Quantities[0].Cap = 0 }, []Code{QuantityCap}},
		{"second of two quantities", func(_ *Ask, f *Facts) {
			f.Quantities = append(f.Quantities, QuantityUse{Name: "calcium", Used: 9, PerMillilitre: 1, Cap: 10})
		}, []Code{QuantityCap}},

		{"open run", func(_ *Ask, f *Facts) { f.Open = true }, []Code{ChannelBusy}},
		{"rest", func(_ *Ask, f *Facts) { f.LatestEnd++ }, []Code{RestTime}},
		{"neighbour open", func(_ *Ask, f *Facts) { f.Neighbours[0].Open = true }, []Code{KeptApart}},
		{"neighbour open for very long", func(_ *Ask, f *Facts) { f.Neighbours[0].Open, f.Neighbours[0].LatestEnd = true, 0 }, []Code{KeptApart}},
		{"neighbour too near", func(_ *Ask, f *Facts) { f.Neighbours[0].LatestEnd++ }, []Code{KeptApart}},
		{"neighbour never ran", func(_ *Ask, f *Facts) { f.Neighbours[0].LatestEnd, _ = Book{}.LatestEnd() }, nil},
		{"second neighbour", func(_ *Ask, f *Facts) {
			f.Neighbours = append(f.Neighbours, Neighbour{Channel: "mg", LatestEnd: f.Now, Gap: time.Millisecond})
		}, []Code{KeptApart}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			a, f := anAsk(), goodFacts()
			tt.change(&a, &f)
			wantVerdict(t, a, f, tt.want...)
		})
	}
}

// Amounts at the ends of what 64 bits hold must not wrap round to a permitted one.
func TestH35AbsurdAsksAreRefused(t *testing.T) {
	roomy := goodFacts()
	roomy.TankHi, roomy.Quantities = 0, nil
	for _, worst := range []Microlitres{1e12 + 1, 1e16, math.MaxInt64 / 1050, math.MaxInt64/1050 + 1, math.MaxInt64 - 1, math.MaxInt64} {
		a := anAsk()
		a.Worst = worst
		if v := Permit(a, roomy); v.Allowed || v.Code != BadVolume {
			t.Errorf("worst case %d µL: %+v; want %s", worst, v, BadVolume)
		}
	}
	a := anAsk()
	a.Worst = 1e12
	wantVerdict(t, a, roomy, ContainerEmpty, DayCap)
}

// The gravest reason comes first, and none hides another.
func TestBlocksAreOrdered(t *testing.T) {
	f := Facts{Standing: []Block{{Code: OnHold, Text: "feeding"}, {Code: InterlockActive, Text: "pH"}}, NeedsProof: true, Open: true}
	f.Neighbours = []Neighbour{{Open: true}}
	f.Quantities = []QuantityUse{{PerMillilitre: 1}}
	f.Limits.SmallestRun, f.Limits.Rest = 3000, time.Minute
	wantVerdict(t, anAsk(), f, LedgerFault, LinkDown, SecondOwner, ClockUntrusted, NodeOffline, OnHold, InterlockActive,
		NotCalibrated, NotPrimed, NoProof, ContainerEmpty, RunCap, RunTimeCap, BelowSmallestRun, DayCap, QuantityCap,
		ChannelBusy, RestTime, KeptApart)
	bad := anAsk()
	bad.Volume = 0
	if v := Permit(bad, f); v.Code != BadVolume {
		t.Errorf("first block %s; want %s", v.Code, BadVolume)
	}
}

func TestBlocksThatEndByThemselvesSayWhen(t *testing.T) {
	tests := []struct {
		name   string
		change func(*Facts)
		code   Code
		until  Elapsed
		text   string
	}{
		{"rest", func(f *Facts) { f.LatestEnd = f.Now - 2*minute }, RestTime, 100*hour + 3*minute, "rests for another 3m0s"},
		{"rest, a moment left", func(f *Facts) { f.LatestEnd++ }, RestTime, 100*hour + 1, "rests for another 1s"},
		{"rest after an unknown run", func(f *Facts) { f.LatestEnd = f.Now + 10*minute }, RestTime, 100*hour + 15*minute, "rests for another 15m0s"},
		{"neighbour has run", func(f *Facts) { f.Neighbours[0].LatestEnd = f.Now - 5*minute }, KeptApart, 100*hour + 10*minute, "channel ca for another 10m0s: that one may have run until 5m0s ago"},
		{"neighbour may still run", func(f *Facts) { f.Neighbours[0].LatestEnd = f.Now + 3*second }, KeptApart, 100*hour + 15*minute + 3*second, "channel ca for another 15m3s: that one may be running until 3s from now"},
		{"neighbour open: its outcome has to come", func(f *Facts) { f.Neighbours[0].Open = true }, KeptApart, 0, "whose run has no outcome yet"},
		{"own run open: its outcome has to come", func(f *Facts) { f.Open = true }, ChannelBusy, 0, "no outcome yet"},
		{"node offline: it has to come back", func(f *Facts) { f.NodeUp = false }, NodeOffline, 0, "node pumps"},
		{"a hold keeps its end", func(f *Facts) { f.Standing = []Block{{Code: OnHold, Text: "feeding", Until: 101 * hour}} }, OnHold, 101 * hour, "feeding"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := goodFacts()
			tt.change(&f)
			v := Permit(anAsk(), f)
			if v.Allowed || v.Code != tt.code || v.Until != tt.until || !strings.Contains(v.Text, tt.text) {
				t.Errorf("Permit = %+v; want %s until %d, text with %q", v, tt.code, tt.until, tt.text)
			}
			if strings.Contains(v.Text, "-") {
				t.Errorf("text %q has a negative figure", v.Text)
			}
		})
	}
}

// Just before Until the block stands, at Until it is gone.
func TestUntilIsExact(t *testing.T) {
	f := goodFacts()
	f.LatestEnd, f.Neighbours[0].LatestEnd = f.Now+lateMax, f.Now+lateMax
	for _, b := range Blocks(anAsk(), f) {
		for _, at := range []Elapsed{b.Until - 1, b.Until} {
			later := f
			later.Now = at
			if stands := slices.Contains(codes(Blocks(anAsk(), later)), b.Code); stands != (at < b.Until) {
				t.Errorf("%s until %d stands at %d: %v", b.Code, b.Until, at, stands)
			}
		}
	}
}
