package machine_test

import (
	"fmt"
	"slices"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner"
	"aliquot/planner/units"
	"aliquot/safety"
)

// lane is the smallest world in which the run protocol can go wrong: a channel or two of one pump node, one
// process of the real machine around its ledger, and messages on their way. It is a value: part gives a copy.
type lane struct {
	w      *laneWorld
	s      machine.State
	alive  bool
	up     bool          // the connection
	now    time.Duration // true time
	born   time.Duration
	births int
	wrong  bool // the wall clock stands an hour ahead, and nobody vouches for it

	rows      []machine.Row
	owner     *machine.OwnerSeen
	toNode    []toPump
	toMachine []machine.Event
	node      pumpNode

	sent     []string
	asks     int    // left
	waits    int    // left
	faults   int    // left
	dies     string // at which effect of the next list that sends a run the process dies
	slow     bool   // that list's append takes longer than a run may wait
	mutation string
	fine     bool   // messages arrive one by one
	broken   string // the invariant that did not hold
}

type toPump struct {
	out   int    // counted from 0
	id    string // "*" on a stop: whatever runs
	stop  bool
	lasts time.Duration
	at    time.Duration // when it was sent
}

// laneRate is 10 mL/min, in µL/s.
const laneRate = 10_000. / 60

// laneSite allows two runs of 2 mL in a day, and not three.
var laneSite = func() *machine.Site {
	rate, _ := safety.RateFromMillilitresPerMinute(10)
	limits := safety.Limits{SmallestRun: 300, PerRun: 3000, PerDay: 4500, RunTime: 60_000, Rest: time.Second, AttendedPerRun: 3000, AttendedPerDay: 4500}
	return &machine.Site{Name: "lane", Zone: time.UTC, ClockTrust: safety.TrustSynced, Tick: mustCron("0 0 1 1 *"), Version: "test",
		Systems:     []planner.System{{ID: "tank", Kind: planner.Coral, NetLitres: 100}},
		Supplements: []machine.Supplement{{ID: "stock", Strength: map[units.Quantity]float64{units.Strontium: 1}}},
		Containers:  []machine.Container{{ID: "jug", Supplement: "stock", Capacity: 1_000_000, Stop: 10_000}},
		Nodes:       []machine.Node{{ID: "board", Style: machine.BoundedRun, Fingerprint: "1"}},
		Channels: []machine.Channel{{Channel: planner.Channel{ID: "a", System: "tank", Mode: planner.Fixed, Strength: map[units.Quantity]float64{units.Strontium: 1},
			SmallestRun: limits.SmallestRun, PerRun: limits.PerRun, PerDay: limits.PerDay, Tolerance: safety.DefaultTolerance},
			Container: "jug", Node: "board", Output: 1, NominalRate: rate, Limits: limits}}}
}()

// laneWorld is a kind of lane: its site, and what its ledger begins with.
type laneWorld struct {
	site  *machine.Site
	blank *machine.Blank
	rows  []machine.Row
	relay bool
	gap   time.Duration // between runs of the two channels
}

// newLaneWorld makes a world of a site that is in service.
func newLaneWorld(site *machine.Site) *laneWorld {
	rate, _ := safety.RateFromMillilitresPerMinute(10)
	full := safety.Microlitres(1_000_000)
	bodies := []machine.Body{machine.Refill{Container: "jug", Remaining: &full}}
	for _, c := range site.Channels {
		bodies = append(bodies, machine.Calibration{Channel: c.ID, Rate: rate, Tolerance: safety.DefaultTolerance}, machine.Primed{Channel: c.ID})
	}
	w := &laneWorld{site: site, blank: machine.NewBlank(site), relay: site.Nodes[0].Style == machine.Switch}
	if w.relay {
		bodies = append(bodies, machine.Proof{Channel: "a", Node: "board", Output: 1, OnFor: laneAutoOff, Fingerprint: "1"})
	}
	for i, b := range bodies {
		w.rows = append(w.rows, machine.Row{Seq: int64(i + 1), At: noon.Add(-time.Hour), Trusted: true, Body: b})
	}
	return w
}

// laneAutoOff is the time fixed inside the relay; a run of 2 mL takes 12 s.
const laneAutoOff safety.Milliseconds = 20_000

