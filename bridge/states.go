package bridge

import (
	"errors"
	"time"

	"aliquot/bridge/topics"
)

// telling is what has yet to be published of the retained state, and what is on its way, of any kind. A farm has thousands of
// states, many of which change each second: if the loop waited for each to be acknowledged it would do nothing else.
type telling struct {
	order   []string                  // topics, in the order in which they fell due
	waiting map[string]topics.Message // the newest of each; a topic of order that is not here has been dealt with
	sent    []onItsWay                // not yet acknowledged, the oldest first
}

type onItsWay struct {
	topic   string
	settled <-chan struct{}
	at      time.Time
}

const (
	// statesAtOnce is how many states are handed over in one turn of the loop, and statesEvery how often: a stop waits for
	// no more, and a broker has other things to do.
	statesAtOnce = 32
	statesEvery  = 20 * time.Millisecond
	// statesAhead is how many may be on their way: what is published behind them waits for the broker to read them. Of
	// messages of any kind mostAhead are, before one is waited for.
	statesAhead = 64
	mostAhead   = 256
	// flushMost bounds how long the last states may take.
	flushMost = 2 * time.Second
)

var errSilent = errors.New("the broker did not acknowledge it in time")

// ready is closed: it is for a select that has something to do.
var ready = func() <-chan struct{} {
	c := make(chan struct{})
	close(c)
	return c
}()

// lineUp lets a state be told if it differs from what was published last over this connection. One that waits already gives
// way to it.
func (b *Bridge) lineUp(m topics.Message) {
	last, known := b.published[m.Topic]
	changed := !known || last != string(m.Payload)
	_, waits := b.states.waiting[m.Topic]
	switch {
	case !changed:
		delete(b.states.waiting, m.Topic)
	case waits:
		b.states.waiting[m.Topic] = m
	default:
		b.states.waiting[m.Topic] = m
		b.states.order = append(b.states.order, m.Topic)
	}
}

// forgetStates is for a new connection: what waited is told anew, and nobody acknowledges what went over the old one.
func (b *Bridge) forgetStates() {
	b.states = telling{waiting: map[string]topics.Message{}}
}

// nextStates hands over the states that are next, unless some were just before. What it gives is ready when the loop should
// ask again; nil: another thing wakes it.
func (b *Bridge) nextStates() <-chan struct{} {
	switch {
	case b.hush.on:
		return nil
	case b.tellStates():
		b.hush.begin(statesEvery)
		return nil
	}
	return b.moreStates()
}

// tellStates hands over some of the states that wait, and says whether there were any. It waits for nobody.
func (b *Bridge) tellStates() (told bool) {
	s := &b.states
	if len(s.order)+len(s.sent) == 0 {
		return false
	}
	if !b.o.Link.Open() {
		b.forgetStates()
		return false
	}
	b.settle()
	for n := 0; n < statesAtOnce && len(s.order) > 0 && len(s.sent) < statesAhead; {
		topic := s.order[0]
		s.order = s.order[1:]
		if m, waits := s.waiting[topic]; waits {
			delete(s.waiting, topic)
			b.keep(m)
			told = true
			n++
		}
	}
	return told
}

// keep hands a retained message over, and remembers it.
func (b *Bridge) keep(m topics.Message) {
	if len(m.Payload) > 0 {
		b.remember(m.Topic)
	}
	b.published[m.Topic] = string(m.Payload)
	b.post(Message(m))
}

// post hands a message over that is not waited for.
func (b *Bridge) post(m Message) {
	settled, err := b.o.Link.Post(m, b.patience())
	if err != nil {
		b.stall(m.Topic, err)
		return
	}
	b.states.sent = append(b.states.sent, onItsWay{m.Topic, settled, time.Now()})
}

// makeRoom waits until one more message may be on its way, as long as such a message is waited for at all.
func (b *Bridge) makeRoom() {
	if b.settle(); len(b.states.sent) < mostAhead {
		return
	}
	late := time.NewTimer(b.patience())
	defer late.Stop()
	select {
	case <-b.states.sent[0].settled:
		b.settle()
	case <-late.C:
		b.giveUp()
	}
}

// settle takes note of what was acknowledged. If the oldest has waited too long none is waited for any longer: the next
// connection tells everything again.
func (b *Bridge) settle() {
	s := &b.states
	for len(s.sent) > 0 {
		select {
		case <-s.sent[0].settled:
			s.sent, b.stalled = s.sent[1:], false
			continue
		default:
		}
		if time.Since(s.sent[0].at) >= stateWait {
			b.giveUp()
		}
		return
	}
}

// giveUp waits for nothing any more that is on its way.
func (b *Bridge) giveUp() {
	b.stall(b.states.sent[0].topic, errSilent)
	b.states.sent = nil
}

// moreStates is ready when the next state can be handed over; nil if none waits.
func (b *Bridge) moreStates() <-chan struct{} {
	switch s := &b.states; {
	case len(s.waiting) == 0:
		return nil
	case len(s.sent) < statesAhead:
		return ready
	default:
		return s.sent[0].settled
	}
}

// flushStates tells all that waits, at the end of the loop. A broker that does not answer is not waited for.
func (b *Bridge) flushStates() {
	late := time.NewTimer(flushMost)
	defer late.Stop()
	for more := b.moreStates(); more != nil && !b.stalled; more = b.moreStates() {
		select {
		case <-more:
			b.tellStates()
		case <-late.C:
			return
		}
	}
}
