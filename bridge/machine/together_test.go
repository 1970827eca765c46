package machine_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// A switch that says wet and dry in one breath has said wet: its interlock latches.
func TestH32_NoReadingIsLostAmongOthers(t *testing.T) {
	r := newRig(t, lagoon(time.UTC), noon)
	r.boot()
	r.commission()
	r.step(machine.Readings{machine.ProbeRead{Probe: "leak", Value: 0}, machine.ProbeRead{Probe: "leak", Value: 1}, machine.ProbeRead{Probe: "leak", Value: 0}})
	v := machine.Snapshot(&r.state)
	if n := slices.IndexFunc(v.Interlocks, func(i machine.InterlockView) bool { return i.Name == "leak" }); !v.Interlocks[n].Active {
		t.Error("three readings that came together: the one in the middle closes an interlock for good, and it is open")
	}
	if got := lastBody[machine.Lockout](r.rows); got.Scope.Interlock != "leak" {
		t.Errorf("the last lockout in the ledger is %+v", got)
	}
}

// Readings that come together do what they do one by one at that moment, as long as no slot is due: one that is sees all of
// them, and not the first alone.
func TestReadingsTogetherAsOneByOne(t *testing.T) {
	site := weighed
	r := newRig(t, site, noon)
	r.boot()
	r.commission()
	r.advance(13 * time.Minute) // beyond the slot at one o'clock
	begin := r.state
	rapid.Check(t, func(t *rapid.T) {
		one, all := begin.Clone(), begin.Clone()
		now := r.instant()
		for range rapid.IntRange(1, 4).Draw(t, "batches") {
			now.Mono, now.Wall = now.Mono+time.Minute, now.Wall.Add(time.Minute)
			list := rapid.SliceOfN(aReading(site.Containers[0]), 1, 12).Draw(t, "readings")
			one, _ = machine.Step(one, now, machine.Woke{}) // what is due by the clock alone
			all, _ = machine.Step(all, now, machine.Woke{})
			var singly, together []machine.Effect
			for _, e := range list {
				var did []machine.Effect
				one, did = machine.Step(one, now, e)
				singly = append(singly, did...)
			}
			all, together = machine.Step(all, now, machine.Readings(list))
			if x, y := shown(t, &one), shown(t, &all); x != y {
				t.Fatalf("%v: one by one and together differ in …%s", list, differing(x, y))
			}
			if x, y := outward(singly), outward(together); !slices.Equal(x, y) {
				t.Fatalf("%v\none by one %q\ntogether   %q", list, x, y)
			}
		}
	})
}

func aReading(k machine.Container) *rapid.Generator[machine.Event] {
	return rapid.Custom(func(t *rapid.T) machine.Event {
		switch rapid.IntRange(0, 3).Draw(t, "who") {
		case 0:
			return machine.ProbeRead{Probe: "ph", Value: rapid.SampledFrom([]float64{8.1, 8.2, 8.4, 8.55, 8.7, 9, 12}).Draw(t, "pH"), Retained: rapid.Bool().Draw(t, "retained")}
		case 1:
			return machine.ProbeRead{Probe: "leak", Value: float64(rapid.IntRange(0, 1).Draw(t, "wet"))}
		case 2:
			return machine.ProbeRead{Probe: "nobody", Value: 1}
		}
		return machine.LevelRead{Container: k.ID, Volume: k.Capacity * safety.Microlitres(rapid.IntRange(0, 120).Draw(t, "percent")) / 100}
	})
}

// differing is where a first differs from b.
func differing(a, b string) string {
	n := 0
	for n < min(len(a), len(b)) && a[n] == b[n] {
		n++
	}
	from := max(0, n-80)
	return a[from:min(len(a), n+40)] + " and " + b[from:min(len(b), n+40)]
}

func shown(t *rapid.T, s *machine.State) string {
	v := machine.Snapshot(s)
	slices.SortFunc(v.Alerts, func(a, b machine.AlertView) int { return strings.Compare(a.Name, b.Name) })
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// outward is what the effects do but for what is counted and logged, rows in particular. In what order
// two readings of one moment are dealt with says nothing.
func outward(effects []machine.Effect) []string {
	var out []string
	for _, e := range effects {
		switch e := e.(type) {
		case machine.Count, machine.Log:
		case machine.Append:
			for _, row := range e.Rows {
				out = append(out, fmt.Sprintf("%s %+v", row.Body.Kind(), row.Body))
			}
		default:
			out = append(out, fmt.Sprintf("%T%+v", e, e))
		}
	}
	slices.Sort(out)
	return out
}
