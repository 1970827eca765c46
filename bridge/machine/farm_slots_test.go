package machine_test

import (
	"slices"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// On a farm all channels are due in the same second. Each gets its run, once, and no step makes a stop wait for all of them.
func TestINV11SlotsOfAFarmAreServedInParts(t *testing.T) {
	const systems = 200
	site := farm(systems)
	f := machine.NewFold(site)
	rows := slices.DeleteFunc(farmDay(site), func(r machine.Row) bool { // what a day of runs took would fill the caps
		k := r.Body.Kind()
		return k == machine.RunReserved{}.Kind() || k == machine.RunEnded{}.Kind()
	})
	for _, r := range rows {
		f.Add(r)
	}
	s, now := f.State(), safety.Instant{Wall: rows[len(rows)-1].At.Add(time.Minute), Synced: true}
	most, late := 0, time.Duration(0)
	runs := map[string]int{}
	step := func(e machine.Event) (owner *machine.WriteOwner) {
		var effects []machine.Effect
		s, effects = machine.Step(s, now, e)
		sent := 0
		for _, e := range effects {
			switch e := e.(type) {
			case machine.SendRun:
				runs[e.Channel]++
				sent++
				late = max(late, now.Wall.Sub(now.Wall.Truncate(15*time.Minute)))
			case machine.WriteOwner:
				owner = &e
			}
		}
		most = max(most, sent)
		return owner
	}
	step(machine.Booted{Instance: "one"})
	step(machine.LinkChanged{Up: true})
	for _, n := range site.Nodes {
		step(machine.NodeOnline{Node: n.ID, Up: true})
	}
	for end := now.Wall.Add(20 * time.Minute); now.Wall.Before(end); {
		wait := max(0, machine.NextWake(&s)-now.Mono)
		now.Mono, now.Wall = now.Mono+wait, now.Wall.Add(wait)
		if o := step(machine.Woke{}); o != nil {
			step(machine.OwnerSeen{Instance: o.Instance, Epoch: o.Epoch, At: o.At})
		}
	}
	if len(runs) < systems {
		t.Fatalf("%d channels had runs; too few to tell anything", len(runs))
	}
	for channel, n := range runs {
		if n > 2 { // slots are a quarter of an hour apart
			t.Errorf("channel %s had %d runs in 20 minutes", channel, n)
		}
	}
	if late > time.Second {
		t.Errorf("a run was sent %v after its slot", late)
	}
	if most > 100 {
		t.Errorf("a step sent %d runs of %d channels; must be at most 100", most, len(runs))
	}
}
