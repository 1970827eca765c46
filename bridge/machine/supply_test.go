package machine_test

import (
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/simnode"
	"aliquot/safety"
)

// fed is the lagoon with one supply relay for the pumps of both nodes.
var fed = func() *machine.Site {
	site := lagoon(time.UTC)
	site.Containers[0].Level = true
	site.Nodes = append(site.Nodes, machine.Node{ID: "feed", Style: machine.Supply, Fingerprint: "feed-1"})
	for i := range site.Channels {
		site.Channels[i].Supply = "feed"
	}
	return site
}()

func fedRig(t *testing.T) *rig {
	r := newRig(t, fed, noon)
	r.boot()
	r.commission()
	r.advance(20 * time.Minute)
	return r
}

// withheld says whether a channel is withheld for a reason.
func (r *rig) withheld(channel string, code safety.Code) bool {
	for _, b := range r.channel(channel).Withheld {
		if b.Code == code {
			return true
		}
	}
	return false
}

// switchOn is a person at the supply relay.
func (r *rig) switchOn() { r.fromNode("feed", r.supply.Close(r.trueTime())) }

// stuckRun begins a run on the relay whose contact then welds, and goes past its end by d. It gives how much truly flowed.
func (r *rig) stuckRun(d time.Duration) float64 {
	r.t.Helper()
	before := r.relay.Delivered(1)
	r.must(machine.VerbRun, machine.Request{Channel: "mg", VolumeML: ref(1.0)})
	r.advance(time.Second)
	r.faults("plug", stuck)
	r.advance(11*time.Second + d) // 1 mL at 5 mL/min
	return (r.relay.Delivered(1) - before) / 1000
}

func TestH01_SupplyIsOpenedWhenAnOutputStaysOn(t *testing.T) {
	r := fedRig(t)
	gave := r.stuckRun(10 * time.Minute)
	if most := relayRate / 60 * 15; gave > most {
		t.Fatalf("%.2f mL left a stuck output with a supply relay; at most %.2f in 15 s", gave, most)
	}
	for _, c := range []string{"alk", "ca", "mg", "trace"} {
		if !r.withheld(c, safety.SupplyCut) {
			t.Errorf("channel %s is not withheld behind the open supply", c)
		}
	}
	if a := r.alerts["lockout-supply-feed-supply_cut"]; a.Level != machine.Critical {
		t.Errorf("the alert is %+v", a)
	}
	// While the output is still seen on, nobody gets the supply back by clearing.
	if a := r.ask(machine.VerbClear, machine.Request{What: "feed"}); a.OK || a.Code != safety.Fault {
		t.Errorf("cleared under a stuck output: %+v", a)
	}
	r.faults("plug", simnode.Faults{})
	r.advance(2 * time.Second)
	r.must(machine.VerbClear, machine.Request{Channel: "mg", Code: "fault"})
	r.must(machine.VerbClear, machine.Request{What: "feed"})
	if r.supply.Flowing(1) {
		t.Fatal("the service switched the supply on")
	}
	r.advance(time.Minute)
	if !r.withheld("alk", safety.SupplyOff) || r.alerts["supply-off-feed"].Level != machine.Warning {
		t.Errorf("an open supply does not withhold: %+v", r.channel("alk").Withheld)
	}
	r.switchOn()
	r.advance(time.Second)
	if r.withheld("alk", safety.SupplyOff) || r.withheld("alk", safety.SupplyCut) {
		t.Errorf("still withheld: %+v", r.channel("alk").Withheld)
	}
	r.check.refolds(r)
}

// With the lockout standing, a supply that somebody switches on is opened again within a second, and over a restart too.
func TestH01_SupplyStaysOpenWhileItsLockoutStands(t *testing.T) {
	r := fedRig(t)
	r.must(machine.VerbCut, machine.Request{What: "feed", Reason: "monthly trial"})
	for _, c := range []struct {
		when string
		on   func()
	}{
		{"cut", func() {}},
		{"under its lockout", r.switchOn},
		{"while no process ran", func() { r.crash(); r.switchOn(); r.boot() }},
		{"while the connection was lost", func() { r.cut(); r.switchOn(); r.connect() }},
		{"by its own restart", func() { r.reboot("feed"); r.switchOn() }},
		{"out of sight, and without a word of its state", func() {
			r.disconnect("feed")
			r.switchOn()
			r.faults("feed", simnode.Faults{Mute: true})
			r.reconnect("feed")
		}},
	} {
		c.on()
		r.advance(2 * time.Second)
		if r.supply.Flowing(1) {
			t.Errorf("switched on %s, it stays on", c.when)
		}
	}
	r.faults("feed", simnode.Faults{})
	if a := r.ask(machine.VerbCut, machine.Request{What: "feed"}); a.Code != safety.NothingToDo {
		t.Errorf("a second cut: %+v", a)
	}
	if a := r.ask(machine.VerbCut, machine.Request{What: "plug"}); a.Code != safety.UnknownName || !strings.Contains(a.Text, "feed") {
		t.Errorf("a cut of what is no supply: %+v", a)
	}
	r.check.refolds(r)
}

