package screen

import (
	"fmt"
	"math"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// Service is what is known of the service itself.
type Service string

// What the broker says of the service.
const (
	Unheard Service = ""        // nothing was ever said below the site's topics
	Online  Service = "online"  //
	Offline Service = "offline" // it ended, or the broker lost it
)

// Seen is a site as somebody sees it over the broker.
type Seen struct {
	At      time.Time // now, by the clock of whoever looks
	Service Service
	Sign    time.Time // the service's newest sign of life; zero: none is known
	Link    string    // why the broker is not there just now; empty: it is
	View    machine.SiteView
}

// Quiet is how old a sign of life may be: the service gives one every minute.
const Quiet = 3 * time.Minute

// Live says whether what is shown can be taken for the present.
func (s Seen) Live() bool {
	return s.Link == "" && s.Service == Online && (s.Sign.IsZero() || s.At.Sub(s.Sign) <= Quiet)
}

// Site draws the whole site.
func Site(s Seen, width int, zone *time.Location) string {
	p := newPage(width, s.At, zone)
	p.title(s)
	p.alerts(s.View)
	common := p.nothingRuns(s.View)
	for _, y := range s.View.Systems {
		p.system(y, s.View)
	}
	p.channels(s.View, common)
	p.containers(s.View)
	p.probes(s.View)
	p.parts(s.View)
	return p.b.String()
}

func (p *page) title(s Seen) {
	at := p.now.In(p.zone).Format("Mon 2 Jan 2006 15:04:05 MST")
	name := strings.ToUpper(s.View.Site)
	p.line(name + strings.Repeat(" ", max(1, p.width-len([]rune(name))-len(at))) + at)
	for _, text := range p.standing(s) {
		p.say("", text)
	}
}

// standing says how far what is shown can be believed.
func (p *page) standing(s Seen) []string {
	v := s.View
	since := ""
	if !s.Sign.IsZero() {
		since = fmt.Sprintf(" Its last sign of life is of %s, %s ago.", p.when(s.Sign), span(s.At.Sub(s.Sign)))
	}
	var out []string
	switch {
	case s.Link != "":
		out = append(out, "THE BROKER IS NOT THERE: "+s.Link+". What follows is old."+since)
	case s.Service == Unheard:
		return append(out, "NO SERVICE HAS SPOKEN HERE YET. Start it with aliquot run; or see whether prefix and site are those of the service, and whether this user may read them.")
	case s.Service == Offline:
		out = append(out, "THE SERVICE IS OFFLINE: nothing is dosed, and what follows is old."+since+" Start it with aliquot run, or look at its log.")
	case !s.Live():
		out = append(out, "THE SERVICE IS SILENT, though the broker calls it online: what follows may be old."+since+" Look at its log.")
	default:
		text := fmt.Sprintf("The service is online, version %s.", orUnknown(v.Version))
		if v.LastPlan != nil {
			text += fmt.Sprintf(" Planned at %s.", p.when(*v.LastPlan))
		}
		out = append(out, text)
	}
	return out
}

func orUnknown(s string) string {
	if s == "" {
		return "unknown"
	}
	return s
}

func (p *page) alerts(v machine.SiteView) {
	if len(v.Alerts) == 0 {
		return
	}
	p.head("ALERTS")
	for _, level := range []string{machine.Critical, machine.Warning, machine.Notice} {
		for _, a := range v.Alerts {
			if a.Level == level {
				p.alert(a, v)
			}
		}
	}
}

func (p *page) alert(a machine.AlertView, v machine.SiteView) {
	mark := map[string]string{machine.Critical: "!! ", machine.Warning: " ! ", machine.Notice: " - "}[a.Level]
	p.say(mark, fmt.Sprintf("%s (%s, since %s)", a.Text, a.Level, p.when(a.Since)))
	way := alertWayOut(a.Name, v)
	switch {
	case a.Acknowledged && a.SilentUntil != nil:
		p.say("     ", "acknowledged until "+p.when(*a.SilentUntil))
	case a.Acknowledged:
		p.say("     ", "acknowledged")
	case way != "":
		way += "; known: aliquot acknowledge " + a.Name
	default:
		way = "known: aliquot acknowledge " + a.Name
	}
	if way != "" {
		p.say("   > ", way)
	}
}

// nothingRuns says once what stands in the way of every channel, and gives these reasons.
func (p *page) nothingRuns(v machine.SiteView) map[machine.BlockView]bool {
	common := map[machine.BlockView]bool{}
	if len(v.Channels) < 2 {
		return common
	}
	var list []machine.BlockView
	for _, b := range v.Channels[0].Withheld {
		everywhere := true
		for _, c := range v.Channels[1:] {
			everywhere = everywhere && withholds(c, b)
		}
		if everywhere {
			list, common[keyOf(b)] = append(list, b), true
		}
	}
	if len(list) == 0 {
		return common
	}
	p.head("NOTHING RUNS")
	for _, b := range list {
		p.block("  ", b, everyChannel(v.Channels), v)
	}
	return common
}

// everyChannel is the subject of what concerns every channel: names that they share, and words in capitals where each has its
// own.
func everyChannel(list []machine.ChannelView) Subject {
	shared := func(word string, name func(machine.ChannelView) string) string {
		for _, c := range list {
			if name(c) != name(list[0]) {
				return word
			}
		}
		return name(list[0])
	}
	return Subject{Channel: "CHANNEL", Quantity: "QUANTITY",
		System:    shared("SYSTEM", func(c machine.ChannelView) string { return c.System }),
		Container: shared("CONTAINER", func(c machine.ChannelView) string { return c.Container }),
		Node:      shared("NODE", func(c machine.ChannelView) string { return c.Node }),
		Supply:    shared("SUPPLY", func(c machine.ChannelView) string { return c.Supply })}
}

// keyOf tells blocks apart without the addresses of their times.
func keyOf(b machine.BlockView) machine.BlockView {
	return machine.BlockView{Code: b.Code, Text: b.Text}
}

func withholds(c machine.ChannelView, b machine.BlockView) bool {
	for _, w := range c.Withheld {
		if keyOf(w) == keyOf(b) {
			return true
		}
	}
	return false
}

func (p *page) block(margin string, b machine.BlockView, s Subject, v machine.SiteView) {
	scope, told := scopeOf(string(b.Code), s.Channel, v)
	if told || alertOf(b.Code, s, v) {
		p.say(margin, fmt.Sprintf("%s: see the alert", b.Code))
		return
	}
	s.Channel = scope
	way := WayOut(b.Code, s)
	if terse[b.Code] && way != "" {
		p.say(margin+string(b.Code)+" > ", way)
		return
	}
	text := b.Text
	if !strings.HasPrefix(text, string(b.Code)+":") {
		text = string(b.Code) + ": " + text
	}
	p.say(margin, text)
	if b.Code == safety.InterlockActive && strings.Contains(text, "no good reading") {
		way = "look at the probe: its power, its network, its topic"
	}
	if way != "" {
		p.say(margin+"> ", way)
	}
}

// terse are the codes whose way out says everything that their text does.
var terse = map[safety.Code]bool{safety.NotCalibrated: true, safety.NotPrimed: true, safety.ContainerEmpty: true}

// scopeOf finds what a lockout covers from its alert, if there is one: a channel's lockout may be one of its system or of
// everything.
func scopeOf(code, channel string, v machine.SiteView) (scope string, told bool) {
	system := ""
	for _, c := range v.Channels {
		if c.ID == channel {
			system = c.System
		}
	}
	for _, a := range v.Alerts {
		switch a.Name {
		case "lockout-" + channel + "-" + code:
			return channel, true
		case "lockout-" + system + "-" + code:
			return "system:" + system, true
		case "lockout-all-" + code:
			return "all", true
		}
	}
	return channel, false
}

// alertOf says whether an alert about the same thing stands above.
func alertOf(code safety.Code, s Subject, v machine.SiteView) bool {
	switch code {
	case safety.NodeOffline:
		return raised("node-offline-"+s.Node, v)
	case safety.NoProof:
		return raised("proof-"+s.Node, v)
	case safety.RetainedCommand:
		return raised("retained-command-"+s.Node, v)
	case safety.ContainerEmpty:
		return raised("container-empty-"+s.Container, v)
	case safety.SupplyCut:
		return raised("lockout-supply-"+s.Supply+"-supply_cut", v)
	case safety.SupplyOff:
		return raised("supply-off-"+s.Supply, v)
	}
	name, ok := standsAlone[code]
	return ok && raised(name, v)
}

func (p *page) system(y machine.SystemView, v machine.SiteView) {
	p.head(fmt.Sprintf("%s, %s L (the ± of level and use is 90 %%)", strings.ToUpper(y.ID), number(y.NetL)))
	for _, b := range y.Withheld {
		p.block("  ", b, Subject{Channel: "system:" + y.ID, System: y.ID}, v)
	}
	var list []machine.QuantityView
	var rows [][]string
	for _, q := range v.Quantities {
		if q.System != y.ID {
			continue
		}
		list = append(list, q)
		level := plusMinus(q.Level, q.LevelSD)
		if q.Level != nil {
			level += " " + q.Unit
		}
		rows = append(rows, []string{q.Quantity, level, setting(q.Target) + " ± " + setting(q.Band), inBand(q), plusMinus(q.ConsumptionPerDay, q.ConsumptionSD), trend(q), p.nextTest(q)})
	}
	if len(rows) == 0 {
		p.line("  nothing of it has a target")
		return
	}
	p.table("  ", []column{{name: "quantity", shrink: 9}, {name: "level"}, {name: "target"}, {name: ""}, {name: "use a day"}, {name: "trend"}, {name: "test"}}, rows,
		func(i int) { p.quantityNotes(list[i]) })
	if y.Balance != nil {
		for _, f := range y.Balance.Findings {
			if f.Kind != "holds" {
				p.say("    ", f.Text)
			}
		}
	}
}

// quantityNotes says what asks for a test.
func (p *page) quantityNotes(q machine.QuantityView) {
	if q.Unconfirmed != nil {
		p.say("    ! ", fmt.Sprintf("a test of %s %s is far from what was expected and raises nothing: test again", number(*q.Unconfirmed), q.Unit))
	}
	if text := Pending(q); text != "" {
		p.say("    ", text)
	}
	if q.Level == nil {
		p.say("    > ", fmt.Sprintf("aliquot enter %s VALUE %s", q.Quantity, q.Unit))
	}
	for _, a := range q.Advice {
		if a.Kind != "use_trend" && a.Kind != "test_held" { // they are said already
			p.say("    ! ", a.Text)
		}
	}
}

// Pending tells of what was dosed and has not appeared yet, empty if that is nothing to speak of: a tester would not see it.
func Pending(q machine.QuantityView) string {
	if q.Pending == nil || !(math.Abs(*q.Pending) >= 0.01) {
		return ""
	}
	text := fmt.Sprintf("%s %s was dosed and is still to appear", number(*q.Pending), q.Unit)
	if q.PendingHours != nil && *q.PendingHours > 0 {
		text += fmt.Sprintf(", most of it within %.0f h", math.Ceil(2**q.PendingHours))
	}
	return text + "; the plan counts on it"
}

// inBand says in a word where the level lies.
func inBand(q machine.QuantityView) string {
	switch {
	case q.Level == nil:
		return ""
	case *q.Level > q.Target+q.Band:
		return "HIGH"
	case *q.Level < q.Target-q.Band:
		return "LOW"
	}
	return "ok"
}

// trend is how much the consumption changes in a week, if that is sure.
func trend(q machine.QuantityView) string {
	switch {
	case q.TrendPerDay == nil || q.TrendLow == nil || q.TrendHigh == nil:
		return "-"
	case !(*q.TrendLow > 0) && !(*q.TrendHigh < 0):
		return "steady"
	}
	if *q.TrendPerDay > 0 {
		return "+" + number(7**q.TrendPerDay) + "/wk"
	}
	return "-" + number(math.Abs(7**q.TrendPerDay)) + "/wk"
}

// nextTest is when the keeper should test.
func (p *page) nextTest(q machine.QuantityView) string {
	at := q.NextTest
	switch {
	case q.Level == nil || q.Unconfirmed != nil:
		return "now"
	case at == nil:
		return "-"
	case at.Before(p.now):
		return "due"
	}
	if ahead := at.Sub(p.now); ahead < 7*24*time.Hour {
		return fmt.Sprintf("in %s", span(max(ahead, 2*time.Hour)))
	}
	return at.In(p.zone).Format("2 Jan")
}
