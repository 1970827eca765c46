package screen

import (
	"fmt"
	"slices"
	"strings"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

func (p *page) channels(v machine.SiteView, common map[machine.BlockView]bool) {
	if len(v.Channels) == 0 {
		return
	}
	p.head("CHANNELS, mL in the last 24 h ('|' is the plan, the bar's end the cap)")
	cells := 12 + min(20, (p.width-Ordinary)/2)
	if p.width < Ordinary {
		cells = 6
	}
	var rows [][]string
	for _, c := range v.Channels {
		rows = append(rows, []string{c.ID, number(c.Window24hHiML), number(c.PlannedMLPerDay), setting(c.PerDayML),
			bar(share(c.Window24hHiML, c.PerDayML), share(c.PlannedMLPerDay, c.PerDayML), cells), p.nextRun(c)})
	}
	p.table("  ", []column{{name: "channel", shrink: 10}, {name: "given", right: true}, {name: "plan", right: true}, {name: "cap", right: true}, {name: ""}, {name: "next run"}}, rows,
		func(i int) { p.channelNotes(v.Channels[i], v, common) })
}

func share(part, whole float64) float64 {
	if !(whole > 0) {
		return 0
	}
	return part / whole
}

func (p *page) nextRun(c machine.ChannelView) string {
	switch {
	case c.Running:
		return "RUNNING NOW"
	case len(BesideCourse(c)) > 0:
		return "withheld"
	case c.Next == nil:
		return "none planned"
	}
	return fmt.Sprintf("%s, %s mL", p.when(c.Next.At), number(c.Next.VolumeML))
}

func (p *page) channelNotes(c machine.ChannelView, v machine.SiteView, common map[machine.BlockView]bool) {
	s := Subject{Channel: c.ID, System: c.System, Container: c.Container, Node: c.Node, Supply: c.Supply, Quantity: "QUANTITY"}
	if c.Course != nil {
		p.say("    ", Course(c.Course))
	}
	for _, b := range BesideCourse(c) {
		if !common[keyOf(b)] {
			p.block("    ", b, s, v)
		}
	}
	if c.LastOutcome != "" && c.LastOutcome != string(safety.Finished) && c.LastRun != nil {
		p.say("    ", fmt.Sprintf("the last run, %s, ended: %s", p.when(*c.LastRun), c.LastOutcome))
	}
	if c.Provisional {
		p.say("    ", "the calibration is provisional: repeat it with three or more trials")
	}
	if c.CapExpected != nil {
		p.say("    ! ", fmt.Sprintf("as its use grows it meets %s on about %s", c.CapCode, p.day(*c.CapExpected)))
	}
	if c.TubingLifeSeconds != nil && c.RunSeconds > *c.TubingLifeSeconds {
		p.say("    ! ", fmt.Sprintf("its tubing has run %s h of %s h: change it, then aliquot tube %s", number(c.RunSeconds/3600), number(*c.TubingLifeSeconds/3600), c.ID))
	}
}

// ofCourse are the reasons that a channel's course has, which its own line says.
var ofCourse = map[safety.Code]bool{safety.CourseNotBegun: true, safety.CourseOver: true}

// BesideCourse lists what withholds a channel beside its course.
func BesideCourse(c machine.ChannelView) []machine.BlockView {
	if c.Course == nil {
		return c.Withheld
	}
	return slices.DeleteFunc(slices.Clone(c.Withheld), func(b machine.BlockView) bool { return ofCourse[b.Code] })
}

// Course says how far a course has come, when it ends, and what to do for another one.
func Course(k *machine.CourseView) string {
	given := ""
	if k.TotalML != nil {
		given = fmt.Sprintf(", at most %s of %s mL given", number(k.GivenML), setting(*k.TotalML))
	}
	ends := ""
	if k.Ends != nil {
		ends = ", ends on " + *k.Ends
	}
	switch {
	case k.State == machine.CourseAhead && k.From != nil:
		return "its course begins on " + *k.From + ends
	case k.State == machine.CourseEnded:
		return "its course is over" + given + ": for another one write days and total into the configuration and accept it, else take the channel out"
	}
	return "on a course" + given + ends
}

func (p *page) containers(v machine.SiteView) {
	if len(v.Containers) == 0 {
		return
	}
	p.head("CONTAINERS, mL ('|' is the stop)")
	cells := 12 + min(20, (p.width-Ordinary)/2)
	if p.width < Ordinary {
		cells = 6
	}
	var rows [][]string
	for _, k := range v.Containers {
		held := number(k.RemainingMinML)
		if most := number(k.RemainingMaxML); most != held {
			held += " to " + most
		}
		rows = append(rows, []string{k.ID, held + " of " + setting(k.CapacityML), bar(share(k.RemainingMinML, k.CapacityML), share(k.StopML, k.CapacityML), cells), lasts(k, v), fill(k)})
	}
	p.table("  ", []column{{name: "container", shrink: 10}, {name: "holds"}, {name: ""}, {name: "lasts"}, {name: ""}}, rows, func(i int) {
		k := v.Containers[i]
		if k.Low || k.Empty {
			p.say("    > ", fmt.Sprintf("aliquot refill %s --full, or --add what you added", k.ID))
		}
		if k.LevelML != nil {
			p.say("    ", fmt.Sprintf("its level sensor says %s mL", number(*k.LevelML)))
		}
		if k.LevelWhy != nil && *k.LevelWhy != "" {
			p.say("    ", "its level sensor has no good reading: "+*k.LevelWhy)
		}
	})
}

func lasts(k machine.ContainerView, v machine.SiteView) string {
	toEnd := slices.ContainsFunc(v.Channels, func(c machine.ChannelView) bool {
		return c.Container == k.ID && c.Course != nil && c.Course.State != machine.CourseEnded
	})
	switch {
	case k.DaysLeft == nil && toEnd && !k.Empty:
		return "beyond the course"
	case k.DaysLeft == nil:
		return "nothing planned"
	case k.DaysLeftLow == nil || int(*k.DaysLeftLow) == int(*k.DaysLeft):
		return fmt.Sprintf("%d days", int(*k.DaysLeft))
	}
	return fmt.Sprintf("%d to %d days", int(*k.DaysLeftLow), int(*k.DaysLeft))
}

func fill(k machine.ContainerView) string {
	switch {
	case k.Empty:
		return "EMPTY"
	case k.Low:
		return "LOW"
	}
	return ""
}

func (p *page) probes(v machine.SiteView) {
	if len(v.Probes) == 0 {
		return
	}
	p.head("PROBES")
	for _, x := range v.Probes {
		value := "no good reading: " + x.Why
		if x.Value != nil {
			value = strings.TrimSpace(number(*x.Value) + " " + x.Unit)
			if x.Quantity == "switch" {
				value = map[bool]string{true: "on", false: "off"}[*x.Value != 0]
			}
		}
		if x.Seen != nil {
			value += ", " + p.when(*x.Seen)
		}
		p.say("  "+pad(x.ID, min(24, probeNames(v)), false)+"  ", value)
	}
}

func probeNames(v machine.SiteView) int {
	most := 0
	for _, x := range v.Probes {
		most = max(most, len(x.ID))
	}
	return most
}

// parts says of nodes and interlocks what is not as it should be, and that the others are.
func (p *page) parts(v machine.SiteView) {
	if len(v.Nodes)+len(v.Interlocks) == 0 {
		return
	}
	p.head("NODES AND INTERLOCKS")
	var words []string
	for _, n := range v.Nodes {
		text := n.ID + " online"
		if !n.Online {
			text = n.ID + " OFFLINE"
		}
		if n.Online && n.On != nil {
			text += map[bool]string{true: " and on", false: ", and OFF"}[*n.On]
		}
		if n.Needs && n.Proven == nil {
			text += ", to be proven (aliquot prove " + n.ID + ")"
		}
		words = append(words, text)
	}
	for _, l := range v.Interlocks {
		switch {
		case l.Active && l.NoData:
			words = append(words, l.Name+" BLOCKS, its probe has no good reading")
		case l.Active:
			words = append(words, l.Name+" BLOCKS")
		default:
			words = append(words, l.Name+" open")
		}
	}
	p.say("  ", strings.Join(words, "; "))
}

// alertWayOut says what ends an alert, from its name; empty where its text says it already.
func alertWayOut(name string, v machine.SiteView) string {
	cut := func(prefix string) (string, bool) { return strings.CutPrefix(name, prefix) }
	if rest, ok := cut("lockout-"); ok {
		return lockoutWayOut(rest, v)
	}
	for _, w := range []struct{ prefix, format string }{
		{"container-empty-", "aliquot refill %s --full, then prime its lines"}, {"container-low-", "aliquot refill %s --full, or --add what you added"},
		{"node-offline-", "look at node %s: its power, its network, its broker account"},
		{"retained-command-", "find out who retains commands for node %s; the service removes them"},
		{"commands-unreadable-", "let the service's broker account read the command topics of node %s"},
		{"supply-stays-", "pull the plug of the pumps behind %s; then see why it does not open"},
		{"supply-off-", "look at the pumps and the tank, then switch %s on where it hangs"},
		{"interlock-", "look at what the probe of %s says, and at the tank"},
	} {
		if rest, ok := cut(w.prefix); ok {
			return fmt.Sprintf(w.format, rest)
		}
	}
	for _, prefix := range []string{"test-unconfirmed-", "test-stale-", "test-due-"} {
		rest, ok := cut(prefix)
		for _, q := range v.Quantities {
			if ok && rest == q.System+"-"+q.Quantity {
				return fmt.Sprintf("test, then aliquot enter %s VALUE %s%s", q.Quantity, q.Unit, systemFlag(q.System, v))
			}
		}
	}
	switch name {
	case "ledger":
		return WayOut(safety.LedgerFault, Subject{})
	case "second-owner":
		return WayOut(safety.SecondOwner, Subject{})
	case "clock":
		return WayOut(safety.ClockUntrusted, Subject{})
	}
	return ""
}

func systemFlag(system string, v machine.SiteView) string {
	if len(v.Systems) < 2 {
		return ""
	}
	return " --system " + system
}

// lockoutWayOut reads "scope-code".
func lockoutWayOut(rest string, v machine.SiteView) string {
	if supply, ok := strings.CutPrefix(rest, "supply-"); ok {
		if supply, ok = strings.CutSuffix(supply, "-"+string(safety.SupplyCut)); ok {
			return WayOut(safety.SupplyCut, Subject{Supply: supply})
		}
	}
	scopes := []string{"all"}
	for _, c := range v.Channels {
		scopes = append(scopes, c.ID)
	}
	for _, y := range v.Systems {
		scopes = append(scopes, y.ID)
	}
	for i, scope := range scopes {
		code, ok := strings.CutPrefix(rest, scope+"-")
		if !ok || strings.Contains(code, "-") {
			continue
		}
		s := Subject{Channel: scope}
		if i > len(v.Channels) {
			s.Channel = "system:" + scope
		} else if i > 0 {
			c := v.Channels[i-1]
			s.Container, s.Node, s.System = c.Container, c.Node, c.System
		}
		return WayOut(safety.Code(code), s)
	}
	return ""
}
