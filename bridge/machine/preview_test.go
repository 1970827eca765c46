package machine_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/metering"
	"aliquot/planner/units"
	"aliquot/safety"

	"pgregory.net/rapid"
)

// history is a list of lines as an import gives them: the true axis is their own wall time.
type history struct{ rows []machine.Row }

func (h *history) at(at time.Time, bodies ...machine.Body) *history {
	for _, b := range bodies {
		n := int64(len(h.rows) + 1)
		h.rows = append(h.rows, machine.Row{Seq: n, ID: fmt.Sprintf("line-%d", n), At: at, Elapsed: safety.Elapsed(at.UnixMilli()), Trusted: true, Body: b})
	}
	return h
}

func (h *history) fold(site *machine.Site) machine.State {
	f := blankOf(site).Fold()
	for _, r := range h.rows {
		f.Add(r)
	}
	return f.State()
}

var (
	midnight = time.Date(2027, 3, 2, 0, 0, 0, 0, time.UTC)
	previews = lagoon(time.UTC)
)

// ready is a site whose channels all run.
func ready(site *machine.Site) *history {
	h := &history{}
	start := midnight.Add(-30 * time.Hour)
	for _, c := range site.Channels {
		h.at(start, machine.Refill{Container: c.Container, Remaining: ref(ml(500))}, machine.Primed{Channel: c.ID},
			machine.Calibration{Channel: c.ID, Trials: []metering.Trial{{Seconds: 60, MeasuredML: 9.8}, {Seconds: 60, MeasuredML: 9.9}, {Seconds: 60, MeasuredML: 9.8}}})
	}
	return h.at(start.Add(time.Hour), tested(units.Alkalinity, 8.2, start.Add(time.Hour)), tested(units.Calcium, 425, start.Add(time.Hour)))
}

func tested(q units.Quantity, level float64, at time.Time) machine.Test {
	return machine.Test{System: "reef", Quantity: q, Level: level, Value: level, Unit: q.Unit(), Taken: at}
}

func preview(t testing.TB, h *history, at time.Time) machine.PlanView {
	t.Helper()
	s := h.fold(previews)
	return machine.Preview(&s, at)
}

func text(t tb, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatalf("%v", err)
	}
	return string(b)
}

func runsOf(v machine.PlanView, channel string) (out []machine.IntendedRun) {
	for _, r := range v.Runs {
		if r.Channel == channel {
			out = append(out, r)
		}
	}
	return out
}

func codes(v machine.PlanView, channel string) (out []string) {
	for _, w := range v.Withheld {
		if w.Channel == channel {
			out = append(out, string(w.Code))
		}
	}
	return out
}

func TestPreviewOfAReadySite(t *testing.T) {
	v := preview(t, ready(previews), midnight)
	if len(v.Withheld) != 0 {
		t.Errorf("withheld %+v; want nothing", v.Withheld)
	}
	for channel, want := range map[string]int{"alk": 24, "ca": 24, "mg": 2, "trace": 0} {
		if got := runsOf(v, channel); len(got) != want {
			t.Errorf("%s has %d runs; want %d", channel, len(got), want)
		}
	}
	if !slices.ContainsFunc(v.Notes, func(n string) bool { return strings.Contains(n, "assumed good") }) {
		t.Errorf("notes %q do not say what is assumed", v.Notes)
	}
}

// Both ends are included as written: the slot exactly at `at` is in, the one 24 h later is out.
func TestPreviewSlotExactlyAtTheMoment(t *testing.T) {
	h := ready(previews)
	for _, c := range []struct {
		name        string
		at          time.Time
		first, last time.Time
	}{
		{"just before a slot", midnight.Add(-time.Millisecond), midnight, midnight.Add(23 * time.Hour)},
		{"at a slot", midnight, midnight, midnight.Add(23 * time.Hour)},
		{"just behind a slot", midnight.Add(time.Millisecond), midnight.Add(time.Hour), midnight.Add(24 * time.Hour)},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := runsOf(preview(t, h, c.at), "alk")
			if len(got) != 24 || !got[0].At.Equal(c.first) || !got[23].At.Equal(c.last) {
				t.Errorf("%d runs from %v; want 24 from %v to %v", len(got), got[0].At, c.first, c.last)
			}
		})
	}
	served := ready(previews).at(midnight, machine.RunPast{Channel: "alk", Happened: midnight, Purpose: machine.Dose, Into: machine.IntoTank, Volume: ml(1), Outcome: machine.Finished})
	if got := runsOf(preview(t, served, midnight), "alk"); !got[0].At.Equal(midnight.Add(time.Hour)) {
		t.Errorf("a slot that was served already is planned again: %v", got[0].At)
	}
}

