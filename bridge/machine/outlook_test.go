package machine_test

import (
	"math"
	"reflect"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

func ahead(t *testing.T, h *history, at time.Time) machine.Outlook {
	t.Helper()
	s := h.fold(previews)
	before := machine.Contents(&s)
	o := machine.Ahead(&s, at)
	if again := machine.Ahead(&s, at); text(t, again) != text(t, o) {
		t.Errorf("the same look again reads differently")
	}
	if !reflect.DeepEqual(machine.Contents(&s), before) {
		t.Errorf("looking ahead changed what containers hold")
	}
	return o
}

func containerOf(t *testing.T, o machine.Outlook, id string) machine.ContainerAhead {
	t.Helper()
	for _, k := range o.Containers {
		if k.ID == id {
			return k
		}
	}
	t.Fatalf("no container %s in %+v", id, o.Containers)
	return machine.ContainerAhead{}
}

func TestAheadOfContainers(t *testing.T) {
	o := ahead(t, ready(previews), midnight)
	k := containerOf(t, o, "trace-bottle")
	// 500 mL, of which 20 mL stay inside, at 1.5 mL a day.
	if k.DaysLeft == nil || math.Abs(*k.DaysLeft-320) > 1e-6 || !k.Empty.Equal(midnight.Add(320*24*time.Hour)) || !k.EmptyLatest.Equal(*k.Empty) {
		t.Errorf("trace-bottle: %s; want 320 days", text(t, k))
	}
	// 12 mL at once, and 12 mL in each 24 h: the last of 40 such portions may leave after 39 days.
	if !k.EmptyAtCaps.Equal(midnight.Add(39 * 24 * time.Hour)) {
		t.Errorf("trace-bottle by its cap: %s; want 39 days", k.EmptyAtCaps)
	}
	k = containerOf(t, o, "carbonate-jug")
	if !(k.HighPerDayML >= k.PlanPerDayML && k.PlanPerDayML > 0 && k.HighPerDayML <= k.CapPerDayML) || k.EmptyEarliest.After(*k.Empty) || k.EmptyAtCaps.After(*k.EmptyEarliest) {
		t.Errorf("carbonate-jug: %s; want cap before high before plan", text(t, k))
	}
	if len(k.Cautions) != 1 {
		t.Errorf("carbonate-jug has the cautions %q; want that of carbonate", k.Cautions)
	}
	if k := containerOf(t, ahead(t, &history{}, midnight), "carbonate-jug"); k.Known || k.Empty != nil || k.EmptyAtCaps != nil {
		t.Errorf("of a container that nobody spoke of: %s", text(t, k))
	}
}

func TestAheadOfWhatGrowsOld(t *testing.T) {
	start := midnight.Add(-30 * time.Hour)
	o := ahead(t, ready(previews), midnight)
	for _, c := range o.Channels {
		if c.CalibrationOld == nil || c.CalibrationOld.After(start.Add(60*24*time.Hour)) {
			t.Errorf("%s: the calibration is old at %v; want 60 days after it or sooner", c.ID, c.CalibrationOld)
		}
		if c.ID == "trace" && !c.CalibrationOld.Equal(start.Add(60*24*time.Hour)) {
			t.Errorf("trace: %s; want exactly 60 days", c.CalibrationOld)
		}
	}
	tested := start.Add(time.Hour)
	for _, q := range o.Quantities {
		switch q.Quantity {
		case "alkalinity":
			if !q.Due.Equal(tested.Add(4*24*time.Hour)) || !q.Stale.Equal(tested.Add(10*24*time.Hour)) || !q.Ancient.Equal(tested.Add(20*24*time.Hour)) || len(q.Followed) != 1 {
				t.Errorf("alkalinity: %s", text(t, q))
			}
		case "magnesium":
			if q.LastTest != nil || q.Stale != nil {
				t.Errorf("magnesium was never tested: %s", text(t, q))
			}
		}
	}
	if len(o.Proofs) != 1 || o.Proofs[0].Expires != nil {
		t.Errorf("proofs %+v; want that of plug missing", o.Proofs)
	}
	proven := ready(previews).at(midnight, machine.Proof{Node: "plug", Fingerprint: "plug-1"})
	if o := ahead(t, proven, midnight); !o.Proofs[0].Expires.Equal(midnight.Add(safety.ProofAge)) {
		t.Errorf("the proof expires at %s", o.Proofs[0].Expires)
	}
	other := ready(previews).at(midnight, machine.Proof{Node: "plug", Fingerprint: "another"})
	if o := ahead(t, other, midnight); o.Proofs[0].Expires != nil {
		t.Errorf("the proof of another configuration counts")
	}
}

func TestAheadOfTubing(t *testing.T) {
	site := lagoon(time.UTC)
	for i := range site.Channels {
		site.Channels[i].Line.TubingLife = 10 * time.Hour
	}
	s := ready(site).fold(site)
	for _, c := range machine.Ahead(&s, midnight).Channels {
		if c.ID != "trace" {
			continue
		}
		// The pump gives some 10 mL a minute: 10 h are some 6 L, more than ten years of 1.5 mL a day.
		if c.TubingWorn != nil {
			t.Errorf("trace: worn at %s; want nothing within ten years", c.TubingWorn)
		}
	}
	site.Channels[3].Line.TubingLife = 15 * time.Minute
	s = ready(site).fold(site)
	for _, c := range machine.Ahead(&s, midnight).Channels {
		if c.ID == "trace" && (c.TubingWorn == nil || !c.TubingWorn.After(midnight) || c.TubingWorn.After(midnight.Add(100*24*time.Hour))) {
			t.Errorf("trace: worn at %v; want within 100 days", c.TubingWorn)
		}
	}
}