// A message that does not arrive is said again, once a second at first; a contact that does not open is told of.
func TestH01_SupplyIsToldAgain(t *testing.T) {
	r := fedRig(t)
	var told []time.Duration
	r.told = func(_ time.Time, e machine.Effect) {
		if s, stop := e.(machine.StopRuns); stop && s.Node == "feed" {
			told = append(told, r.now)
		}
	}
	r.net.loseStops = true
	r.must(machine.VerbCut, machine.Request{What: "feed"})
	begin := r.now
	r.advance(5 * time.Minute)
	within := func(d time.Duration) (n int) {
		for _, at := range told {
			if at-begin <= d {
				n++
			}
		}
		return n
	}
	if n := within(30 * time.Second); n < 25 || n > 35 {
		t.Errorf("told %d times in the first 30 s, want about 30", n)
	}
	if n := len(told) - within(31*time.Second); n < 3 || n > 6 {
		t.Errorf("told %d times in the 4.5 min after, want once a minute", n)
	}
	if a := r.alerts["supply-stays-feed"]; a.Level != machine.Critical {
		t.Errorf("a supply that stays on raises %+v", a)
	}
	r.net.loseStops = false
	r.advance(time.Minute)
	if r.supply.Flowing(1) || r.alerts["supply-stays-feed"].Raised {
		t.Error("it was not opened when messages came through again")
	}
	told = nil
	r.advance(10 * time.Minute)
	if len(told) < 9 || len(told) > 11 {
		t.Errorf("one that is seen off is told %d times in 10 min more, want once a minute: that it went on again may get lost", len(told))
	}
	// So it is opened again although nobody heard that it went on.
	r.net.loseReports = true
	r.switchOn()
	r.advance(time.Minute)
	if r.supply.Flowing(1) {
		t.Error("switched on unheard, it stays on")
	}
}

func TestH21_LeakOpensTheSupply(t *testing.T) {
	r := fedRig(t)
	r.must(machine.VerbRefill, machine.Request{Container: "carbonate-jug", RemainingML: ref(3000.0)})
	r.must(machine.VerbRefill, machine.Request{Container: "carbonate-jug", RemainingML: ref(3000.0)})
	r.advance(20 * time.Minute)
	r.level(3000)
	for range 2 {
		r.advance(5 * time.Minute)
		r.level(2800)
	}
	r.advance(time.Second)
	if r.supply.Flowing(1) || !r.withheld("mg", safety.SupplyCut) {
		t.Error("a container that empties without a run leaves the pumps fed")
	}
}

// A supply that goes off by somebody's hand: the run counts in full, nothing of it is sure, and nothing new starts.
func TestH01_H27_SupplyOffDuringARun(t *testing.T) {
	r := fedRig(t)
	a := r.must(machine.VerbRun, machine.Request{Channel: "alk", VolumeML: ref(3.0)})
	r.advance(5 * time.Second)
	r.fromNode("feed", r.supply.Receive(r.trueTime(), simnode.Command{Output: 1, Payload: []byte("off")}))
	r.advance(time.Minute)
	var ended *machine.RunEnded
	for _, row := range r.rows {
		if b, ok := row.Body.(machine.RunEnded); ok && strings.Contains(a.Result, b.Run) {
			ended = &b
		}
	}
	if ended == nil || ended.Lo != 0 || ended.Hi < ml(5.0/60*boardRate) {
		t.Fatalf("the run ended as %+v; want nothing sure and at least what flowed", ended)
	}
	if a := r.ask(machine.VerbRun, machine.Request{Channel: "alk", VolumeML: ref(1.0)}); a.OK || a.Code != safety.SupplyOff {
		t.Errorf("a run behind an open supply: %+v", a)
	}
}

