package bridge

import (
	"context"
	"fmt"
	"log/slog"
	"runtime/debug"
	"sync/atomic"
	"time"

	"aliquot/bridge/discovery"
	"aliquot/bridge/machine"
	"aliquot/bridge/node"
	"aliquot/bridge/topics"
)

// Options are the parts of a bridge.
type Options struct {
	Site       *machine.Site
	State      machine.State // folded from the ledger
	Instance   string        // unique to this process
	LedgerLost string        // why the ledger may be older than what was dosed, else empty
	Layout     topics.Layout
	Nodes      []*node.Codec
	Probes     []ProbeInput
	Levels     []LevelInput
	Ledger     Ledger
	Retained   RetainedTopics       // nil: topics that are no longer true stay at the broker
	Announcer  *discovery.Announcer // nil: nothing is announced to dashboards
	Link       Link
	Metrics    Metrics
	Notifier   Notifier // nil: alerts are told at the broker alone
	Clock      Clock
	Logger     *slog.Logger
	// Turned, where given, is called by the loop at each of its turns, at least once a second while it lives: a sign of
	// life for whoever watches the process.
	Turned func(ledgerGood bool)
}

// Bridge is a running site.
type Bridge struct {
	o     Options
	state machine.State

	halt     chan struct{}      // a stop waits behind others: every pump is told at once, and the stop keeps its turn
	vital    chan item          // what must not be lost: it makes the sender wait
	readings chan machine.Event // what may be: the newest reading is worth most
	rest     *pause             // until it is over no reading is taken
	hush     *pause             // until it is over no state is told

	in        *inbox
	codecs    map[string]*node.Codec // by the node's id
	published map[string]string      // retained state as last published
	states    telling
	shelf     shelf
	dirty     bool
	shown     time.Time // when the retained state was last looked through
	stalled   bool      // the last message that only tells was not taken in time
	unsaid    int       // stops that did not get out
	torn      bool      // the ledger did not take a row
	view      atomic.Pointer[machine.SiteView]
	began     time.Time
	turned    atomic.Int64 // the last turn of the loop, nanoseconds since began
	done      chan struct{}
}

// item is an event, or a message of a node that becomes one: a codec remembers what it sent, so that only the loop
// may ask it.
type item struct {
	event machine.Event
	node  *Message
	birth bool // a dashboard has started
}

const (
	vitalQueue    = 4096
	readingsQueue = 4096
	// readingsAtOnce is how many readings are handed to the machine together, and readEvery how often where no more wait:
	// what follows from readings is looked for once for all of them, and a stop waits for no more.
	readingsAtOnce = 512
	readEvery      = 10 * time.Millisecond
	// messagesAtOnce is how many messages of nodes are handled together: a stop waits for no more.
	messagesAtOnce = 64
	// showEvery is how often the retained state is published while it changes; after a request it follows at once, unless
	// it was published within showGap.
	showEvery = time.Second
	showGap   = 200 * time.Millisecond
)

// New puts the parts together. Run starts it.
func New(o Options) *Bridge {
	b := &Bridge{o: o, state: o.State, halt: make(chan struct{}, 1), vital: make(chan item, vitalQueue), readings: make(chan machine.Event, readingsQueue),
		published: map[string]string{}, codecs: map[string]*node.Codec{}, began: time.Now(), done: make(chan struct{})}
	b.forgetStates()
	b.in = newInbox(o, b)
	for _, c := range o.Nodes {
		b.codecs[c.ID()] = c
	}
	return b
}

// Run is the loop that owns the state. It ends when the context does, after it has told every pump to stop, or
// with an error if the machine panicked, likewise.
func (b *Bridge) Run(ctx context.Context) (err error) {
	defer close(b.done)
	defer func() {
		if p := recover(); p != nil {
			b.stopPumps()
			err = fmt.Errorf("the machine failed: %v\n%s", p, debug.Stack())
		}
	}()
	b.step(machine.Booted{Instance: b.o.Instance, LedgerLost: b.o.LedgerLost})
	show := time.NewTicker(showEvery)
	defer show.Stop()
	b.rest, b.hush = newPause(), newPause()
	defer b.rest.stop()
	defer b.hush.stop()
	for ctx.Err() == nil {
		b.turn(ctx, show.C)
	}
	b.unsaid = 0
	b.step(machine.Stopping{Reason: "the service was told to stop"})
	if b.unsaid > 0 {
		b.o.Logger.Error("not every pump could be told to stop: there is no connection; look at the pumps", "outputs", b.unsaid)
	} else {
		b.o.Logger.Info("every pump was told to stop")
	}
	b.show()
	b.flushStates()
	b.assure(Message(b.o.Layout.Will()))
	return nil
}

