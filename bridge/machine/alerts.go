package machine

import (
	"fmt"
	"math"
	"time"

	"aliquot/planner/estimate"
	"aliquot/planner/units"
	"aliquot/safety"
)

// Levels of an alert.
const (
	Critical = "critical" // the tank is at risk now
	Warning  = "warning"  // act within a day
	Notice   = "note"
)

// condition is something that a person should know of, as long as it lasts.
type condition struct {
	name, level string
	format      string // of its text, which is asked for only where it is told
	args        []any
}

func (c condition) text() string { return fmt.Sprintf(c.format, c.args...) }

// lookAtAlerts raises what holds and is not raised, and clears what is raised and does not hold.
func (t *turn) lookAtAlerts() {
	var holds []bool // by the alert's place
	for _, c := range t.conditions() {
		switch a := t.alert(c.name); {
		case a == nil || !a.Raised:
			text := c.text()
			if quiet := t.comesBack(c.name); quiet > 0 {
				text += flapText(quiet)
			}
			t.changeAlert(AlertChanged{Name: c.name, Level: c.level, Raised: true, Text: text}, "")
		case a.Level != c.level:
			t.changeAlert(AlertChanged{Name: c.name, Level: c.level, Raised: true, Text: c.text()}, "")
		default:
			t.holdsAgain(c.name)
		}
		holds = append(holds, make([]bool, len(t.alerts)-len(holds))...)
		holds[t.alertAt[c.name]] = true
	}
	for i, a := range t.alerts {
		if a.Raised && !(i < len(holds) && holds[i]) && !t.lingers(a.Name) {
			t.changeAlert(AlertChanged{Name: a.Name, Level: a.Level, Text: a.Text}, "")
			t.ends(a.Name)
		}
	}
}

// changeAlert stores an alert before it is sent (INV-13).
func (t *turn) changeAlert(a AlertChanged, by string) {
	t.record(a, by)
	t.do(ShowAlert{*t.alert(a.Name)})
	level := Warn
	switch {
	case !a.Raised:
		level = Info
	case a.Level == Critical:
		level = Err
	}
	t.log(level, "alert", "alert", a.Name, "level", a.Level, "raised", a.Raised, "acknowledged", a.Acknowledged, "text", a.Text)
}

func (s *State) alert(name string) *AlertView {
	if i, ok := s.alertAt[name]; ok {
		return &s.alerts[i]
	}
	return nil
}

func (s *State) applyAlert(r Row, b AlertChanged) {
	v := AlertView{Name: b.Name, Level: b.Level, Raised: b.Raised, Since: r.At, Text: b.Text, Acknowledged: b.Acknowledged}
	if b.Silence > 0 {
		until := r.At.Add(b.Silence.Duration())
		v.SilentUntil, v.silentEnds = &until, r.Elapsed+safety.Elapsed(b.Silence)
	}
	if old := s.alert(b.Name); old != nil {
		if b.Acknowledged || (b.Raised && old.Raised && b.Level == old.Level) {
			v.Since = old.Since
		}
		*old = v
		return
	}
	s.alertAt[b.Name] = position(len(s.alerts))
	s.alerts = append(s.alerts, v)
}

// conditions lists everything that holds now, in a fixed order. It is asked at every step: nothing is put into words
// that does not hold.
func (t *turn) conditions() []condition {
	var out []condition
	add := func(name, level, format string, args ...any) {
		out = append(out, condition{name, level, format, args})
	}
	if t.ledgerBad != "" {
		add("ledger", Critical, "the ledger cannot be written (%s); nothing is dosed", t.ledgerBad)
	}
	if t.owner.foreign != "" {
		add("second-owner", Critical, "%s owns this site; nothing is dosed here", t.foreignOwner())
	}
	if !t.clock.Trusted() {
		add("clock", Warning, "%s; nothing is dosed until the clock can be believed", t.clock.Distrust())
	}
	t.wayConditions(add)
	for _, k := range t.standing {
		level := Critical
		switch k.code {
		case safety.OutOfService:
			level = Notice
		case safety.NotAccepted:
			level = Warning
		}
		add(fmt.Sprintf("lockout-%s-%s", scopeName(k.Scope), k.code), level, "%s: %s", k.Scope, k.text)
	}
	t.holdConditions(add)
	for i := range t.nodes {
		t.nodeConditions(&t.nodes[i], add)
	}
	for i := range t.contents {
		t.containerConditions(&t.contents[i], add)
		t.levelConditions(&t.contents[i], add)
	}
	for i := range t.probes {
		t.probes[i].conditions(add)
		t.probes[i].pairConditions(add)
	}
	for i := range t.channels {
		t.courseConditions(&t.channels[i], add)
		t.tubingConditions(&t.channels[i], add)
		t.planConditions(&t.channels[i], add)
		t.givenConditions(&t.channels[i], add)
		t.calibrationConditions(&t.channels[i], add)
	}
	for i := range t.site.Interlocks {
		t.interlockConditions(i, add)
	}
	for i := range t.systems {
		t.testConditions(&t.systems[i], add)
		t.chemistryConditions(&t.systems[i], add)
		t.outletConditions(&t.systems[i], add)
		t.responseConditions(&t.systems[i], add)
	}
	return out
}

type adder func(name, level, format string, args ...any)

// offlineAfter spares people the alert of a node that only restarts.
const offlineAfter = 2 * time.Minute

