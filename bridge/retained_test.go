package bridge

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"aliquot/bridge/discovery"
	"aliquot/bridge/topics"
	"aliquot/planner/units"
)

// list is a memory of retained topics that can break.
type list struct {
	mu            sync.Mutex
	topics        []string
	noRead, noSet error
	sets          int
}

func (l *list) RetainedTopics() ([]string, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Clone(l.topics), l.noRead
}

func (l *list) SetRetainedTopics(topics []string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.sets++
	if l.noSet != nil {
		return l.noSet
	}
	l.topics = slices.Clone(topics)
	return nil
}

func announced(l *list) func(*Options) {
	return func(o *Options) {
		o.Retained = l
		o.Announcer = &discovery.Announcer{Prefix: "homeassistant", Layout: topics.Layout{Prefix: "aliquot", Site: "shed"},
			Entries: []discovery.Entry{{System: "tub", Quantity: units.Alkalinity, Unit: "dKH"}}}
	}
}

// removals lists emptied topics in the order in which they were emptied.
func (w *wire) removals() (out []string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, m := range w.sent {
		if m.Retained && len(m.Payload) == 0 {
			out = append(out, m.Topic)
		}
	}
	return out
}

// What an earlier configuration left is emptied, announcements before what they read, and nothing else is.
func TestLeftoversGo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		kept := &list{topics: []string{"aliquot/shed/availability", "aliquot/shed/state/channel/alk", "aliquot/shed/state/channel/old",
			"aliquot/older/about", "aliquot/shed/alert/gone", "homeassistant/sensor/aliquot_shed/channel_old_today/config"}}
		r := startRig(t, announced(kept))
		r.connect()
		time.Sleep(10 * time.Second)
		synctest.Wait()
		want := []string{"homeassistant/sensor/aliquot_shed/channel_old_today/config", "aliquot/older/about", "aliquot/shed/alert/gone", "aliquot/shed/state/channel/old"}
		if got := r.wire.removals(); !slices.Equal(got, want) {
			t.Errorf("emptied %v; want %v", got, want)
		}
		for _, topic := range want {
			if slices.Contains(kept.topics, topic) {
				t.Errorf("%s is still remembered", topic)
			}
		}
		for _, topic := range []string{"aliquot/shed/owner", "aliquot/shed/about", "aliquot/shed/state/site", "homeassistant/event/aliquot_shed/site_event/config"} {
			if !slices.Contains(kept.topics, topic) {
				t.Errorf("%s is not remembered", topic)
			}
		}
		sets := kept.sets
		r.wire.mu.Lock()
		r.wire.open = false
		r.wire.mu.Unlock()
		r.b.LinkDown()
		r.connect()
		time.Sleep(10 * time.Second)
		synctest.Wait()
		if got := r.wire.removals(); len(got) != len(want) || kept.sets > sets+1 {
			t.Errorf("after a new connection: emptied %v, written %d times more; want nothing new", got[len(want):], kept.sets-sets)
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}

// Every topic is remembered before it is published on, so that no crash leaves one behind unknown.
func TestRememberedBeforePublished(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		kept := &list{}
		r := startRig(t, announced(kept))
		r.wire.mu.Lock()
		r.wire.notify = func(m Message) {
			if known, _ := kept.RetainedTopics(); m.Retained && len(m.Payload) > 0 && !slices.Contains(known, m.Topic) {
				t.Errorf("%s was published before it was remembered", m.Topic)
			}
			r.broker(m)
		}
		r.wire.mu.Unlock()
		r.connect()
		r.ask("out-of-service", map[string]any{"ref": "o", "channel": "alk", "reason": "an alert"})
		time.Sleep(20 * time.Second)
		synctest.Wait()
		if known, _ := kept.RetainedTopics(); !slices.ContainsFunc(known, func(s string) bool { return strings.Contains(s, "/alert/lockout-alk") }) {
			t.Errorf("the alert is not remembered: %v", known)
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}

// A list that cannot be read or written costs nothing but the tidying.
func TestABrokenListStopsNothing(t *testing.T) {
	for name, kept := range map[string]*list{"not read": {noRead: errors.New("disk"), topics: []string{"aliquot/shed/state/channel/old"}}, "not written": {noSet: errors.New("disk")}} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				r := startRig(t, announced(kept))
				r.connect()
				time.Sleep(10 * time.Second)
				synctest.Wait()
				if a := r.ask("hold", map[string]any{"ref": "h", "all": true}); a["ok"] != true {
					t.Errorf("a hold answers %v", a)
				}
				if len(r.wire.removals()) > 0 || len(r.wire.on("homeassistant/event/aliquot_shed/site_event/config")) != 1 {
					t.Errorf("removed %v; want nothing, and every announcement made", r.wire.removals())
				}
				if !strings.Contains(r.log.String(), "list of retained topics cannot be") {
					t.Error("the log does not tell")
				}
				if err := r.stop(); err != nil {
					t.Error(err)
				}
			})
		})
	}
}

// Announcements leave a few at a time, and a flood of births makes no flood of them.
func TestAnnouncementsAreGentle(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		kept := &list{}
		for i := range 100 {
			kept.topics = append(kept.topics, fmt.Sprintf("aliquot/shed/state/channel/old-%d", i))
		}
		r := startRig(t, announced(kept))
		perSecond := map[int64]int{}
		const one = "homeassistant/event/aliquot_shed/site_event/config"
		r.wire.mu.Lock()
		r.wire.notify = func(m Message) {
			if strings.HasPrefix(m.Topic, "homeassistant/") || len(m.Payload) == 0 {
				perSecond[time.Now().Unix()]++
			}
			r.broker(m)
		}
		r.wire.mu.Unlock()
		r.connect()
		time.Sleep(20 * time.Second)
		synctest.Wait()
		for second, n := range perSecond {
			if n > atOnce {
				t.Errorf("%d announcements and removals in second %d; want at most %d", n, second, atOnce)
			}
		}
		if got := len(r.wire.removals()); got != 100 {
			t.Errorf("%d topics were emptied; want 100", got)
		}
		before, states := len(r.wire.on(one)), len(r.wire.on("aliquot/shed/state/container/can"))
		for range 30 {
			r.b.Deliver(Message{Topic: "homeassistant/status", Payload: []byte("online")})
			time.Sleep(300 * time.Millisecond)
		}
		if got := len(r.wire.on(one)) - before; got != 1 {
			t.Errorf("30 births in 9 s bring %d rounds of announcements; want 1", got)
		}
		if len(r.wire.on("aliquot/shed/state/container/can")) == states {
			t.Error("the states do not follow the announcements")
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}