func TestPreviewWithheld(t *testing.T) {
	without := func(kind string, channel string) *history {
		h := &history{}
		for _, r := range ready(previews).rows {
			skip := r.Body.Kind() == kind
			switch b := r.Body.(type) {
			case machine.Primed:
				skip = skip && b.Channel == channel
			case machine.Calibration:
				skip = skip && b.Channel == channel
			case machine.Refill:
				skip = skip && b.Container == "carbonate-jug"
			case machine.Test:
				skip = skip && b.Quantity == units.Alkalinity
			}
			if !skip {
				h.at(r.At, r.Body)
			}
		}
		return h
	}
	alk := machine.Scope{Channel: "alk"}
	before := midnight.Add(-time.Hour)
	for _, c := range []struct {
		name string
		h    *history
		want safety.Code
	}{
		{"no test", without("test", ""), safety.NoTest},
		{"not primed", without("primed", "alk"), safety.NotPrimed},
		{"not calibrated", without("calibration", "alk"), safety.NotCalibrated},
		{"never refilled", without("refill", ""), safety.ContainerEmpty},
		{"at its stop", ready(previews).at(before, machine.Refill{Container: "carbonate-jug", Remaining: ref(ml(200))}), safety.ContainerEmpty},
		{"swapped", ready(previews).at(before, machine.Swap{Container: "carbonate-jug", Supplement: "carbonate", Remaining: ml(500)}), safety.NotPrimed},
		{"new tubing", ready(previews).at(before, machine.Tube{Channel: "alk"}), safety.NotCalibrated},
		{"a hold over the horizon", ready(previews).at(before, machine.Hold{Scope: alk, Reason: "x", Until: before.Add(25 * time.Hour), Length: 25 * 3_600_000}), safety.OnHold},
		{"a lockout", ready(previews).at(before, machine.Lockout{Scope: alk, Code: safety.Fault, Text: "stuck"}), safety.Fault},
		{"out of service", ready(previews).at(before, machine.OutOfService{Scope: machine.Scope{System: "reef"}, Reason: "moving"}), safety.OutOfService},
		{"a latched interlock", ready(previews).at(before, machine.Lockout{Scope: machine.Scope{Interlock: "leak"}, Code: safety.InterlockActive, Text: "wet"}), safety.InterlockActive},
	} {
		t.Run(c.name, func(t *testing.T) {
			v := preview(t, c.h, midnight)
			if runs := runsOf(v, "alk"); len(runs) != 0 {
				t.Errorf("%d runs are planned, the first %+v; want none", len(runs), runs[0])
			}
			if got := codes(v, "alk"); !slices.Contains(got, string(c.want)) {
				t.Errorf("withheld %v; want %s", got, c.want)
			}
			if len(runsOf(v, "mg")) == 0 && c.want != safety.OutOfService && c.want != safety.InterlockActive {
				t.Errorf("mg is withheld too: %v", codes(v, "mg"))
			}
		})
	}
}

func TestH42PreviewOfHoldsThatEnd(t *testing.T) {
	before := midnight.Add(-time.Hour)
	hold := func(length time.Duration) *history {
		return ready(previews).at(before, machine.Hold{Scope: machine.Scope{Channel: "alk"}, Reason: "x", Until: before.Add(length), Length: safety.MillisecondsUp(length)})
	}
	for _, c := range []struct {
		name   string
		h      *history
		runs   int
		marked bool
	}{
		{"over before", hold(30 * time.Minute), 24, false},
		{"ends at a slot", hold(6 * time.Hour), 24 - 5, true},
		{"ends just behind a slot", hold(6*time.Hour + time.Millisecond), 24 - 6, true},
		{"ends with the horizon", hold(25 * time.Hour), 0, true},
		{"released", hold(20*time.Hour).at(before.Add(time.Minute), machine.Release{Scope: machine.Scope{Channel: "alk"}}), 24, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			v := preview(t, c.h, midnight)
			if got := runsOf(v, "alk"); len(got) != c.runs {
				t.Errorf("%d runs; want %d", len(got), c.runs)
			}
			if got := codes(v, "alk"); slices.Contains(got, string(safety.OnHold)) != c.marked {
				t.Errorf("withheld %v; a hold is said %v, want %v", got, !c.marked, c.marked)
			}
		})
	}
}