// What cannot be seen is not relied on: a supply relay that is away withholds, and comes back with its last word.
func TestH01_SupplyOutOfSight(t *testing.T) {
	r := fedRig(t)
	r.disconnect("feed")
	r.advance(time.Second)
	if a := r.ask(machine.VerbRun, machine.Request{Channel: "alk", VolumeML: ref(1.0)}); a.OK || a.Code != safety.SupplyOff {
		t.Errorf("a run with the supply out of sight: %+v", a)
	}
	r.reconnect("feed")
	r.advance(time.Second)
	if r.withheld("alk", safety.SupplyOff) {
		t.Errorf("back in sight and on, it withholds: %+v", r.channel("alk").Withheld)
	}
	// A node without a supply relay is not concerned.
	plain := newRig(t, lagoon(time.UTC), noon)
	plain.boot()
	plain.advance(time.Minute)
	if plain.withheld("alk", safety.SupplyOff) {
		t.Error("a node without a supply relay waits for one")
	}
}

// The supply is opened also when the ledger cannot be written: to stop needs no record (INV-11).
func TestINV11_SupplyOpensWithoutALedger(t *testing.T) {
	r := fedRig(t)
	r.appendFails = true
	r.ask(machine.VerbCut, machine.Request{What: "feed"})
	r.advance(time.Second)
	if r.supply.Flowing(1) {
		t.Error("without a ledger the supply stays on")
	}
}

// A run that lasted longer than it was told to says that the first stop does not hold: the second one is used.
func TestH01_SupplyIsOpenedAfterALongRun(t *testing.T) {
	for name, late := range map[string]time.Duration{"reported in time": 2500 * time.Millisecond, "reported late": 10 * time.Second, "within what may be": time.Second} {
		t.Run(name, func(t *testing.T) {
			r := fedRig(t)
			r.faults("board", simnode.Faults{Output: 1, LateOff: late})
			r.net.loseStops = late > 3*time.Second // the daemon's own stop after 3 s would end it
			r.must(machine.VerbRun, machine.Request{Channel: "alk", VolumeML: ref(2.0)})
			r.advance(25 * time.Second)
			r.net.loseStops = false
			r.advance(2 * time.Second)
			if want := late > 2*time.Second; r.supply.Flowing(1) == want {
				t.Errorf("a run that is %v too long leaves the supply %v", late, map[bool]string{true: "on", false: "off"}[r.supply.Flowing(1)])
			}
		})
	}
}

// After a lost connection nothing that a supply relay said before counts, and it is told as often as at first.
func TestH01_SupplyIsToldAfterReconnecting(t *testing.T) {
	r := fedRig(t)
	r.must(machine.VerbCut, machine.Request{What: "feed"})
	r.advance(time.Hour)
	r.step(machine.LinkChanged{Up: false})
	r.switchOn()
	r.net.loseStops = true
	r.step(machine.LinkChanged{Up: true}) // the broker has forgotten what it retained
	r.advance(5 * time.Second)
	r.net.loseStops = false
	r.advance(1100 * time.Millisecond)
	if r.supply.Flowing(1) {
		t.Error("it was not told again within a second of the moment at which messages came through")
	}
}

// The step that finds an output stuck allows no run, also where the request came first.
func TestH01_NoRunInTheStepThatFindsAnOutputStuck(t *testing.T) {
	r := fedRig(t)
	r.must(machine.VerbRun, machine.Request{Channel: "mg", VolumeML: ref(1.0)})
	r.advance(time.Second)
	r.faults("plug", stuck)
	r.coarse = time.Hour // the machine is not woken meanwhile
	r.now += 20 * time.Second
	if a := r.ask(machine.VerbRun, machine.Request{Channel: "trace", VolumeML: ref(1.0)}); a.OK || a.Code != safety.SupplyCut {
		t.Errorf("a run behind the supply of a stuck output: %+v", a)
	}
}

// An output that is seen on beyond its time is told to go off for as long as that lasts: its word that it went off may have
// been lost, and nothing else would end its run.
func TestH01_AnOutputThatIsSeenOnIsToldAgain(t *testing.T) {
	r := newRig(t, lagoon(time.UTC), noon)
	r.boot()
	r.commission()
	r.advance(20 * time.Minute)
	r.must(machine.VerbRun, machine.Request{Channel: "mg", VolumeML: ref(1.0)})
	r.advance(time.Second)
	r.net.loseReports, r.net.loseStops = true, true
	r.advance(3 * time.Minute)
	if v := r.channel("mg"); !v.Running {
		t.Fatal("the run has ended; the test needs one whose end nobody heard")
	}
	r.net.loseReports, r.net.loseStops = false, false
	r.advance(61 * time.Second)
	if v := r.channel("mg"); v.Running {
		t.Error("the relay has been off for minutes, and its run does not end")
	}
}