// onePump is a channel of a board, twoPumps two of one that are kept apart, and onRelay a channel behind a plain relay with a
// timer of its own, of which per_day has room for two runs and not for three.
var (
	onePump  = newLaneWorld(laneSite)
	twoPumps = func() *laneWorld {
		site := *laneSite
		b := site.Channels[0]
		b.ID, b.Output = "b", 2
		site.Channels = []machine.Channel{site.Channels[0], b}
		site.KeepApart = []machine.Apart{{Channels: []string{"a", "b"}, Gap: 10 * time.Minute}}
		w := newLaneWorld(&site)
		w.gap = 10 * time.Minute
		return w
	}()
	onRelay = func() *laneWorld {
		site := *laneSite
		site.Nodes = []machine.Node{{ID: "board", Style: machine.Switch, AutoOff: laneAutoOff, Fingerprint: "1"}}
		site.Channels = []machine.Channel{site.Channels[0]}
		site.Channels[0].Limits.PerDay = 7500
		site.Channels[0].PerDay = 7500
		return newLaneWorld(&site)
	}()
)

// notApart is the two pumps for a machine that knows of no gap between them.
var notApart = func() *machine.Blank {
	site := *twoPumps.site
	site.KeepApart = nil
	return machine.NewBlank(&site)
}()

// newLane is a lane of one pump that is in service and connected.
func newLane(asks, waits, faults int, mutation string) *lane {
	return onePump.lane(asks, waits, faults, mutation)
}

func (w *laneWorld) lane(asks, waits, faults int, mutation string) *lane {
	l := &lane{w: w, asks: asks, waits: waits, faults: faults, mutation: mutation, rows: w.rows}
	l.node.boot = 1
	l.start()
	l.connect()
	return l
}

func (l *lane) part() *lane {
	c := *l
	c.s = l.s.Clone()
	c.rows, c.toNode, c.toMachine = slices.Clip(l.rows), slices.Clone(l.toNode), slices.Clone(l.toMachine)
	c.sent, c.node.known = slices.Clone(l.sent), slices.Clone(l.node.known)
	return &c
}

func (l *lane) instant() safety.Instant {
	i := safety.Instant{Wall: noon.Add(l.now), Mono: l.now - l.born, Synced: !l.wrong}
	if l.wrong {
		i.Wall = i.Wall.Add(time.Hour)
	}
	return i
}

func (l *lane) start() {
	rows := l.rows
	if l.mutation == "a run whose outcome is open is forgotten over a restart" {
		rows = slices.Clone(rows)
		for i, r := range rows {
			if _, is := r.Body.(machine.RunReserved); is {
				rows[i].Body, rows[i].ID = machine.Note{System: "tank", Note: "other"}, ""
			}
		}
	}
	blank := l.w.blank
	if l.mutation == "the channels are not kept apart" {
		blank = notApart
	}
	f := blank.Fold()
	for _, r := range rows {
		f.Add(r)
	}
	l.births++
	l.s, l.alive, l.up, l.born = f.State(), true, false, l.now
	l.step(machine.Booted{Instance: fmt.Sprintf("process-%d", l.births)})
}

func (l *lane) crash() { l.alive, l.up, l.dies, l.slow, l.toMachine = false, false, "", false, nil }

// connect opens the connection and lets the time pass in which a process looks for another owner.
func (l *lane) connect() {
	l.up = true
	l.step(machine.LinkChanged{Up: true})
	l.step(machine.NodeOnline{Node: "board", Up: true})
	if l.w.relay {
		l.step(machine.Switched{Node: "board", Output: 1, On: l.node.outs[0].on != "", Retained: true})
	}
	if l.owner != nil {
		l.step(*l.owner)
	}
	for until := l.now + 5*time.Second; l.alive && l.now < until; {
		l.tick()
	}
}

// tick goes to the next moment at which the pump or the machine does something by itself.
func (l *lane) tick() {
	at := l.now + time.Minute
	if l.alive {
		at = min(at, l.born+machine.NextWake(&l.s))
	}
	first := -1
	for i, o := range l.node.outs {
		if o.on != "" && o.end <= at {
			first, at = i, o.end
		}
	}
	if first >= 0 {
		l.now = at
		l.pumpEnds(first, "finished")
		return
	}
	l.now = at
	if l.alive {
		l.step(machine.Woke{})
	}
}

