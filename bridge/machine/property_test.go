package machine_test

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/simnode"
	"aliquot/safety"

	"pgregory.net/rapid"
)

// Whatever happens, in whatever order: requests good and bad, nodes that misbehave within what is assumed of them (A1 to
// A6), a network that loses, delays and repeats, crashes that lose effects, clocks that step, ledgers that fail, links
// that break. The rig's checker asserts INV-2, INV-3, INV-4, INV-5, INV-7, INV-8 and INV-12 on the way; what the nodes
// really delivered is held against the caps at the end (INV-1), the fold of the rows against the live state (H-05,
// H-06), and the same events against the same effects.
func TestINV1_INV2_INV3_INV4_INV5_INV7_INV8_INV12_AnyTrace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t, false)
		for range rapid.IntRange(10, 60).Draw(t, "length") {
			w.happen()
		}
		w.r.advance(time.Duration(rapid.IntRange(1, 30).Draw(t, "tail")) * time.Hour)
		w.r.check.caps(w.r)
		w.r.check.gaps(w.r)
		if !w.ledgerBroke {
			w.r.check.refolds(w.r)
		}
		w.r.trace.again(t, w.r)
	})
}

// The same with a board that is told to give as much as it can: the caps are what stops it (INV-1, INV-14).
func TestINV1_INV14_CapsUnderGreed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t, true)
		for range rapid.IntRange(20, 60).Draw(t, "length") {
			switch rapid.IntRange(0, 3).Draw(t, "what") {
			case 0:
				w.happen()
			default:
				w.greed()
			}
			w.r.advance(time.Duration(rapid.IntRange(1, 40).Draw(t, "minutes")) * time.Minute)
		}
		w.r.check.caps(w.r)
		w.r.check.gaps(w.r)
	})
}

// A keeper who asks for all there is, while nobody reports anything, stops get lost and runs begin late: everything that
// was ever asked for may have been given, and counts (INV-1, INV-9, H-09).
func TestINV1_INV9_H09_CapsWhenNothingIsKnown(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t, true)
		r := w.r
		for range rapid.IntRange(20, 50).Draw(t, "asks") {
			r.net = network{loseStops: true, loseReports: w.chance("silent", 80)}
			late := time.Duration(rapid.SampledFrom([]int{0, 0, 30, 880}).Draw(t, "late")) * time.Second
			r.faults("board", simnode.Faults{RateFactor: 1.02, LateStart: late})
			r.faults("plug", simnode.Faults{RateFactor: 1.02, LateStart: late})
			for _, id := range channelIDs {
				r.ask(machine.VerbClear, machine.Request{Channel: id})
			}
			for _, k := range r.site.Containers {
				r.ask(machine.VerbRefill, machine.Request{Container: k.ID, Full: true})
			}
			into := rapid.SampledFrom([]string{"tank", "vessel"}).Draw(t, "into")
			r.ask(machine.VerbPrime, machine.Request{Channel: rapid.SampledFrom(channelIDs).Draw(t, "channel"), Into: into, VolumeML: ref(rapid.Float64Range(2, 6).Draw(t, "ml"))})
			r.advance(time.Duration(rapid.SampledFrom([]int{10, 200, 1200, 9000}).Draw(t, "wait")) * time.Second)
		}
		r.check.caps(r)
		r.check.gaps(r)
		r.check.refolds(r)
	})
}

// A run may begin as late as LateMax behind its row. It leaves the window 24 h after that, not 24 h after the row.
func TestINV1_LateRunsStayInTheWindow(t *testing.T) {
	r := newRig(t, siteIn(time.UTC, true), noon)
	r.boot()
	r.commission()
	r.net = network{loseStops: true, loseReports: true}
	r.faults("board", simnode.Faults{RateFactor: 1.02, LateStart: safety.LateMax - time.Second})
	give := func() bool {
		r.ask(machine.VerbClear, machine.Request{Channel: "alk"})
		return r.ask(machine.VerbPrime, machine.Request{Channel: "alk", Into: "tank", VolumeML: ref(6.0)}).OK
	}
	begun := r.now
	if !give() {
		t.Fatalf("the first run is refused: %+v", r.channel("alk").Withheld)
	}
	r.advance(20 * time.Minute)
	r.net = network{}
	r.faults("board", simnode.Faults{RateFactor: 1.02})
	for give() {
		r.advance(6 * time.Minute)
	}
	for r.now < begun+25*time.Hour {
		give()
		r.advance(time.Minute)
	}
	r.check.caps(r)
	if _, most := fullestDay(r.check.pours["alk"], false); most < 20_000 {
		t.Errorf("alk gave at most %.0f µL in 24 h; the test wants the cap of 30 mL to be near", most)
	}
}

