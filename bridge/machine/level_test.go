package machine_test

import (
	"testing"
	"time"

	"aliquot/bridge/machine"
)

// scaled is a commissioned lagoon whose carbonate jug holds 3000 mL by the ledger and by its scale. The leak is 100 mL
// there: 2 % of 5000 mL.
func scaled(t *testing.T) *rig {
	r := newRig(t, weighed, noon)
	r.boot()
	r.commission()
	for range 2 { // once 2 L too little is a doubt of the count; the second time it agrees
		r.must(machine.VerbRefill, machine.Request{Container: "carbonate-jug", RemainingML: ref(3000.0)})
	}
	r.advance(20 * time.Minute)
	r.level(3000)
	return r
}

var weighed = func() *machine.Site {
	site := lagoon(time.UTC)
	site.Containers[0].Level = true
	return site
}()

func (r *rig) level(v float64) {
	r.step(machine.LevelRead{Container: "carbonate-jug", Volume: ml(v)})
}

func (r *rig) lockedOut(channel string) bool {
	for _, b := range r.channel(channel).Withheld {
		if b.Code == "fault" {
			return true
		}
	}
	return false
}

func TestH21ALevelThatFallsWithoutARun(t *testing.T) {
	type look struct {
		after time.Duration
		ml    float64
	}
	for _, c := range []struct {
		name  string
		looks []look
		want  bool
	}{
		{"as much as the scale may err", []look{{time.Minute, 2900}, {2 * time.Minute, 2900}}, false},
		{"a little more", []look{{time.Minute, 2899}, {2 * time.Minute, 2899}}, true},
		{"once only", []look{{time.Minute, 2800}, {2 * time.Minute, 3000}, {3 * time.Minute, 2800}, {4 * time.Minute, 3000}}, false},
		{"slowly within the hour", []look{{15 * time.Minute, 2950}, {25 * time.Minute, 2895}, {35 * time.Minute, 2850}}, true},
		{"over many hours", []look{{50 * time.Minute, 2920}, {111 * time.Minute, 2840}, {172 * time.Minute, 2760}}, false},
		{"it rises", []look{{time.Minute, 3300}, {2 * time.Minute, 3300}}, false},
		{"what was poured in runs out again", []look{{6 * time.Minute, 3300}, {12 * time.Minute, 3190}, {13 * time.Minute, 3190}}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := scaled(t)
			start := r.now
			for _, l := range c.looks {
				r.advance(start + l.after - r.now)
				r.level(l.ml)
			}
			if got := r.lockedOut("alk"); got != c.want {
				t.Errorf("locked out %v; want %v", got, c.want)
			}
			if r.lockedOut("ca") {
				t.Error("a channel of another container is locked out")
			}
		})
	}
}

// Whatever runs may have taken is no leak, also where nobody knows whether they ran.
func TestH21_H09_WhatARunMayHaveTakenIsNoLeak(t *testing.T) {
	for name, lost := range map[string]bool{"reported": false, "nobody knows": true} {
		t.Run(name, func(t *testing.T) {
			r := scaled(t)
			left := 3000.0
			for i := range 30 {
				r.net.loseReports = lost && i == 3
				if a := r.ask(machine.VerbRun, machine.Request{Channel: "alk", Seconds: ref(36.0), Kind: "test", Into: "vessel"}); a.OK {
					left -= 36. / 60 * boardRate
				}
				r.advance(time.Second)
				r.level(left) // under way, the scale is ahead of the pump
				r.advance(time.Minute)
				r.level(left)
			}
			if left > 2890 {
				t.Fatalf("only %.0f mL were given; the test needs more than a leak", 3000-left)
			}
			if r.lockedOut("alk") {
				t.Errorf("runs of %.0f mL in half an hour count as a leak", 3000-left)
			}
		})
	}
}

func TestH20TheLowerOfLedgerAndScaleBlocks(t *testing.T) {
	empty := func(r *rig) bool {
		for _, b := range r.channel("alk").Withheld {
			if b.Code == "container_empty" {
				return true
			}
		}
		return false
	}
	for _, c := range []struct {
		name          string
		ledger, scale float64
		retained, old bool
		want          bool
	}{
		{"both above", 3000, 2990, false, false, false},
		{"the scale at the stop", 3000, 200, false, false, true},
		{"the ledger at the stop", 200, 3000, false, false, true},
		{"an old value of the broker", 3000, 100, true, false, false},
		{"a silent scale", 3000, 100, false, true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := scaled(t)
			r.must(machine.VerbRefill, machine.Request{Container: "carbonate-jug", RemainingML: ref(c.ledger)})
			r.step(machine.LevelRead{Container: "carbonate-jug", Volume: ml(c.scale), Retained: c.retained})
			if c.old {
				r.advance(time.Hour + time.Minute)
			}
			if got := empty(r); got != c.want {
				t.Errorf("withheld as empty %v; want %v", got, c.want)
			}
		})
	}
}

