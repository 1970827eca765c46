package machine_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"sort"
	"sync"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/simnode"
	"aliquot/safety"
)

// tb is what testing.T, testing.B and rapid.T have in common here.
type tb interface {
	Helper()
	Fatalf(format string, args ...any)
}

// rig is a shell around Step in memory and in virtual time: a ledger of rows, a broker, a pump board and a relay. It
// does what the real shell does, in the order of the effects, and checks on the way what must hold for any trace.
type rig struct {
	t     tb
	site  *machine.Site
	blank *machine.Blank

	start  time.Time     // true time at 0
	now    time.Duration // true time since start
	offset time.Duration // of the wall clock
	synced bool
	coarse time.Duration // an idle machine is woken this seldom; the shell does so every 15 s

	alive   bool
	born    time.Duration // when the process started
	births  int
	stepped time.Duration // when the machine last had a turn
	state   machine.State
	wakes   int // turns for no other reason than time

	rows        []machine.Row
	appendFails bool
	dieAt       int // perform so many effects of the next list that appends a run, then crash; -1: no
	dieWhole    bool

	linkUp   bool
	owner    *machine.WriteOwner // retained at the broker
	planted  map[commandTopic]bool
	board    *simnode.Board
	relay    *simnode.Relay
	supply   *simnode.Supply // feeds the pumps of both; nil where the site has none
	fedBy    bool            // the supply's state, retained at the broker
	net      network
	inbox    []parcel[machine.Event] // to the machine
	outbox   []parcel[toNode]        // to the nodes
	online   map[string]bool         // retained at the broker
	isOn     bool                    // the relay's state, retained at the broker
	offline  map[string]bool         // the node has no connection to the broker
	readings map[string]float64      // what the probes say, every five minutes
	readAt   time.Duration

	refs    int
	answers []machine.Answered
	alerts  map[string]machine.AlertView
	told    func(at time.Time, e machine.Effect) // sees every effect that was performed
	trace   *trace
	check   checker
}

type commandTopic struct {
	node   string
	output int
	stop   bool
}

type parcel[T any] struct {
	at time.Duration
	v  T
}

type toNode struct {
	node    string
	command simnode.Command
	run     *machine.RunReserved // nil for a stop
}

// network says what happens to messages between the machine and the nodes.
type network struct {
	loseRuns, loseStops, loseReports, deafToEchoes bool
	doubleRuns, doubleReports                      bool // the board knows ids and a re-delivery
	delayRuns, delayReports                        time.Duration
}

var noon = time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC)

// blanks keeps one blank for each site, since sites never change.
var blanks sync.Map

func blankOf(site *machine.Site) *machine.Blank {
	if b, ok := blanks.Load(site); ok {
		return b.(*machine.Blank)
	}
	b := machine.NewBlank(site)
	blanks.Store(site, b)
	return b
}

const latency = 10 * time.Millisecond

func newRig(t tb, site *machine.Site, start time.Time) *rig {
	r := &rig{t: t, site: site, blank: blankOf(site), start: start, synced: true, dieAt: -1, coarse: 15 * time.Second, readings: map[string]float64{},
		planted: map[commandTopic]bool{}, online: map[string]bool{}, offline: map[string]bool{}, alerts: map[string]machine.AlertView{}, linkUp: true}
	var err error
	if r.board, err = simnode.NewBoard(simnode.BoardOptions{RatesMLPerMin: []float64{boardRate, boardRate, boardRate},
		MaxRun: 2 * time.Minute, Boot: 1, BootTime: time.Second, IDAware: true, KeepsIDs: true, HasClock: true}); err != nil {
		t.Fatalf("%v", err)
	}
	if r.relay, err = simnode.NewRelay(simnode.RelayOptions{RatesMLPerMin: []float64{relayRate}, AutoOff: time.Minute, Feedback: true,
		BootTime: time.Second, OnOff: func(p []byte) (bool, float64, bool) { return string(p) == "on", 0, true }}); err != nil {
		t.Fatalf("%v", err)
	}
	if slices.ContainsFunc(site.Nodes, func(n machine.Node) bool { return n.Style == machine.Supply }) {
		r.supply, _ = simnode.NewSupply(simnode.SupplyOptions{Off: func(p []byte) bool { return string(p) == "off" }})
	}
	for _, n := range r.nodes() {
		r.fromNode(n, r.node(n).Connect(r.trueTime()))
	}
	r.check.init(site)
	r.fold()
	return r
}

func (r *rig) nodes() []string {
	if r.supply != nil {
		return []string{"board", "plug", "feed"}
	}
	return []string{"board", "plug"}
}

