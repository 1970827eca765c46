package rehearse

import (
	"math"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/simnode"
	"aliquot/planner/units"
	"aliquot/safety"
)

// newBay is a world before its first moment.
func newBay(t *testing.T) *world {
	t.Helper()
	w, err := newWorld(bayOptions(t, 2, 1))
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// until lets the world live to a moment.
func (w *world) until(mono time.Duration) {
	for w.mono < mono && w.trouble == nil {
		w.turn()
	}
}

// Probes read what the tank has; a switch reads what no interlock minds; what a tank does not have reads as a living
// probe within its range.
func TestReadings(t *testing.T) {
	w := newBay(t)
	ph, float, orp := &w.o.Site.Probes[0], &w.o.Site.Probes[1], &w.o.Site.Probes[2]
	if v := w.reading(ph); math.Abs(v-w.level("bay", units.PH)) > 0.06 || v != math.Round(v*1000)/1000 {
		t.Errorf("pH reads %v; the water has %v", v, w.level("bay", units.PH))
	}
	if v := w.reading(float); v != 1 {
		t.Errorf("the float reads %v; want 1, since the interlock blocks at 0", v)
	}
	w.o.Site.Interlocks[1].Rule.When.Value = 1
	if v := w.reading(float); v != 0 {
		t.Errorf("the float reads %v; want 0, since the interlock blocks at 1", v)
	}
	first := w.reading(orp)
	w.mono += time.Hour
	if second := w.reading(orp); first == second || !(first > 200 && first < 500 && second > 200 && second < 500) {
		t.Errorf("ORP reads %v, then %v; want two values within 200 to 500", first, second)
	}
}

func TestReadEvery(t *testing.T) {
	for stale, want := range map[time.Duration]time.Duration{time.Second: time.Second, 30 * time.Second: 10 * time.Second, 6 * time.Minute: 2 * time.Minute, time.Hour: 2 * time.Minute} {
		if got := readEvery(machine.Probe{StaleAfter: stale}); got != want {
			t.Errorf("a probe stale after %s reads every %s; want %s", stale, got, want)
		}
	}
}

// No probe counts as silent or stuck in an untroubled time, so that no interlock blocks.
func TestProbesStayGood(t *testing.T) {
	w := newBay(t)
	w.begin()
	w.until(26 * time.Hour)
	for _, p := range machine.Snapshot(&w.state).Probes {
		if !p.Good {
			t.Errorf("probe %s is not good: %s", p.ID, p.Why)
		}
	}
	for _, h := range w.rec.held {
		if h.Code == safety.InterlockActive {
			t.Errorf("an interlock blocked: %+v", h.Withheld)
		}
	}
}

// What leaves an outlet leaves its container, goes where the outlet is, and is no more than there was.
func TestPour(t *testing.T) {
	w := newBay(t)
	alk := &w.o.Site.Channels[0]
	pour := func(ul float64) { w.pour(0, alk, simnode.Delivery{Output: 1, To: start, Microlitres: ul}) }
	w.boxes["alk-jug"] = 10_000
	w.vessels["alk"].under = true
	pour(4_000)
	if w.boxes["alk-jug"] != 6_000 || w.vessels["alk"].holds != 4_000 || w.rec.channels[0].ul != 0 {
		t.Errorf("into a vessel: %g µL left, %g in the vessel, %g in the tank", w.boxes["alk-jug"], w.vessels["alk"].holds, w.rec.channels[0].ul)
	}
	w.vessels["alk"].under = false
	before := w.level("bay", units.Alkalinity)
	pour(5_000)
	if rise := w.level("bay", units.Alkalinity) - before; math.Abs(rise-2.0*5/117) > 1e-9 {
		t.Errorf("5 mL of 2 dKH per mL and litre raise 117 L by %g dKH; want %g", rise, 2.0*5/117)
	}
	pour(5_000)
	if w.boxes["alk-jug"] != 0 || w.rec.channels[0].ul != 6_000 {
		t.Errorf("an empty jug: %g µL left, %g µL given; want 0 and the 6000 that there were", w.boxes["alk-jug"], w.rec.channels[0].ul)
	}
}

// A message takes its time, reaches the machine and the node, and nobody behind a broker that is gone.
func TestBrokerCarries(t *testing.T) {
	w := newBay(t)
	w.begin()
	w.until(5 * time.Second)
	view := machine.Snapshot(&w.state)
	for _, n := range view.Nodes {
		if !n.Online {
			t.Errorf("node %s has not said that it is there", n.ID)
		}
	}
	if len(view.Why) > 0 {
		t.Errorf("the service is not ready after 5 s: %+v", view.Why)
	}
	w.broker.up = false
	pending := w.Agenda.Len()
	w.publish(message{topic: "b/1/stop", payload: []byte(`{"v":1,"id":"*"}`)})
	if w.Agenda.Len() != pending {
		t.Error("a message left although the broker is gone")
	}
	if w.sendRun(machine.SendRun{RunReserved: machine.RunReserved{Node: "board", Output: 1, Duration: 1000}, NotAfter: w.end}) {
		t.Error("a run was handed over although the broker is gone")
	}
	w.broker.up = true
	if w.sendRun(machine.SendRun{RunReserved: machine.RunReserved{Node: "board", Output: 1, Duration: 1000}, NotAfter: w.mono - 1}) {
		t.Error("a run was handed over after its time")
	}
}

func TestBrokerKeepsTheLast(t *testing.T) {
	var b broker
	b.keep(message{topic: "a", payload: []byte("1")})
	b.keep(message{topic: "b", payload: []byte("2")})
	b.keep(message{topic: "a", payload: []byte("3")})
	if len(b.retained) != 2 || string(b.retained[0].payload) != "3" || b.retained[1].topic != "b" {
		t.Errorf("retained %+v; want a with 3, then b", b.retained)
	}
}

// Slots are counted once for each reason; those that ran after all are told apart, and those from before the start are
// nobody's.
func TestWithheldIsCounted(t *testing.T) {
	w := newBay(t)
	tell := func(slot string, code safety.Code) {
		w.rec.withheld(start, machine.WithheldEvent{Channel: "alk", Slot: slot, Code: code, Text: "why"})
	}
	tell("2027-03-01T07:00", safety.LinkDown)
	tell("2027-03-01T07:10", safety.LinkDown)
	tell("2027-03-01T08:00", safety.KeptApart)
	tell("2027-03-01T09:00", safety.KeptApart)
	tell("2027-03-01T09:00", safety.RestTime)
	w.rec.append([]machine.Row{{Body: machine.RunReserved{Channel: "alk", Slot: "2027-03-01T09:00", Into: machine.IntoTank}}})
	r := w.result()
	if got := withheld(r, "alk", safety.KeptApart); got.Slots != 2 || got.RanLater != 1 {
		t.Errorf("kept apart %+v; want two slots, one of which ran later", got)
	}
	if got := withheld(r, "alk", safety.RestTime); got.Slots != 1 || got.RanLater != 1 {
		t.Errorf("rest %+v; want one slot that ran later", got)
	}
	if got := withheld(r, "alk", safety.LinkDown); got.Slots != 0 {
		t.Errorf("slots from before the start were counted: %+v", got)
	}
	if r.Channels[0].WithheldNum != 3 || r.Channels[0].Runs != 1 || r.Withheld[0].Code != safety.KeptApart {
		t.Errorf("channel %+v, withheld %+v; want 3, the most frequent first", r.Channels[0], r.Withheld)
	}
}

// An alert is told when it is raised, not whenever its words change.
func TestAlertsAreToldOnce(t *testing.T) {
	w := newBay(t)
	for _, a := range []machine.AlertView{{Name: "x", Raised: true, Text: "one"}, {Name: "x", Raised: true, Text: "two"}, {Name: "x"}, {Name: "x", Raised: true, Text: "three"}} {
		w.rec.alert(a)
	}
	if len(w.rec.remarks) != 2 || !contains(w.rec.remarks[0].Text, "one") || !contains(w.rec.remarks[1].Text, "three") {
		t.Errorf("told %+v; want the first and the third text", w.rec.remarks)
	}
}

// A site whose nodes never come up is never ready, says why, and doses nothing.
func TestNeverReady(t *testing.T) {
	o := bayOptions(t, 2, 1)
	o.Scenario.Outages = []Outage{{"board", Span{0, 48 * time.Hour}}, {"plug", Span{0, 48 * time.Hour}}}
	r := rehearsed(t, o)
	if r.Commissioned != nil && r.Channels[0].Runs > 0 {
		t.Errorf("ready at %v, runs %d; want never and none", r.Commissioned, r.Channels[0].Runs)
	}
	if noted(r, "of alk was refused") == 0 {
		t.Errorf("nobody says why: %+v", r.Happened)
	}
	if r.Quantities[0].InBandPercent != 0 && r.Commissioned == nil {
		t.Errorf("levels were judged: %+v", r.Quantities[0])
	}
}