func TestH31PreviewJudgesInterlocksByFreshReadingsOnly(t *testing.T) {
	mean := func(age time.Duration, v float64) *history {
		at := midnight.Add(-age)
		return ready(previews).at(at, machine.ProbeMean{Probe: "ph", From: at.Add(-time.Minute), Until: at, Mean: v, Count: 2})
	}
	for _, c := range []struct {
		name    string
		h       *history
		blocked bool
		judged  bool
	}{
		{"no reading", ready(previews), false, false},
		{"low and fresh", mean(time.Minute, 8.3), false, true},
		{"high and fresh", mean(time.Minute, 8.6), true, true},
		{"high, as old as it may be", mean(10*time.Minute, 8.6), true, true},
		{"high and stale", mean(10*time.Minute+time.Second, 8.6), false, false},
		{"impossible", mean(time.Minute, 12), false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			v := preview(t, c.h, midnight)
			if blocked := len(runsOf(v, "alk")) == 0; blocked != c.blocked {
				t.Errorf("alk blocked %v; want %v: %v", blocked, c.blocked, codes(v, "alk"))
			}
			note := slices.ContainsFunc(v.Notes, func(n string) bool { return strings.Contains(n, "interlock ph-high is not judged") })
			if note == c.judged {
				t.Errorf("notes %q; judged %v", v.Notes, c.judged)
			}
			if len(runsOf(v, "ca")) == 0 {
				t.Errorf("ca is not behind that interlock: %v", codes(v, "ca"))
			}
		})
	}
}

// Runs of a plan keep what the gate keeps: caps over any 24 h, with what the history already gave, and gaps.
func TestINV1_H25_PreviewKeepsCapsAndGaps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := ready(previews)
		at := midnight.Add(-25 * time.Hour)
		given := map[string][]machine.IntendedRun{}
		for range rapid.IntRange(0, 60).Draw(t, "runs") {
			at = at.Add(time.Duration(rapid.IntRange(1, 40).Draw(t, "gap")) * time.Minute)
			if !at.Before(midnight) {
				break
			}
			b := machine.RunPast{Channel: rapid.SampledFrom(channelIDs).Draw(t, "channel"), Happened: at, Purpose: machine.Dose, Into: machine.IntoTank,
				Volume:  safety.Microlitres(rapid.IntRange(300, 6000).Draw(t, "volume")),
				Outcome: rapid.SampledFrom([]machine.Outcome{machine.Finished, machine.Unknown}).Draw(t, "outcome")}
			h.at(at, b)
			given[b.Channel] = append(given[b.Channel], machine.IntendedRun{At: at, VolumeML: b.Volume.Millilitres()})
		}
		s := h.fold(previews)
		folded := machine.Durable(&s)
		v := machine.Preview(&s, midnight)
		if machine.Durable(&s) != folded {
			t.Fatalf("the preview changed the state:\n%s", firstDifference(folded, machine.Durable(&s)))
		}
		again := h.fold(previews)
		if a, b, c := text(t, v), text(t, machine.Preview(&s, midnight)), text(t, machine.Preview(&again, midnight)); a != b || a != c {
			t.Fatalf("three previews of one history differ:\n%s\n%s\n%s", a, b, c)
		}
		for _, c := range previews.Channels {
			checkDay(t, c, append(given[c.ID], runsOf(v, c.ID)...))
		}
		checkGaps(t, runsOf(v, "alk"), runsOf(v, "ca"), 10*time.Minute)
		for _, r := range v.Runs {
			if r.At.Before(midnight) || !r.At.Before(midnight.Add(24*time.Hour)) {
				t.Fatalf("%s at %v lies outside the horizon", r.Channel, r.At)
			}
		}
	})
}

// checkDay sums what runs can give at most in any window that ends with one of the plan.
func checkDay(t *rapid.T, c machine.Channel, runs []machine.IntendedRun) {
	for _, last := range runs {
		if last.At.Before(midnight) {
			continue // history is as it is
		}
		sum := 0.0
		for _, r := range runs {
			if age := last.At.Sub(r.At); age >= 0 && age < 24*time.Hour {
				sum += r.VolumeML
			}
		}
		if most := c.Limits.PerDay.Millilitres() / 1.05; sum > most+1e-6 {
			t.Fatalf("%s: %.3f mL in the 24 h to %v; per_day less the tolerance is %.3f mL", c.ID, sum, last.At, most)
		}
	}
}

func checkGaps(t *rapid.T, a, b []machine.IntendedRun, gap time.Duration) {
	for _, x := range a {
		for _, y := range b {
			if d := x.At.Sub(y.At).Abs(); d < gap {
				t.Fatalf("%v and %v are %v apart; want %v", x.At, y.At, d, gap)
			}
		}
	}
}

// A line without an id is a run of its own.
func TestRunsWithoutIDCountEach(t *testing.T) {
	h := ready(previews)
	for i, v := range []float64{6, 1, 6, 1} {
		at := midnight.Add(-time.Duration(10-i) * time.Hour)
		h.at(at, machine.RunPast{Channel: "ca", Happened: at, Purpose: machine.Dose, Into: machine.IntoTank, Volume: ml(v), Outcome: machine.Finished})
		h.rows[len(h.rows)-1].ID = ""
	}
	s := h.fold(previews)
	if c := machine.Snapshot(&s).Channels[1]; c.ID != "ca" || c.Window24hHiML != 14*1.05 {
		t.Errorf("%s may have given %v mL in 24 h; want %v", c.ID, c.Window24hHiML, 14*1.05)
	}
}