func (r *rig) node(id string) simnode.Node {
	if id == "feed" {
		return r.supply
	}
	if id == "plug" {
		return r.relay
	}
	return r.board
}

func (r *rig) trueTime() time.Time { return r.start.Add(r.now) }

func (r *rig) instant() safety.Instant {
	return safety.Instant{Wall: r.trueTime().Add(r.offset), Mono: r.now - r.born, Synced: r.synced}
}

// fold makes a state of the rows, as a new process does.
func (r *rig) fold() {
	r.state = r.foldOf(r.rows)
}

func (r *rig) foldOf(rows []machine.Row) machine.State {
	f := r.blank.Fold()
	for _, row := range rows {
		f.Add(row)
	}
	return f.State()
}

// boot starts a process on the rows.
func (r *rig) boot() {
	r.births++
	r.born, r.alive = r.now, true
	r.inbox = nil
	r.fold()
	r.trace.fold(len(r.rows))
	r.step(machine.Booted{Instance: fmt.Sprintf("process-%d", r.births)})
	if r.linkUp {
		r.connect()
	}
}

// crash ends the process without a word.
func (r *rig) crash() {
	r.alive = false
	r.inbox = nil
}

func (r *rig) stop() {
	r.step(machine.Stopping{Reason: "asked to"})
	r.crash()
}

// connect opens the machine's connection: the event, then everything that the broker retains.
func (r *rig) connect() {
	r.linkUp = true
	if !r.alive {
		return
	}
	r.step(machine.LinkChanged{Up: true})
	if r.owner != nil {
		r.soon(machine.OwnerSeen(ownerSeen(*r.owner)))
	}
	for _, n := range r.nodes() {
		r.soon(machine.NodeOnline{Node: n, Up: r.online[n]})
	}
	r.soon(machine.Switched{Node: "plug", Output: 1, On: r.isOn, Retained: true})
	if r.supply != nil {
		r.soon(machine.Switched{Node: "feed", Output: machine.SupplyOutput, On: r.fedBy, Retained: true})
	}
	for _, at := range r.plantedTopics() {
		r.soon(machine.CommandSeen{Node: at.node, Output: at.output, Stop: at.stop, Retained: true})
	}
}

func ownerSeen(w machine.WriteOwner) machine.OwnerSeen {
	return machine.OwnerSeen{Instance: w.Instance, Epoch: w.Epoch, At: w.At}
}

func (r *rig) plantedTopics() []commandTopic {
	var out []commandTopic
	for at := range r.planted {
		out = append(out, at)
	}
	sort.Slice(out, func(i, j int) bool { return fmt.Sprint(out[i]) < fmt.Sprint(out[j]) })
	return out
}

// cut closes the machine's connection: what is under way to it is lost.
func (r *rig) cut() {
	r.linkUp = false
	r.inbox = nil
	if r.alive {
		r.step(machine.LinkChanged{Up: false})
	}
}

// soon puts a message on its way to the machine.
func (r *rig) soon(e machine.Event) { r.later(latency, e) }

func (r *rig) later(d time.Duration, e machine.Event) {
	if !r.alive || !r.linkUp {
		return
	}
	r.inbox = append(r.inbox, parcel[machine.Event]{r.now + d, e})
	slices.SortStableFunc(r.inbox, func(a, b parcel[machine.Event]) int { return int(a.at - b.at) })
}

// step lets the machine decide and does what it says.
func (r *rig) step(e machine.Event) {
	if !r.alive {
		return
	}
	now := r.instant()
	r.stepped = r.now
	var effects []machine.Effect
	r.state, effects = machine.Step(r.state, now, e)
	r.trace.step(r.t, now, e, effects)
	for _, next := range r.perform(effects) {
		r.step(next)
	}
}

// perform does effects in order. Behind an append that failed only stops and removals are done.
func (r *rig) perform(effects []machine.Effect) (next []machine.Event) {
	dieAt := -1
	if r.dieAt >= 0 && (r.dieWhole || sendsRun(effects)) {
		dieAt, r.dieAt = min(r.dieAt, len(effects)-1), -1
	}
	broken := false
	var reserved []machine.RunReserved
	for i, e := range effects {
		if i == dieAt {
			r.crash()
			return nil
		}
		switch e := e.(type) {
		case machine.Append:
			if r.appendFails {
				broken = true
				next = append(next, machine.LedgerBroke{Text: "no space left on the disk"})
				continue
			}
			reserved = append(reserved, r.write(e.Rows)...)
		case machine.StopRuns:
			r.sendStop(e)
		case machine.ClearRetained:
			r.clear(e)
		default:
			if broken {
				continue
			}
			if run, ok := e.(machine.SendRun); ok {
				r.check.sent(r, run, reserved)
				if !r.sendRun(run) {
					next = append(next, machine.SendFailed{Run: run.Run})
				}
			}
			r.tell(e)
		}
		if r.told != nil && !(broken && !isUrgent(e)) {
			r.told(r.trueTime(), e)
		}
	}
	return next
}