func (t *turn) nodeConditions(n *nodeState, add adder) {
	quiet := t.now.Mono - max(n.seen, t.startMono, t.owner.linkMono)
	if t.linkUp && !n.up && quiet > offlineAfter {
		add("node-offline-"+n.cfg.ID, Warning, "node %s is not online; its channels do not run", n.cfg.ID)
	}
	if len(n.retained) > 0 {
		add("retained-command-"+n.cfg.ID, Critical, "a retained command lies on a command topic of node %s; nothing runs there until it is gone", n.cfg.ID)
	}
	t.supplyConditions(n, add)
	if n.deafness {
		add("commands-unreadable-"+n.cfg.ID, Warning, "the broker does not let this service read the command topics of node %s, so it cannot see foreign or retained commands there", n.cfg.ID)
	}
	if n.cfg.AutoOff > 0 && !t.proven(n) {
		add("proof-"+n.cfg.ID, Warning, "node %s has to prove that it goes off by itself: aliquot prove %s", n.cfg.ID, n.cfg.ID)
	}
}

func (t *turn) containerConditions(k *containerState, add adder) {
	used := false
	for _, i := range t.index.from[k.cfg.ID] {
		c := &t.channels[i]
		used = used || (!c.lastRun.IsZero() && !t.courseOver(c))
	}
	switch {
	case !used:
	case k.leastLeft() <= k.cfg.Stop:
		add("container-empty-"+k.cfg.ID, Warning, "container %s may hold only %s; its channels have stopped", k.cfg.ID, max(0, k.leastLeft()))
	case t.low(k):
		add("container-low-"+k.cfg.ID, Warning, "container %s lasts for less than %s", k.cfg.ID, daysText(k.cfg.Warn))
	}
}

func (t *turn) interlockConditions(i int, add adder) {
	l := &t.site.Interlocks[i]
	blocked, noData := t.locks[i].Blocks(l.Rule)
	switch p := t.probe(l.Probe); {
	case noData && t.lifetime() > p.cfg.StaleAfter:
		add("interlock-"+l.Name, Warning, "interlock %s blocks: probe %s has no good reading (%s)", l.Name, l.Probe, p.why)
	case blocked && !noData:
		add("interlock-"+l.Name, Warning, "interlock %s blocks: probe %s", l.Name, l.Probe)
	}
}

func daysText(d time.Duration) string { return fmt.Sprintf("%g days", d.Hours()/24) }

func (t *turn) testConditions(y *systemState, add adder) {
	for _, g := range y.cfg.Targets {
		accepted, held := y.filter.Tested(g.Quantity)
		name := func(kind string) string { return kind + y.cfg.ID + "-" + string(g.Quantity) }
		if held != nil {
			add(name("test-unconfirmed-"), Warning, "%s of %s: %s; test again", g.Quantity, y.cfg.ID, heldText(held, g.Quantity.Unit()))
		}
		if accepted.IsZero() {
			continue
		}
		switch age := t.wall().Sub(accepted); {
		case g.Test.StaleAfter > 0 && age > g.Test.StaleAfter:
			add(name("test-stale-"), Warning, "the last test of %s in %s is %.0f days old; dosing no longer corrects by it", g.Quantity, y.cfg.ID, age.Hours()/24)
		case g.Test.DueEvery > 0 && age > g.Test.DueEvery:
			add(name("test-due-"), Notice, "%s of %s is due for a test", g.Quantity, y.cfg.ID)
		}
	}
}

func heldText(held *estimate.Test, unit string) string {
	return fmt.Sprintf("the test of %.3g %s is far from what was expected", units.Plain(held.Value), unit)
}

func scopeName(c Scope) string {
	switch {
	case c.Channel != "":
		return c.Channel
	case c.System != "":
		return c.System
	case c.Supply != "":
		return "supply-" + c.Supply
	}
	return "all"
}

func (t *turn) lifetime() time.Duration { return t.now.Mono - t.startMono }

// daysLeft is how long a container lasts by the plan, counted cautiously; nil if nothing is planned from it, or courses end
// before it is used up.
func (s *State) daysLeft(k *containerState) *float64 {
	return s.lasts(k, func(c *channelState) safety.Microlitres { return c.day.PerDay })
}

// lasts is in how many days the least that a container can hold is used up, if each of its channels takes so much in a day.
func (s *State) lasts(k *containerState, takes func(*channelState) safety.Microlitres) *float64 {
	perDay, courses, left := safety.Microlitres(0), false, max(0, k.min-k.cfg.Stop).Millilitres()
	for _, i := range s.index.from[k.cfg.ID] {
		c := &s.channels[i]
		perDay, courses = perDay+takes(c), courses || c.cfg.Course.Declared()
	}
	days := left / perDay.Millilitres()
	if courses {
		days = daysFor(left, s.draws(k, takes))
	} else if perDay <= 0 {
		return nil
	}
	if math.IsInf(days, 1) {
		return nil
	}
	return &days
}

const beatEvery = time.Minute

// beat tells the outside that the machine turns, not only that its connection stands.
func (t *turn) beat() {
	for i := range t.nodes {
		if n := &t.nodes[i]; n.echoDue > 0 && t.linkUp && t.now.Mono >= n.echoDue {
			n.echoDue, n.deafness = 0, true
		}
		if n := &t.nodes[i]; n.up && n.cfg.OnlineEvery > 0 && t.now.Mono-n.seen > 3*n.cfg.OnlineEvery {
			n.up = false
			t.log(Warn, "node silent", "node", n.cfg.ID)
		}
	}
	if t.beatMono != 0 && t.now.Mono-t.beatMono < beatEvery {
		return
	}
	t.beatMono = max(1, t.now.Mono)
	v := BeatView{At: t.wall(), UptimeSeconds: t.lifetime().Seconds(), LastPlan: maybeTime(t.lastPlan)}
	for _, k := range t.standing {
		v.Withheld = append(v.Withheld, BlockView{Code: k.code, Text: k.text})
	}
	t.do(Beat{v})
}

func maybeTime(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}
