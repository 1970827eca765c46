package screen

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// Need is one thing that asks for somebody.
type Need struct {
	Level string // machine.Critical, Warning or Notice
	Text  string
	Do    string // what ends it; empty where the text says it already, or where only time does
	Alert string // the name of the alert that it is; empty: it is none
	Known bool   // somebody acknowledged it
	Since *time.Time
	Until *time.Time
	all   bool // nothing at all runs because of it
}

// Needs lists what asks for somebody, the most urgent first; of one level what nobody has acknowledged comes first, and of
// that what keeps everything from running. What an alert says already is not said again. It is empty where nothing is to be done.
func Needs(v machine.SiteView) []Need {
	var out []Need
	for i := range v.Alerts {
		if a := &v.Alerts[i]; a.Raised {
			out = append(out, Need{Level: a.Level, Text: a.Text, Do: alertWayOut(a.Name, v), Alert: a.Name, Known: a.Acknowledged, Since: &a.Since, Until: a.SilentUntil, all: ofEverything(a.Name)})
		}
	}
	out = append(out, blockNeeds(v)...)
	out = append(out, testNeeds(v)...)
	rank := map[string]int{machine.Critical: 0, machine.Warning: 4, machine.Notice: 8}
	order := func(n Need) int {
		at := rank[n.Level]
		if n.Known {
			at += 2
		}
		if !n.all {
			at++
		}
		return at
	}
	slices.SortStableFunc(out, func(a, b Need) int { return order(a) - order(b) })
	return out
}

// blockNeeds are the reasons for which something does not run, each once, but for those that pass by themselves.
func blockNeeds(v machine.SiteView) []Need {
	var out []Need
	seen := map[machine.BlockView]bool{}
	add := func(b machine.BlockView, s Subject, of string) {
		if _, told := scopeOf(string(b.Code), s.Channel, v); told || seen[keyOf(b)] || alertOf(b.Code, s, v) || passing[b.Code] {
			return
		}
		way := WayOut(b.Code, s)
		if name, ok := interlockOf(b, v); ok {
			if raised("interlock-"+name, v) {
				return
			}
			way = fmt.Sprintf("look at what its probe says; a latched one ends with aliquot clear --interlock %s", name)
		}
		if terse[b.Code] { // one for each channel: their texts are alike
			b.Text = of + ": " + b.Text
		}
		seen[keyOf(b)] = true
		text := b.Text
		if of != "" && !strings.Contains(text, s.Channel) {
			text = of + ": " + text
		}
		out = append(out, Need{Level: urgency(b.Code), Text: text, Do: way, Until: b.Until, all: of == ""})
	}
	for _, b := range v.Why {
		add(b, Subject{Channel: "all"}, "")
	}
	for _, y := range v.Systems {
		for _, b := range y.Withheld {
			add(b, Subject{Channel: "system:" + y.ID, System: y.ID}, y.ID)
		}
	}
	for _, c := range v.Channels {
		for _, b := range c.Withheld {
			add(b, Subject{Channel: c.ID, System: c.System, Container: c.Container, Node: c.Node, Supply: c.Supply, Quantity: "QUANTITY"}, c.ID)
		}
	}
	return out
}

// urgency is that of the alert which tells of the same, or will once it has lasted.
func urgency(code safety.Code) string {
	switch code {
	case safety.LedgerFault:
		return machine.Critical
	case safety.OnHold:
		return machine.Notice
	}
	return machine.Warning
}

// standsAlone are the alerts of what blocks everything, by the code of the reason that says the same.
var standsAlone = map[safety.Code]string{safety.LedgerFault: "ledger", safety.SecondOwner: "second-owner", safety.ClockUntrusted: "clock", safety.LinkDown: "broker"}

// ofEverything says whether nothing at all runs while an alert stands.
func ofEverything(name string) bool {
	for _, alone := range standsAlone {
		if name == alone {
			return true
		}
	}
	return strings.HasPrefix(name, "lockout-all-")
}

// interlockOf says which interlock a reason is about; its text begins with the name.
func interlockOf(b machine.BlockView, v machine.SiteView) (string, bool) {
	for _, l := range v.Interlocks {
		if b.Code == safety.InterlockActive && strings.HasPrefix(b.Text, "interlock "+l.Name+":") {
			return l.Name, true
		}
	}
	return "", false
}

func raised(name string, v machine.SiteView) bool {
	return slices.ContainsFunc(v.Alerts, func(a machine.AlertView) bool { return a.Raised && a.Name == name })
}

// passing are the reasons that ask for nobody.
var passing = map[safety.Code]bool{safety.DayCap: true, safety.QuantityCap: true, safety.RunCap: true, safety.RunTimeCap: true, safety.RestTime: true, safety.KeptApart: true,
	safety.CourseNotBegun: true, safety.CourseOver: true}

// testNeeds are the tests that are worth most now.
func testNeeds(v machine.SiteView) []Need {
	var out []Need
	for _, q := range v.Quantities {
		if q.NextTest == nil || q.NextTest.After(v.At) || testAlert(q, v) {
			continue
		}
		text := fmt.Sprintf("%s of %s: a test is worth most now", q.Quantity, q.System)
		if q.NextTestWhy != "" {
			text += ", " + q.NextTestWhy
		}
		out = append(out, Need{Level: machine.Notice, Text: text, Do: fmt.Sprintf("test, then aliquot enter %s VALUE %s%s", q.Quantity, q.Unit, systemFlag(q.System, v))})
	}
	return out
}

// testAlert says whether an alert asks for the test already.
func testAlert(q machine.QuantityView, v machine.SiteView) bool {
	return slices.ContainsFunc(v.Alerts, func(a machine.AlertView) bool {
		return a.Raised && strings.HasPrefix(a.Name, "test-") && strings.HasSuffix(a.Name, "-"+q.System+"-"+q.Quantity)
	})
}