// world draws what happens next.
type world struct {
	t           *rapid.T
	r           *rig
	ledgerBroke bool // in this process: its live state knows more than the ledger
}

func newWorld(t *rapid.T, greedy bool) *world {
	zones := []string{"UTC", "Europe/Berlin", "Australia/Lord_Howe"}
	zone, err := time.LoadLocation(rapid.SampledFrom(zones).Draw(t, "zone"))
	if err != nil {
		t.Fatalf("%v", err)
	}
	start := rapid.SampledFrom([]time.Time{noon, time.Date(2027, 3, 27, 14, 0, 0, 0, time.UTC), time.Date(2027, 4, 3, 8, 0, 0, 0, time.UTC),
		time.Date(2027, 10, 30, 14, 0, 0, 0, time.UTC)}).Draw(t, "start")
	w := &world{t: t, r: newRig(t, siteIn(zone, greedy), start)}
	w.r.trace, w.r.coarse = &trace{}, 3*time.Minute
	w.r.boot()
	if rapid.IntRange(0, 9).Draw(t, "commissioned") > 0 {
		w.r.commission()
	}
	return w
}

// worlds keeps the sites by zone.
var worlds sync.Map

func siteIn(zone *time.Location, greedy bool) *machine.Site {
	key := fmt.Sprint(zone, greedy)
	if s, ok := worlds.Load(key); ok {
		return s.(*machine.Site)
	}
	site := lagoon(zone)
	for i := range site.Channels {
		if c := &site.Channels[i]; greedy { // caps that a day can reach
			c.Limits.PerDay = max(c.Limits.PerDay/5, 12*safety.Millilitre)
			c.PerDay = c.Limits.PerDay
			c.Limits.AttendedPerDay = 40 * safety.Millilitre
			if c.ID == "ca" || c.ID == "mg" { // and courses that a day can end
				c.Course = safety.Course{From: noon.AddDate(0, -1, 0), Total: 8 * safety.Millilitre}
			}
		}
	}
	worlds.Store(key, site)
	return site
}

func (w *world) chance(label string, percent int) bool {
	return rapid.IntRange(0, 99).Draw(w.t, label) < percent
}

// happen has one thing happen, and some time pass.
func (w *world) happen() {
	r := w.r
	switch rapid.IntRange(0, 11).Draw(w.t, "kind") {
	case 0, 1, 2:
		if r.alive {
			w.request()
		}
	case 3:
		w.nodes()
	case 4:
		w.net()
	case 5:
		w.process()
	case 6:
		w.clock()
	case 7:
		w.links()
	case 8:
		w.probes()
	case 9:
		w.strangers()
	case 10:
		w.greed()
	case 11: // everything is well again
		w.repair()
	}
	wait := rapid.SampledFrom([]time.Duration{0, time.Second, 4 * time.Second, time.Minute, 16 * time.Minute, time.Hour, 5 * time.Hour}).Draw(w.t, "wait")
	r.advance(wait)
}

func (w *world) repair() {
	r := w.r
	r.net = network{}
	for _, n := range []string{"board", "plug"} {
		r.faults(n, simnode.Faults{RateFactor: 1})
		if r.offline[n] {
			r.reconnect(n)
		}
	}
	r.synced, r.offset, r.appendFails = true, 0, false
	if !r.linkUp {
		r.connect()
	}
	if !r.alive || w.ledgerBroke {
		w.reboot()
	}
	r.readings["ph"], r.readings["leak"] = 8.2, 0
	if w.chance("clear", 70) {
		for _, id := range channelIDs {
			r.ask(machine.VerbClear, machine.Request{Channel: id})
			r.ask(machine.VerbPrimed, machine.Request{Channel: id})
		}
		r.ask(machine.VerbClear, machine.Request{All: true})
		r.ask(machine.VerbClear, machine.Request{System: "reef"})
		r.ask(machine.VerbClear, machine.Request{What: "leak"})
		r.ask(machine.VerbRelease, machine.Request{All: true})
	}
}

