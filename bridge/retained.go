package bridge

import (
	"slices"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/topics"
)

// RetainedTopics remembers, over restarts, on which topics retained messages of ours may stand at the broker.
type RetainedTopics interface {
	RetainedTopics() ([]string, error)
	SetRetainedTopics(topics []string) error
}

const (
	// atOnce is how many announcements and removals leave in one second: a small broker has other things to do, and a
	// stop must not wait behind them (INV-11).
	atOnce = 40
	// birthPause is the least time between two rounds of announcements that a dashboard asked for.
	birthPause = 10 * time.Second
)

// shelf is what stands retained at the broker, and what has yet to go there or to be taken away.
type shelf struct {
	known    map[string]bool  // as remembered; nil: not read yet
	announce []topics.Message // for dashboards, and removals of such
	remove   []string         // topics that are no longer true: last, so that nothing reads an emptied one
	shorter  bool             // topics have gone from known since it was stored
	again    bool             // every state has to be published once more, behind the announcements
	birth    time.Time        // when a dashboard's start was answered last
}

// shelve notes every topic that this configuration retains before anything is published there, so that no crash
// leaves one behind unknown, and lines up what has to be removed.
func (b *Bridge) shelve(v machine.SiteView, current []topics.Message) {
	b.shelf.announce, b.shelf.remove = nil, nil
	if a := b.o.Announcer; a != nil {
		b.shelf.announce = a.Announce(v)
		current = append(current, b.shelf.announce...)
	}
	if b.o.Retained == nil {
		return
	}
	wanted := map[string]bool{b.o.Layout.Availability(): true, b.o.Layout.About(): true, b.o.Layout.Owner(): true}
	for _, m := range current {
		wanted[m.Topic] = true
	}
	if !b.recall() {
		return
	}
	for _, topic := range sorted(b.shelf.known) {
		switch {
		case wanted[topic]:
		case isConfig(topic):
			b.shelf.announce = append(b.shelf.announce, topics.Message{Topic: topic, QoS: 1, Retained: true})
		default:
			b.shelf.remove = append(b.shelf.remove, topic)
		}
	}
	b.remember(sorted(wanted)...)
}

// isConfig knows an announcement by its end: none of our own topics ends so.
func isConfig(topic string) bool {
	const end = "/config"
	return len(topic) > len(end) && topic[len(topic)-len(end):] == end
}

// recall reads the list once.
func (b *Bridge) recall() bool {
	if b.shelf.known != nil {
		return true
	}
	list, err := b.o.Retained.RetainedTopics()
	if err != nil {
		b.o.Logger.Warn("the list of retained topics cannot be read; none that is no longer true is removed", "error", err)
		return false
	}
	b.shelf.known = map[string]bool{}
	for _, topic := range list {
		b.shelf.known[topic] = true
	}
	return true
}

// remember adds topics to the list, on disk before anything is published on them.
func (b *Bridge) remember(list ...string) {
	if b.o.Retained == nil || !b.recall() {
		return
	}
	fresh := false
	for _, topic := range list {
		fresh = fresh || !b.shelf.known[topic]
		b.shelf.known[topic] = true
	}
	if fresh {
		b.store()
	}
}

func (b *Bridge) store() {
	if err := b.o.Retained.SetRetainedTopics(sorted(b.shelf.known)); err != nil {
		b.o.Logger.Warn("the list of retained topics cannot be written; a topic may stay at the broker after the configuration has changed", "error", err)
	}
}

// tidy sends the next announcements, and when there are none left removes what is no longer true.
func (b *Bridge) tidy() {
	if !b.o.Link.Open() || b.stalled {
		return
	}
	if n := min(atOnce, len(b.shelf.announce)); n > 0 {
		for _, m := range b.shelf.announce[:n] {
			if len(m.Payload) > 0 {
				b.lineUp(m)
				continue
			}
			if b.remove(m.Topic) {
				b.forget(m.Topic)
			}
		}
		b.shelf.announce = b.shelf.announce[n:]
		return
	}
	if b.shelf.again {
		b.shelf.again, b.dirty = false, true
		clear(b.published)
		b.show()
	}
	n := min(atOnce, len(b.shelf.remove))
	for _, topic := range b.shelf.remove[:n] {
		if b.remove(topic) {
			b.forget(topic)
		}
	}
	b.shelf.remove = b.shelf.remove[n:]
	if b.shelf.shorter && len(b.shelf.remove) == 0 {
		b.shelf.shorter = false
		b.store()
	}
}

func (b *Bridge) forget(topic string) {
	delete(b.shelf.known, topic)
	b.shelf.shorter = true
	b.o.Logger.Info("a topic that is no longer true was removed", "topic", topic)
}

// dashboardStarted tells a dashboard everything again: it may have missed what came before it listened.
func (b *Bridge) dashboardStarted() {
	now := time.Now()
	if len(b.shelf.announce) > 0 || now.Sub(b.shelf.birth) < birthPause {
		return
	}
	b.shelf.birth = now
	v := machine.Snapshot(&b.state)
	b.shelf.announce = b.o.Announcer.Announce(v)
	for _, m := range b.shelf.announce {
		delete(b.published, m.Topic)
	}
	// The dashboard gets retained states as soon as it subscribes, but a broker that started together with it may have
	// lost them.
	b.shelf.again = true
}

func sorted(set map[string]bool) []string {
	list := make([]string, 0, len(set))
	for topic, in := range set {
		if in {
			list = append(list, topic)
		}
	}
	slices.Sort(list)
	return list
}