// wait lets so much time pass that nothing can be on its way any more (A6).
func (l *lane) wait() {
	for until := l.now + safety.LateMax + time.Minute; l.now < until; {
		l.tick()
	}
	l.toNode = slices.DeleteFunc(l.toNode, func(m toPump) bool { return l.now-m.at > safety.LateMax })
}

// finely has messages arrive one by one, and time pass in between.
func (l *lane) finely() *lane {
	l.fine = true
	return l
}

// arrive lets everything that is on its way arrive, and a run come to its end.
func (l *lane) arrive() {
	for {
		switch {
		case len(l.toNode) > 0:
			m := l.toNode[0]
			l.toNode = l.toNode[1:]
			l.obey(m)
		case len(l.toMachine) > 0:
			e := l.toMachine[0]
			l.toMachine = l.toMachine[1:]
			l.step(e)
		case l.node.running():
			l.tick()
		default:
			return
		}
	}
}

func (l *lane) fail(invariant string) {
	if l.broken == "" {
		l.broken = invariant
	}
}

// step lets the machine decide, and does what it says in its order.
func (l *lane) step(e machine.Event) {
	if !l.alive {
		return
	}
	decided := l.now
	var effects []machine.Effect
	l.s, effects = machine.Step(l.s, l.instant(), e)
	sends := slices.ContainsFunc(effects, func(e machine.Effect) bool { _, is := e.(machine.SendRun); return is })
	var next []machine.Event
	for _, e := range effects {
		switch e := e.(type) {
		case machine.Append:
			if l.diesAt("before the row", sends) {
				return
			}
			if l.slow && sends {
				l.slow, l.now = false, l.now+safety.RunTTL+2*time.Second
			}
			l.store(e.Rows)
		case machine.SendRun:
			if l.diesAt("behind the row", true) {
				return
			}
			next = append(next, l.send(e, decided)...)
			if l.diesAt("behind the run", true) {
				return
			}
		case machine.StopRuns:
			stop := toPump{out: e.Output - 1, id: e.Run, stop: true, at: l.now}
			if n := len(l.toNode); l.up && (n == 0 || l.toNode[n-1] != stop) {
				l.toNode = append(l.toNode, stop)
			}
			if l.up {
				next = append(next, machine.CommandSeen{Node: "board", Output: e.Output, Stop: true, Serial: e.Serial})
			}
		case machine.WriteOwner:
			if l.up {
				l.owner = &machine.OwnerSeen{Instance: e.Instance, Epoch: e.Epoch, At: e.At}
				next = append(next, *l.owner)
			}
		}
	}
	for _, e := range next {
		l.step(e)
	}
}

func (l *lane) diesAt(where string, sends bool) bool {
	if l.dies != where || !sends {
		return false
	}
	l.crash()
	return true
}

func (l *lane) store(rows []machine.Row) {
	for _, r := range rows {
		if _, is := r.Body.(machine.RunReserved); is && l.mutation == "no row before the run" {
			r.Body, r.ID = machine.Note{System: "tank", Note: "other"}, ""
		}
		l.rows = append(l.rows, r)
		if b, is := r.Body.(machine.RunEnded); is && b.Outcome == machine.Unknown && l.mutation == "a run without a report is sent again" {
			l.hand(0, b.Run, 12*time.Second)
		}
	}
}

// send hands a run to the connection, if there is one and it is not too late.
func (l *lane) send(r machine.SendRun, decided time.Duration) []machine.Event {
	late := l.instant().Mono > r.NotAfter && l.mutation != "a slow disk makes no run late"
	if !l.up || late {
		return []machine.Event{machine.SendFailed{Run: r.Run}}
	}
	if !slices.ContainsFunc(l.rows, func(row machine.Row) bool { return row.Body == machine.Body(r.RunReserved) }) {
		l.fail("INV-4")
	}
	if l.now-decided > safety.RunTTL {
		l.fail("INV-5")
	}
	l.hand(r.Output-1, r.Run, r.Duration.Duration())
	return nil
}

func (l *lane) hand(out int, id string, d time.Duration) {
	if slices.Contains(l.sent, id) {
		l.fail("INV-3")
	}
	l.sent = append(l.sent, id)
	l.toNode = append(l.toNode, toPump{out: out, id: id, lasts: d, at: l.now})
}