func (w *world) reboot() {
	w.r.appendFails, w.ledgerBroke = false, false
	w.r.boot()
}

func (w *world) process() {
	r := w.r
	switch rapid.IntRange(0, 4).Draw(w.t, "process") {
	case 0: // dies at a random effect of the next list that sends a run, and the effects behind it are lost
		r.dieAt, r.dieWhole = rapid.IntRange(0, 5).Draw(w.t, "die at"), w.chance("of any list", 30)
	case 1:
		r.crash()
		r.advance(time.Duration(rapid.IntRange(0, 7200).Draw(w.t, "down")) * time.Second)
	case 2:
		if r.alive && !w.ledgerBroke {
			r.stop()
		}
	case 3:
		if r.alive {
			r.appendFails, w.ledgerBroke = true, true
		}
		return
	}
	if !r.alive {
		w.reboot()
	}
}

func (w *world) clock() {
	r := w.r
	steps := []time.Duration{time.Second, 59 * time.Second, 61 * time.Second, time.Hour, 25 * time.Hour, 365 * 24 * time.Hour}
	switch rapid.IntRange(0, 3).Draw(w.t, "clock") {
	case 0:
		r.synced = false
	case 1, 2: // whoever is off is not synced: the kernel is believed
		d := rapid.SampledFrom(steps).Draw(w.t, "step")
		if w.chance("back", 50) {
			d = -d
		}
		r.offset, r.synced = r.offset+d, false
	default:
		r.offset, r.synced = 0, true
	}
}

func (w *world) links() {
	r := w.r
	id := rapid.SampledFrom([]string{"board", "plug"}).Draw(w.t, "node")
	switch rapid.IntRange(0, 4).Draw(w.t, "link") {
	case 0:
		r.cut()
	case 1:
		r.cut()
		r.connect()
	case 2:
		r.disconnect(id)
	case 3:
		if r.offline[id] {
			r.reconnect(id)
		}
	default:
		if !r.linkUp {
			r.connect()
		}
	}
}

// nodes misbehave within the assumptions: every run ends by its own timer, contacts open, no retained command is
// obeyed, the rate stays within the tolerance.
func (w *world) nodes() {
	r := w.r
	id := rapid.SampledFrom([]string{"board", "plug"}).Draw(w.t, "node")
	f := simnode.Faults{
		Deaf: w.chance("deaf", 15), Mute: w.chance("mute", 20), DoubleReports: w.chance("double", 20), Blocked: w.chance("blocked", 10),
		RateFactor: rapid.Float64Range(.97, 1.02).Draw(w.t, "rate"),
	}
	if w.chance("drops", 20) {
		f.DropReport = rapid.IntRange(1, 3).Draw(w.t, "drop")
	}
	if w.chance("late", 20) {
		f.LateStart = time.Duration(rapid.IntRange(1, 880).Draw(w.t, "late start")) * time.Second
	}
	if w.chance("reboots", 20) {
		r.reboot(id)
	}
	r.faults(id, f)
}

// net does to messages what A6 allows: a run may come late by less than LateMax, twice only to a node that knows ids.
func (w *world) net() {
	w.r.net = network{loseRuns: w.chance("lose runs", 20), loseStops: w.chance("lose stops", 40), loseReports: w.chance("lose reports", 20),
		deafToEchoes: w.chance("no echoes", 10), doubleRuns: w.chance("double runs", 20), doubleReports: w.chance("double reports", 20)}
	if w.chance("slow runs", 20) {
		w.r.net.delayRuns = time.Duration(rapid.IntRange(1, 15).Draw(w.t, "run delay")) * time.Second
	}
	if w.chance("slow reports", 20) {
		w.r.net.delayReports = time.Duration(rapid.IntRange(1, 86_000).Draw(w.t, "report delay")) * time.Second
	}
}