// turn waits for one event and handles it.
func (b *Bridge) turn(ctx context.Context, show <-chan time.Time) {
	wake, drop := b.o.Clock.WakeAt(machine.NextWake(&b.state))
	defer drop()
	b.turned.Store(int64(time.Since(b.began)))
	if b.o.Turned != nil {
		b.o.Turned(!b.torn)
	}
	select {
	case <-b.halt:
		b.step(machine.Asked{Request: machine.Request{Verb: machine.VerbStop, All: true}})
		return
	default:
	}
	select {
	case i := <-b.vital:
		b.take(i)
		return
	default:
	}
	states := b.nextStates()
	readings := b.readings
	if b.rest.on {
		readings = nil
	}
	select {
	case <-ctx.Done():
	case i := <-b.vital:
		b.take(i)
	case e := <-readings:
		list := b.gather(e)
		b.step(list)
		if len(list) < readingsAtOnce {
			b.rest.begin(readEvery)
		}
	case <-b.rest.over():
		b.rest.on = false
	case <-b.hush.over():
		b.hush.on = false
	case <-states:
	case <-wake:
		b.step(machine.Woke{})
	case <-show:
		b.show()
		b.tidy()
	}
}

// gather takes the readings that wait behind a first one.
func (b *Bridge) gather(first machine.Event) machine.Readings {
	list := machine.Readings{first}
	for len(list) < readingsAtOnce {
		select {
		case e := <-b.readings:
			list = append(list, e)
		default:
			return list
		}
	}
	return list
}

func (b *Bridge) take(i item) {
	switch {
	case i.birth:
		b.dashboardStarted()
		return
	case i.node == nil:
		b.step(i.event)
		if _, asked := i.event.(machine.Asked); asked && time.Since(b.shown) >= showGap {
			b.show() // whoever asked looks next at what came of it
		}
		return
	}
	b.hear(i)
}

// hear handles a node's message together with those of nodes that wait behind it: a hundred runs that began together end
// together, and what takes the time is to bring each report to the disk.
func (b *Bridge) hear(first item) {
	events := b.heard(*first.node)
	var other *item // what comes behind them is no message of a node
	for n, more := 1, true; more && other == nil && n < messagesAtOnce; n++ {
		select {
		case i := <-b.vital:
			if i.node == nil {
				other = &i
				continue
			}
			events = append(events, b.heard(*i.node)...)
		default:
			more = false
		}
	}
	b.stepAll(events)
	if other != nil {
		b.take(*other)
	}
}

// stepAll lets the machine decide on each event, and does what it says: at once where a node is told anything, else when all
// of them have been decided on.
func (b *Bridge) stepAll(events []machine.Event) {
	var steps [][]machine.Effect
	for i, e := range events {
		var effects []machine.Effect
		b.state, effects = machine.Step(b.state, b.o.Clock.Now(), e)
		b.dirty = true
		if steps = append(steps, effects); !machine.Commands(effects) && i < len(events)-1 {
			continue
		}
		for _, next := range b.perform(machine.Join(steps)) {
			b.step(next)
		}
		steps = nil
	}
}

// step lets the machine decide and does what it says. Effects may cause events of their own, which follow at once.
func (b *Bridge) step(e machine.Event) {
	var effects []machine.Effect
	b.state, effects = machine.Step(b.state, b.o.Clock.Now(), e)
	b.dirty = true
	for _, next := range b.perform(effects) {
		b.step(next)
	}
}

// Done is closed when Run has ended.
func (b *Bridge) Done() <-chan struct{} { return b.done }

// View is the newest snapshot of the site; false before the first.
func (b *Bridge) View() (machine.SiteView, bool) {
	if v := b.view.Load(); v != nil {
		return *v, true
	}
	return machine.SiteView{}, false
}

// Turned is when the loop last turned; it carries monotonic time.
func (b *Bridge) Turned() time.Time { return b.began.Add(time.Duration(b.turned.Load())) }

// offer hands an event to the loop. Readings are dropped when the loop is behind; anything else waits for room,
// or for the end of the loop.
func (b *Bridge) offer(e machine.Event) {
	switch e.(type) {
	case machine.ProbeRead, machine.LevelRead:
		select {
		case b.readings <- e:
		default:
			b.o.Metrics.Dropped()
		}
		return
	}
	b.queue(item{event: e})
}

func (b *Bridge) queue(i item) {
	select {
	case b.vital <- i:
	case <-b.done:
	}
}

// AlertWay says why a way beside the broker carries no alerts, or that it does again: empty.
func (b *Bridge) AlertWay(way, why string) { b.offer(machine.AlertWay{Way: way, Why: why}) }

// LinkUp and LinkDown are told by the connection.
func (b *Bridge) LinkUp()   { b.offer(machine.LinkChanged{Up: true}) }
func (b *Bridge) LinkDown() { b.offer(machine.LinkChanged{Up: false}) }

// pause is a time in which the loop leaves something be.
type pause struct {
	timer *time.Timer
	on    bool
}

func newPause() *pause {
	t := time.NewTimer(time.Hour)
	t.Stop()
	return &pause{timer: t}
}

func (p *pause) begin(d time.Duration) { p.on = true; p.timer.Reset(d) }

// over receives once when the pause is over; the receiver puts it off.
func (p *pause) over() <-chan time.Time { return p.timer.C }

func (p *pause) stop() { p.timer.Stop() }