// A line is blocked: the jug stays as full as it was, the tests fall, and from the doubt on the volume must not follow
// them up (H-24).
func TestH24ABlockedLineWithAScaleIsNotRaised(t *testing.T) {
	planned := func(blocked bool) (atDoubt, end float64) {
		r := scaled(t)
		full := r.channel("alk").TotalHiML
		for halfHour := range 12 * 48 {
			r.advance(30 * time.Minute)
			level := 3000.0
			if !blocked {
				level -= r.channel("alk").TotalHiML - full
			}
			r.level(level)
			if halfHour%48 == 40 {
				r.must(machine.VerbTest, machine.Request{Quantity: "alkalinity", Value: ref(8.3 - .1*float64(halfHour/48)), Unit: "dKH"})
			}
			if _, doubt := r.alerts["calibration-doubt-carbonate-jug"]; doubt && atDoubt == 0 {
				atDoubt = r.channel("alk").PlannedMLPerDay
			}
		}
		return atDoubt, r.channel("alk").PlannedMLPerDay
	}
	atDoubt, end := planned(true)
	if atDoubt == 0 || end > 1.02*atDoubt { // the volume that ran last may have been a little more
		t.Errorf("blocked: at the doubt the plan was %.1f mL a day, and at the end %.1f", atDoubt, end)
	}
	if doubt, free := planned(false); doubt != 0 || free < 1.2*end {
		t.Errorf("not blocked: doubted at %.1f mL a day, and at the end %.1f, must be more than the %.1f of the blocked line", doubt, free, end)
	}
}

func TestH23ALevelThatDisagreesIsADoubt(t *testing.T) {
	const name = "calibration-doubt-carbonate-jug"
	for _, c := range []struct {
		name string
		off  float64 // mL of the scale against the ledger, which has 3000
		wait time.Duration
		want bool
	}{
		{"agrees", 0, time.Hour, false},
		{"above, within the error", 95, time.Hour, false},
		{"above", 110, time.Hour, true},
		{"below", -110, time.Hour, true},
		{"above, not long enough", 110, 29 * time.Minute, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := scaled(t)
			r.must(machine.VerbHold, machine.Request{All: true})
			r.must(machine.VerbRefill, machine.Request{Container: "carbonate-jug", RemainingML: ref(3000.0)})
			for end := r.now + c.wait; r.now <= end; r.advance(time.Minute) {
				r.level(3000 + c.off)
			}
			_, got := r.alerts[name]
			if got != c.want {
				t.Errorf("after %s of %+.0f mL the alert stands: %v; want %v", c.wait, c.off, got, c.want)
			}
			r.level(3000 + c.off*.6)
			if _, still := r.alerts[name]; still != got {
				t.Errorf("at six tenths of the error the alert stands: %v; want it unchanged", still)
			}
			r.crash()
			r.boot()
			r.advance(time.Minute)
			if _, still := r.alerts[name]; still != got {
				t.Errorf("after a restart the alert stands: %v; want %v", still, got)
			}
			r.level(3000)
			if _, still := r.alerts[name]; still {
				t.Error("the alert stands though the scale agrees")
			}
		})
	}
}

// A float switch forbids while it says low, however long ago it spoke and whether it was retained; it never allows.
func TestH20AFloatSwitchForbids(t *testing.T) {
	says := func(r *rig, v float64, retained bool) {
		r.step(machine.LevelRead{Container: "carbonate-jug", Volume: ml(v), AtMost: true, Retained: retained})
	}
	empty := func(r *rig) bool {
		for _, b := range r.channel("alk").Withheld {
			if b.Code == "container_empty" {
				return true
			}
		}
		return false
	}
	r := scaled(t)
	stop := weighed.Containers[0].Stop.Millilitres()
	says(r, 5000, false)
	if empty(r) {
		t.Fatal("empty though the switch says that there is enough")
	}
	says(r, stop, false)
	r.advance(29 * time.Minute)
	if _, doubt := r.alerts["calibration-doubt-carbonate-jug"]; doubt {
		t.Error("a doubt of the count before half an hour")
	}
	r.advance(5 * time.Hour)
	if !empty(r) {
		t.Error("a switch that spoke hours ago no longer forbids")
	}
	if _, doubt := r.alerts["calibration-doubt-carbonate-jug"]; !doubt {
		t.Error("the ledger counts 3 L, the switch said for hours that there is nothing, and that is no doubt")
	}
	r.crash()
	r.boot()
	r.advance(time.Minute)
	says(r, stop, true)
	if !empty(r) {
		t.Error("a retained word after a restart does not forbid")
	}
	says(r, 5000, false)
	if empty(r) || r.lockedOut("alk") {
		t.Error("it still forbids, or was taken for a leak")
	}
}
