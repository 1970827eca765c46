package faultsim

import (
	"fmt"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/node"
	"aliquot/safety"
)

// host is a computer with the daemon on it: its clock, its disk, its ledger, and the process that lives at the moment.
type host struct {
	w     *world
	index int // 0: the daemon's own, 1: the second one's
	copy  int // which copy of the ledger it has; 0: the daemon's own

	offset time.Duration // of the wall clock
	synced bool
	rate   float64

	ledger ledger
	p      *process // nil: none lives
	down   int      // reasons for which no process is started
	lost   string   // why the ledger may be older than what was dosed
}

// process is one life of the daemon: a shell around Step that does what the real one does, in the order of the effects.
type process struct {
	h       *host
	number  int
	born    time.Duration
	state   machine.State
	codecs  []*node.Codec
	linkUp  bool // a connection is open, as far as the process knows
	session int
	hung    halfOpen

	items   []item           // what waits for its turn
	next    []machine.Event  // what follows from the effects under way
	effects []machine.Effect // under way
	broken  bool             // an append among them failed
	busy    time.Duration    // the disk takes until then
	waited  bool             // the append at the head of the effects has taken its time
	dieAt   int              // effects to perform of the next list that sends a run, until it dies; -1: no
	died    func()           // what then happens
	stepped time.Duration
	unsent  []machine.SendRun // of a tampered shell
}

// halfOpen is a connection that hangs, one way or both.
type halfOpen struct{ in, out bool }

// item is an event, or a message that becomes one.
type item struct {
	event   machine.Event
	message *message
}

func (h *host) instant() safety.Instant {
	w := h.w
	i := safety.Instant{Wall: w.trueTime().Add(h.offset), Mono: w.now - h.p.born, Synced: h.synced}
	return w.tamper.Clock(h.p.number, i)
}

// boot starts a process on what is on the disk.
func (h *host) boot(lost string) {
	if h.p != nil || h.down > 0 {
		return
	}
	w := h.w
	w.births++
	if lost == "" {
		lost = h.lost
	}
	p := &process{h: h, number: w.births, born: w.now, dieAt: -1}
	for _, spec := range specs(w.s) {
		c, err := node.Compile(spec)
		if err != nil {
			w.check.fail("scenario", "%v", err)
			return
		}
		p.codecs = append(p.codecs, c)
	}
	fold := h.fold()
	p.state = fold.State()
	h.p, h.ledger.failed, h.ledger.failNext = p, false, 0
	w.check.born(p)
	w.note("process %d starts on host %d with %d rows", p.number, h.index, len(h.ledger.rows))
	p.offer(machine.Booted{Instance: fmt.Sprintf("process-%d", p.number), LedgerLost: lost})
	w.after(300*time.Millisecond, func() { p.connect() })
}

// fold is that of the ledger. What an earlier process of this host folded is not folded again, unless the scenario says
// Whole, or the rows were tampered with: then it begins with the first row.
func (h *host) fold() *machine.Fold {
	w, l := h.w, &h.ledger
	read := w.site
	if w.raised != nil {
		read = w.raised
	}
	site := w.tamper.Site(read)
	if w.blankOf != site { // the calendars of a site are looked through once
		w.blankOf, w.blank = site, machine.NewBlank(site)
	}
	if l.foldedOf != w.blank {
		l.foldedOf, l.folded = w.blank, nil
	}
	rows := w.tamper.Rows(l.rows)
	if tampered := len(rows) > 0 && &rows[0] != &l.rows[0]; l.folded == nil || w.o.Whole || tampered {
		l.folded, l.foldedTo = w.blank.Fold(), 0
	}
	for _, r := range rows[l.foldedTo:] {
		l.folded.Add(r)
	}
	l.foldedTo = len(rows)
	return l.folded.Clone()
}

// crash ends the process without a word.
func (h *host) crash() {
	if p := h.p; p != nil {
		h.w.note("process %d dies", p.number)
		p.session++
		h.p = nil
	}
}

// restartIn starts a process after a while, if nothing else keeps the host down.
func (h *host) restartIn(d time.Duration) {
	h.down++
	h.w.after(d, func() {
		h.down--
		h.boot("")
	})
}

func (p *process) alive() bool { return p.h.p == p }

// idle is the longest time that a machine with nothing due is left alone where it is not woken every 15 s.
const idle = 10 * time.Minute

const quarter = 15 * time.Minute

// wakeAt is when the machine must be woken.
func (h *host) wakeAt() (time.Duration, bool) {
	p := h.p
	if p == nil {
		return 0, false
	}
	if p.busy > 0 {
		return p.busy, true
	}
	wake := machine.NextWake(&p.state) + p.born
	if wake-p.stepped >= 15*time.Second && !h.w.s.Awake && !h.w.running() { // a run may end between two looks
		wake = p.stepped + idle
		// The slots of the cove lie on quarters of an hour by the host's clock.
		wall := h.w.s.Start.Add(p.stepped + h.offset)
		wake = min(wake, p.stepped+wall.Truncate(quarter).Add(quarter).Sub(wall)+10*time.Millisecond)
	}
	if wake <= p.stepped { // a clock that was tampered with stands still
		wake = p.stepped + 5*time.Second
	}
	return wake, true
}