func (w *world) probes() {
	r := w.r
	switch rapid.IntRange(0, 4).Draw(w.t, "probe") {
	case 0:
		delete(r.readings, "ph")
	case 1:
		r.step(machine.ProbeRead{Probe: rapid.SampledFrom([]string{"ph", "leak", "nobody"}).Draw(w.t, "which"), Value: rapid.Float64().Draw(w.t, "value"), Retained: w.chance("retained", 30)})
	case 2:
		r.step(machine.ProbeRead{Probe: "ph", Bad: "not a number"})
	case 3:
		r.readings["leak"] = float64(rapid.IntRange(0, 1).Draw(w.t, "leak"))
	default:
		r.readings["ph"], r.readAt = rapid.Float64Range(8, 8.7).Draw(w.t, "ph"), r.now
	}
}

// strangers speak on our topics. None of them may free a cap or start a run.
func (w *world) strangers() {
	r := w.r
	id := rapid.SampledFrom([]string{"board", "plug", "nobody"}).Draw(w.t, "node")
	run := "01STRANGER"
	if n := len(r.rows); n > 0 {
		if b, ok := r.rows[rapid.IntRange(0, n-1).Draw(w.t, "row")].Body.(machine.RunReserved); ok {
			run = b.Run
		}
	}
	switch rapid.IntRange(0, 7).Draw(w.t, "stranger") {
	case 0, 1:
		e := machine.Reported{Node: id, Run: run, Boot: rapid.Int64Range(0, 3).Draw(w.t, "boot"), Seq: rapid.Int64Range(0, 50).Draw(w.t, "seq"),
			State: rapid.SampledFrom([]machine.ReportState{machine.ReportStarted, machine.ReportFinished, machine.ReportStopped, machine.ReportRefused, "asleep"}).Draw(w.t, "state")}
		if w.chance("timed", 60) {
			e.Seconds = ref(rapid.Float64Range(0, 3600).Draw(w.t, "seconds"))
		}
		r.step(e)
	case 2:
		r.step(machine.CommandSeen{Node: id, Output: rapid.IntRange(0, 4).Draw(w.t, "output"), Run: run, Serial: rapid.Int64Range(0, 1e6).Draw(w.t, "serial")})
	case 3:
		if id != "nobody" {
			r.plant(id, 1)
		}
	case 4:
		r.step(machine.OwnerSeen{Instance: "another/one", Epoch: 3, At: r.trueTime().Add(time.Duration(rapid.IntRange(-200, 200).Draw(w.t, "age")) * time.Second)})
	case 5:
		r.step(machine.Switched{Node: id, Output: rapid.IntRange(0, 2).Draw(w.t, "output"), On: w.chance("on", 50), Retained: w.chance("retained", 50)})
	case 6:
		r.step(machine.NodeOnline{Node: id, Up: w.chance("up", 50)})
	default:
		r.step(machine.Misread{Topic: "lagoon/ask/test", Code: safety.BadPayload, Text: "not JSON", Ref: "x"})
	}
}

var channelIDs = []string{"alk", "ca", "mg", "trace"}

// greed asks for as much as there is.
func (w *world) greed() {
	if !w.r.alive {
		return
	}
	if w.chance("cleared", 40) { // a keeper who clears whatever stands, and looks at nothing
		for _, id := range channelIDs {
			w.r.ask(machine.VerbClear, machine.Request{Channel: id})
		}
	}
	q := machine.Request{Channel: rapid.SampledFrom(channelIDs).Draw(w.t, "channel"), VolumeML: ref(rapid.Float64Range(.3, 7).Draw(w.t, "ml"))}
	verb := rapid.SampledFrom([]machine.Verb{machine.VerbRun, machine.VerbRun, machine.VerbPrime, machine.VerbCalibrate}).Draw(w.t, "verb")
	if verb != machine.VerbRun {
		q.Into = rapid.SampledFrom([]string{"vessel", "tank"}).Draw(w.t, "into")
		if q.Into == "vessel" {
			q.VolumeML = ref(*q.VolumeML * 8)
		}
	} else if w.chance("test run", 20) {
		q.Kind = "test"
	}
	w.r.ask(verb, q)
}

func (w *world) String() string { return fmt.Sprintf("%s, %d rows", w.r.trueTime(), len(w.r.rows)) }
