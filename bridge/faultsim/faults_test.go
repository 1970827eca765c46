package faultsim

import (
	"slices"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// witness sees every effect, with the true time.
type witness struct {
	Untouched
	w    *world
	sees func(at time.Duration, e machine.Effect)
}

func (o *witness) Effects(_ machine.Event, effects []machine.Effect) []machine.Effect {
	for _, e := range effects {
		o.sees(o.w.now, e)
	}
	return effects
}

// live lets a scenario happen and shows every effect.
func live(t *testing.T, s Scenario, sees func(at time.Duration, e machine.Effect)) *world {
	t.Helper()
	o := &witness{sees: sees}
	w, err := newWorld(s, Options{Tamper: o})
	if err != nil {
		t.Fatal(err)
	}
	o.w = w
	w.begin()
	for w.now < w.end && w.check.broken == nil {
		w.turn()
	}
	if w.check.broken != nil {
		t.Fatal(w.check.broken)
	}
	return w
}

func calmDays(seed uint64, days int, faults ...Fault) Scenario {
	return Scenario{Seed: seed, Days: days, Start: time.Date(2027, 1, 10, 12, 0, 0, 0, time.UTC), Zone: time.UTC, Awake: true, Faults: faults}
}

// silentSeeds is how many seeds are silenced.
var silentSeeds uint64 = 3

// Silence never helps: whatever acknowledgement is lost, no more is commanded in the same 24 h.
func TestINV9_H09_SilenceNeverRaisesWhatIsCommanded(t *testing.T) {
	const from = 30 * hour
	commanded := func(s Scenario) []safety.Microlitres {
		sum := make([]safety.Microlitres, len(coveOf(s).Channels))
		live(t, s, func(at time.Duration, e machine.Effect) {
			if run, ok := e.(machine.SendRun); ok && at >= from && at < from+24*hour {
				sum[slices.IndexFunc(coveOf(s).Channels, func(c machine.Channel) bool { return c.ID == run.Channel })] += run.Volume
			}
		})
		return sum
	}
	for seed := range silentSeeds {
		told := commanded(calmDays(seed, 3))
		for _, f := range []Fault{{At: from, For: 24 * hour, Kind: LoseReports, N: 100}, {At: from, For: 24 * hour, Kind: LoseReports, N: 30},
			{At: from, For: 24 * hour, Kind: Mute, Target: board}, {At: from, For: 24 * hour, Kind: DropsSaid, N: 2, Target: plug}} {
			silent := commanded(calmDays(seed, 3, f))
			for i := range told {
				if silent[i] > told[i] || told[0] == 0 {
					t.Errorf("seed %d, %s: channel %d was commanded %d µL, and %d µL when everything was told", seed, f, i, silent[i], told[i])
				}
			}
		}
	}
}

// A contact that does not open is noticed within 3 s of its time: the channel and its neighbours are locked out, the
// output is told to stop once a second, and nothing runs there until somebody has cleared it.
func TestH01_StuckContactIsNoticedAndLatched(t *testing.T) {
	const slot = 6*hour + 45*time.Minute // 18:45
	var sent, locked, last time.Duration
	var duration time.Duration
	stops, after := 0, 0
	live(t, calmDays(1, 1, Fault{At: slot - time.Minute, For: 10 * time.Minute, Kind: StuckOn, Target: plug}), func(at time.Duration, e machine.Effect) {
		switch e := e.(type) {
		case machine.SendRun:
			if e.Channel == "mg" && at >= slot && sent == 0 {
				sent, duration = at, e.Duration.Duration()
			} else if (e.Channel == "mg" || e.Channel == "alk") && locked > 0 && at < locked+2*hour {
				after++
			}
		case machine.Happened:
			if l, ok := e.Data.(machine.LockoutEvent); ok && l.Scope.Channel == "mg" && locked == 0 {
				locked = at
			}
		case machine.StopRuns:
			if e.Node == plug && locked > 0 && at <= locked+30*time.Second {
				stops, last = stops+1, at
			}
		}
	})
	if sent == 0 || locked == 0 || locked-sent-duration > 3*time.Second {
		t.Fatalf("the run of %s was sent at %s, its channel was locked out at %s; want within 3 s of its end", duration, sent, locked)
	}
	if stops < 26 || last-locked < 28*time.Second {
		t.Errorf("%d stops until %s after; want one a second for 30 s", stops, last-locked)
	}
	if after > 0 {
		t.Errorf("%d runs of the channel or its neighbour in the two hours after", after)
	}
}

// A command of somebody else is answered by stops within 2 s, and locks the output out.
func TestH37_AStrangersCommandIsStopped(t *testing.T) {
	const at = 8 * hour
	for _, f := range []Fault{{At: at, Kind: ForgedRun, Target: board, N: 2}, {At: at, Kind: ForgedRun, Target: plug, N: 1}, {At: at, Kind: Plant, Target: board, N: 1}} {
		var stopped, locked time.Duration
		live(t, calmDays(1, 1, f), func(now time.Duration, e machine.Effect) {
			switch e := e.(type) {
			case machine.StopRuns:
				if e.Node == f.Target && now >= at && stopped == 0 {
					stopped = now
				}
			case machine.Happened:
				if _, ok := e.Data.(machine.LockoutEvent); ok && now >= at && locked == 0 {
					locked = now
				}
			}
		})
		if stopped == 0 || stopped-at > 2*time.Second || locked == 0 {
			t.Errorf("%s: stopped at %s, locked out at %s; want within 2 s", f, stopped, locked)
		}
	}
}