func isUrgent(e machine.Effect) bool {
	switch e.(type) {
	case machine.StopRuns, machine.ClearRetained:
		return true
	}
	return false
}

func sendsRun(effects []machine.Effect) bool {
	return slices.ContainsFunc(effects, func(e machine.Effect) bool { _, ok := e.(machine.SendRun); return ok })
}

// write puts rows into the ledger as they will be read back.
func (r *rig) write(rows []machine.Row) (reserved []machine.RunReserved) {
	r.t.Helper()
	for _, row := range rows {
		body, err := machine.EncodeBody(row.Body)
		if err != nil {
			r.t.Fatalf("row %d (%s) cannot be written: %v", row.Seq, row.Body.Kind(), err)
		}
		if row.Body, err = machine.DecodeBody(row.Body.Kind(), string(body)); err != nil {
			r.t.Fatalf("row %d cannot be read back: %v", row.Seq, err)
		}
		r.check.row(r, row)
		r.rows = append(r.rows, row)
		if b, ok := row.Body.(machine.RunReserved); ok {
			reserved = append(reserved, b)
		}
	}
	return reserved
}

// tell keeps what the tests look at, and lets the broker answer.
func (r *rig) tell(e machine.Effect) {
	switch e := e.(type) {
	case machine.Answer:
		r.answers = append(r.answers, e.Answered)
	case machine.ShowAlert:
		if e.Raised {
			r.alerts[e.Name] = e.AlertView
		} else {
			delete(r.alerts, e.Name)
		}
	case machine.WriteOwner:
		if r.linkUp {
			r.owner = &e
			r.soon(ownerSeen(e))
		}
	case machine.ClearOwner:
		r.owner = nil
	}
}

func (r *rig) sendRun(run machine.SendRun) bool {
	if !r.linkUp || r.now-r.born > run.NotAfter {
		return false
	}
	r.echo(machine.CommandSeen{Node: run.Node, Output: run.Output, Run: run.Run, Serial: run.Serial})
	c := simnode.Command{Kind: simnode.Run, Output: run.Output, Payload: []byte("on")}
	if run.Node == "board" {
		c.Payload, _ = json.Marshal(map[string]any{"v": 1, "id": run.Run, "seconds": run.Duration.Seconds(), "volume_ml": run.Volume.Millilitres(), "expires": run.Expires})
	}
	if r.net.loseRuns {
		return true
	}
	p := parcel[toNode]{r.now + latency + r.net.delayRuns, toNode{run.Node, c, &run.RunReserved}}
	r.outbox = append(r.outbox, p)
	if r.net.doubleRuns && run.Node == "board" {
		p.at += time.Second
		r.outbox = append(r.outbox, p)
	}
	return true
}

func (r *rig) sendStop(s machine.StopRuns) {
	if !r.linkUp {
		return
	}
	if s.Node != "feed" {
		r.echo(machine.CommandSeen{Node: s.Node, Output: s.Output, Stop: true, Run: s.Run, Serial: s.Serial})
	}
	if r.net.loseStops {
		return
	}
	c := simnode.Command{Kind: simnode.Stop, Output: s.Output, Payload: []byte("off")}
	if s.Node == "board" {
		c.Payload, _ = json.Marshal(map[string]any{"v": 1, "id": s.Run})
	}
	r.outbox = append(r.outbox, parcel[toNode]{r.now + latency, toNode{s.Node, c, nil}})
}

func (r *rig) echo(e machine.CommandSeen) {
	if !r.net.deafToEchoes {
		r.soon(e)
	}
}

// clear removes a retained command; the broker passes the empty message on.
func (r *rig) clear(e machine.ClearRetained) {
	if r.linkUp {
		delete(r.planted, commandTopic{e.Node, e.Output, e.Stop})
		r.soon(machine.CommandSeen{Node: e.Node, Output: e.Output, Stop: e.Stop, Empty: true})
	}
}

// plant has somebody retain a command on a command topic.
func (r *rig) plant(node string, output int) {
	r.planted[commandTopic{node, output, false}] = true
	r.soon(machine.CommandSeen{Node: node, Output: output, Retained: true})
}

// until lets time pass up to a true time of day.
func (r *rig) until(at time.Time) { r.advance(max(0, at.Sub(r.trueTime()))) }
