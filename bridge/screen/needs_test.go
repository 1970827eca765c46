package screen

import (
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

func texts(list []Need) string {
	var out []string
	for _, n := range list {
		line := n.Level + ": " + n.Text
		if n.Do != "" {
			line += " > " + n.Do
		}
		if n.Known {
			line += " (known)"
		}
		out = append(out, line)
	}
	return strings.Join(out, "\n")
}

func TestNeeds(t *testing.T) {
	now := time.Date(2027, 3, 2, 9, 0, 0, 0, time.UTC)
	past, ahead := now.Add(-time.Hour), now.Add(time.Hour)
	shed := func(change func(*machine.SiteView)) machine.SiteView {
		v := machine.SiteView{At: now, Ready: true, Systems: []machine.SystemView{{ID: "nursery"}},
			Channels:   []machine.ChannelView{{ID: "alk", System: "nursery", Container: "jug", Node: "board"}, {ID: "ca", System: "nursery", Container: "can", Node: "board"}},
			Quantities: []machine.QuantityView{{System: "nursery", Quantity: "alkalinity", Unit: "dKH", NextTest: &ahead}}}
		change(&v)
		return v
	}
	alert := func(name, level, text string) machine.AlertView {
		return machine.AlertView{Name: name, Level: level, Text: text, Raised: true, Since: past}
	}
	block := func(code safety.Code, text string) machine.BlockView {
		return machine.BlockView{Code: code, Text: text}
	}
	for _, c := range []struct {
		name   string
		change func(*machine.SiteView)
		want   string
	}{
		{"nothing", func(*machine.SiteView) {}, ""},
		{"an alert that is over", func(v *machine.SiteView) {
			v.Alerts = []machine.AlertView{{Name: "ledger", Level: machine.Critical, Text: "over"}}
		}, ""},
		{"by level, and what is known last of it", func(v *machine.SiteView) {
			known := alert("clock", machine.Critical, "the clock is off")
			known.Acknowledged = true
			v.Alerts = []machine.AlertView{alert("a", machine.Notice, "a word"), known, alert("container-low-jug", machine.Warning, "jug runs low"), alert("ledger", machine.Critical, "the disk is full")}
		}, "critical: the disk is full > see to the disk of the ledger; the service's log says more\n" +
			"critical: the clock is off > let the system set its clock, or look at it and say aliquot ask clock (known)\n" +
			"warning: jug runs low > aliquot refill jug --full, or --add what you added\nnote: a word"},
		{"what an alert says is not said again", func(v *machine.SiteView) {
			v.Alerts = []machine.AlertView{alert("lockout-alk-fault", machine.Critical, "channel alk: on 3 s beyond its time"), alert("container-empty-can", machine.Critical, "can is empty")}
			v.Channels[0].Withheld = []machine.BlockView{block(safety.Fault, "on 3 s beyond its time")}
			v.Channels[1].Withheld = []machine.BlockView{block(safety.ContainerEmpty, "container can is empty")}
		}, "critical: channel alk: on 3 s beyond its time > look at the pump and its line, then aliquot clear alk fault\n" +
			"critical: can is empty > aliquot refill can --full, then prime its lines"},
		{"one reason for all channels is said once, one for each channel for each", func(v *machine.SiteView) {
			for i := range v.Channels {
				v.Channels[i].Withheld = []machine.BlockView{block(safety.LinkDown, "no connection to the broker"), block(safety.NotPrimed, "the line is not primed")}
			}
		}, "warning: alk: no connection to the broker > see whether the broker runs\n" +
			"warning: alk: the line is not primed > aliquot prime alk --into vessel, look at the outlet, then aliquot primed alk\n" +
			"warning: ca: the line is not primed > aliquot prime ca --into vessel, look at the outlet, then aliquot primed ca"},
		{"a full disk is critical, by its alert or without", func(v *machine.SiteView) {
			v.Alerts = []machine.AlertView{alert("lockout-alk-fault", machine.Critical, "channel alk: started twice")}
			v.Why = []machine.BlockView{block(safety.LedgerFault, "the ledger cannot be written: no space left on device")}
		}, "critical: the ledger cannot be written: no space left on device > see to the disk of the ledger; the service's log says more\n" +
			"critical: channel alk: started twice > look at the pump and its line, then aliquot clear alk fault"},
		{"what blocks everything is said once, and first of its level", func(v *machine.SiteView) {
			known := alert("second-owner", machine.Critical, "another instance owns this site")
			known.Acknowledged = true
			v.Alerts = []machine.AlertView{alert("container-low-jug", machine.Warning, "jug runs low"), alert("broker", machine.Warning, "no broker for 5 min"), alert("clock", machine.Warning, "the clock is off"),
				known, alert("retained-command-board", machine.Critical, "a retained command lies on board"), alert("ledger", machine.Critical, "the ledger cannot be written")}
			v.Why = []machine.BlockView{block(safety.LedgerFault, "no ledger"), block(safety.LinkDown, "no broker"), block(safety.SecondOwner, "another one"), block(safety.ClockUntrusted, "no clock")}
			v.Channels[0].Withheld = append([]machine.BlockView{block(safety.RetainedCommand, "retained")}, v.Why...)
		}, "critical: the ledger cannot be written > see to the disk of the ledger; the service's log says more\n" +
			"critical: a retained command lies on board > find out who retains commands for node board; the service removes them\n" +
			"critical: another instance owns this site > it passes within seconds of a start; if not, stop the other instance (known)\n" +
			"warning: no broker for 5 min\nwarning: the clock is off > let the system set its clock, or look at it and say aliquot ask clock\n" +
			"warning: jug runs low > aliquot refill jug --full, or --add what you added"},
		{"a broker that has only just gone comes before what concerns one channel", func(v *machine.SiteView) {
			v.Alerts = []machine.AlertView{alert("container-low-jug", machine.Warning, "jug runs low")}
			v.Why = []machine.BlockView{block(safety.LinkDown, "there is no connection to the broker")}
		}, "warning: there is no connection to the broker > see whether the broker runs\n" +
			"warning: jug runs low > aliquot refill jug --full, or --add what you added"},
		{"an interlock without an alert is named in the way out", func(v *machine.SiteView) {
			v.Interlocks = []machine.InterlockView{{Name: "ph"}, {Name: "ph-high", Active: true}}
			v.Alerts = []machine.AlertView{alert("interlock-ph", machine.Warning, "another one")}
			v.Channels[0].Withheld = []machine.BlockView{block(safety.InterlockActive, "interlock ph-high: its condition on probe ph holds")}
		}, "warning: another one > look at what the probe of ph says, and at the tank\n" +
			"warning: alk: interlock ph-high: its condition on probe ph holds > look at what its probe says; a latched one ends with aliquot clear --interlock ph-high"},
		{"an interlock that an alert tells of is told once", func(v *machine.SiteView) {
			v.Interlocks = []machine.InterlockView{{Name: "ph-high", Active: true}}
			v.Alerts = []machine.AlertView{alert("interlock-ph-high", machine.Warning, "interlock ph-high blocks: probe ph")}
			v.Channels[0].Withheld = []machine.BlockView{block(safety.InterlockActive, "interlock ph-high: its condition on probe ph holds")}
		}, "warning: interlock ph-high blocks: probe ph > look at what the probe of ph-high says, and at the tank"},
		{"what passes by itself asks for nobody", func(v *machine.SiteView) {
			v.Channels[0].Withheld = []machine.BlockView{block(safety.DayCap, "the cap is reached"), block(safety.RestTime, "rests for 3 min")}
		}, ""},
		{"a hold is a note", func(v *machine.SiteView) {
			v.Systems[0].Withheld = []machine.BlockView{block(safety.OnHold, "feeding")}
		},
			"note: nursery: feeding > it ends by itself; sooner with aliquot release and the same name"},
		{"a test that is worth most now", func(v *machine.SiteView) {
			v.Quantities[0].NextTest, v.Quantities[0].NextTestWhy = &past, "the level is known only within ± 0.6 dKH"
		}, "note: alkalinity of nursery: a test is worth most now, the level is known only within ± 0.6 dKH > test, then aliquot enter alkalinity VALUE dKH"},
		{"not beside an alert for it", func(v *machine.SiteView) {
			v.Quantities[0].NextTest = &past
			v.Alerts = []machine.AlertView{alert("test-due-nursery-alkalinity", machine.Notice, "alkalinity is due")}
		}, "note: alkalinity is due > test, then aliquot enter alkalinity VALUE dKH"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := texts(Needs(shed(c.change))); got != c.want {
				t.Errorf("got\n%s\nwant\n%s", got, c.want)
			}
		})
	}
}