// running says whether a node is at a run, or lets something flow.
func (w *world) running() bool {
	for _, n := range w.nodes {
		for i := range n.flights {
			if n.sim.Running(i+1) || n.sim.Flowing(i+1) {
				return true
			}
		}
	}
	return false
}

func (h *host) wake() {
	p := h.p
	if p.busy > 0 {
		p.busy = 0
		p.work()
		return
	}
	p.offer(machine.Woke{})
}

// offer gives the process an event when its turn comes.
func (p *process) offer(e machine.Event) { p.take(item{event: e}) }

func (p *process) take(i item) {
	if !p.alive() {
		return
	}
	p.items = append(p.items, i)
	p.work()
}

// work does what waits, in order, until the disk makes it wait or it dies.
func (p *process) work() {
	for p.alive() && p.busy == 0 && p.h.w.check.broken == nil {
		switch {
		case len(p.effects) > 0:
			p.perform()
		case len(p.next) > 0:
			e := p.next[0]
			p.next = p.next[1:]
			p.step(e)
		case len(p.items) > 0:
			i := p.items[0]
			p.items = p.items[1:]
			if i.message != nil {
				p.next = append(p.next, p.heard(*i.message)...)
				continue
			}
			p.step(i.event)
		default:
			return
		}
	}
}

// step lets the machine decide.
func (p *process) step(e machine.Event) {
	w := p.h.w
	w.stats.Steps++
	p.stepped, p.broken = w.now, false
	p.state, p.effects = machine.Step(p.state, p.h.instant(), e)
	p.effects = w.tamper.Effects(e, p.effects)
	w.diary.stepped(w.now, e, p.effects)
	w.check.decides(p, e, p.effects)
	if p.dieAt >= 0 && sendsRun(p.effects) {
		p.effects = append(p.effects[:min(p.dieAt, len(p.effects)):min(p.dieAt, len(p.effects))], death{})
		p.dieAt = -1
	}
}

func sendsRun(effects []machine.Effect) bool {
	for _, e := range effects {
		if _, ok := e.(machine.SendRun); ok {
			return true
		}
	}
	return false
}

// death ends the process at an effect.
type death struct{ machine.Effect }

// perform does the next effect. Behind an append that failed only stops and removals are done.
func (p *process) perform() {
	e := p.effects[0]
	p.effects = p.effects[1:]
	switch e := e.(type) {
	case death:
		p.die()
	case machine.StopRuns:
		p.sendStop(e)
	case machine.ClearRetained:
		if c := p.codec(e.Node); c != nil {
			p.publish(message{topic: c.Clear(e), retained: true})
		}
	case machine.Append:
		p.append(e)
	default:
		if !p.broken {
			p.tell(e)
		}
	}
}

func (p *process) die() {
	do := p.died
	p.died = nil
	p.h.crash()
	if do != nil {
		do()
	}
}

// append is one synced transaction, which may take its time. Who dies meanwhile finds all of it or nothing.
func (p *process) append(e machine.Append) {
	l := &p.h.ledger
	if l.slow > 0 && !p.waited {
		p.effects = append([]machine.Effect{e}, p.effects...)
		p.busy, p.waited = p.h.w.now+l.slow, true
		return
	}
	p.waited = false
	if err := l.append(p.h.w, e.Rows); err != nil {
		p.broken = true
		p.next = append(p.next, machine.LedgerBroke{Text: err.Error()})
	}
}

func (p *process) tell(e machine.Effect) {
	w := p.h.w
	switch e := e.(type) {
	case machine.SendRun:
		if !p.sendRun(e) {
			if w.tamper.Unsent(e) {
				p.unsent = append(p.unsent, e)
				return
			}
			p.next = append(p.next, machine.SendFailed{Run: e.Run})
		}
	case machine.WriteOwner:
		if p.linkUp && w.broker.up && !p.hung.out {
			seen := machine.OwnerSeen{Instance: e.Instance, Epoch: e.Epoch, At: e.At}
			w.after(w.latency(), func() { w.own(seen) })
		}
	case machine.ClearOwner:
		if p.linkUp && w.broker.up && !p.hung.out {
			w.after(w.latency(), func() { w.own(machine.OwnerSeen{Gone: true}) })
		}
	case machine.Answer:
		w.keeper.heard(e.Answered)
	case machine.Happened:
		if h, ok := e.Data.(machine.WithheldEvent); ok {
			w.note("%s is withheld at %s: %s, %s", h.Channel, h.Slot, h.Code, h.Text)
		}
	case machine.ShowAlert:
		w.check.alerted(w, p, e.AlertView)
	}
}
