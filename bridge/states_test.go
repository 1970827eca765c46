package bridge

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"aliquot/bridge/topics"
)

// lateWire is a link whose broker acknowledges states when it is told to.
type lateWire struct {
	*wire
	mu   sync.Mutex
	late bool
	owed []chan struct{}
}

func (w *lateWire) Post(m Message, wait time.Duration) (<-chan struct{}, error) {
	if _, err := w.wire.Post(m, wait); err != nil {
		return nil, err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if !w.late {
		return ready, nil
	}
	c := make(chan struct{})
	w.owed = append(w.owed, c)
	return c, nil
}

func (w *lateWire) set(late bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.late = late
	if !late {
		for _, c := range w.owed {
			close(c)
		}
		w.owed = nil
	}
}

func (w *lateWire) waiting() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.owed)
}

// manyProbes is a site whose state is as large as a farm's.
func manyProbes(t *testing.T, probes int) (*rig, *lateWire) {
	t.Helper()
	w := &lateWire{}
	r := startRig(t, func(o *Options) {
		withProbes(o, probes)
		w.wire = o.Link.(*wire)
		o.Link = w
	})
	return r, w
}

func (r *rig) readAll(probes int, value string) {
	for i := range probes {
		r.b.Deliver(Message{Topic: fmt.Sprintf("shed/t%d", i), Payload: []byte(value)})
	}
}

// A broker that is slow to acknowledge thousands of states holds up neither a stop nor a reading, gets no more than it can
// take, and in the end the newest of each.
func TestINV11StatesWaitForNobody(t *testing.T) {
	const probes = 500
	synctest.Test(t, func(t *testing.T) {
		r, w := manyProbes(t, probes)
		r.connect()
		w.set(true)
		r.readAll(probes, "25.1")
		time.Sleep(1200 * time.Millisecond)
		if n := w.waiting(); n != statesAhead {
			t.Errorf("%d states are on their way; want %d", n, statesAhead)
		}
		began := time.Now()
		if a := r.ask("stop", map[string]any{"ref": "s", "all": true}); a["ok"] != true {
			t.Errorf("a stop meanwhile: %v", a)
		}
		if took := time.Since(began); took > 100*time.Millisecond {
			t.Errorf("a stop meanwhile took %v", took)
		}
		r.readAll(probes, "25.2")
		time.Sleep(time.Second)
		w.set(false)
		time.Sleep(3 * time.Second)
		for i := range probes {
			sent := r.wire.on(fmt.Sprintf("aliquot/shed/state/probe/t%d", i))
			if len(sent) == 0 || !strings.Contains(sent[len(sent)-1], "25.2") {
				t.Errorf("the last state of t%d is not its last reading: %q", i, sent)
				break
			}
		}
		if got := strings.Count(r.log.String(), "a message may not have left"); got != 1 {
			t.Errorf("that the broker is silent was said %d times; want once", got)
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}

// What is told at once is not undone by what waited in line, and of each topic only the newest is told, if it is news.
func TestAnOlderStateDoesNotFollowANewer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := startRig(t, nil)
		r.connect()
		if err := r.stop(); err != nil { // from here on the test is the loop
			t.Fatal(err)
		}
		for _, c := range []struct {
			name string
			do   func(say func(payload string) topics.Message)
			want []string
		}{
			{"removed at once", func(say func(string) topics.Message) { r.b.lineUp(say("raised")); r.b.retain(say("")) }, []string{""}},
			{"the newest", func(say func(string) topics.Message) { r.b.lineUp(say("1")); r.b.lineUp(say("2")) }, []string{"2"}},
			{"no news", func(say func(string) topics.Message) { r.b.retain(say("1")); r.b.lineUp(say("1")) }, []string{"1"}},
			{"no news after all", func(say func(string) topics.Message) {
				r.b.retain(say("1"))
				r.b.lineUp(say("2"))
				r.b.lineUp(say("1"))
			}, []string{"1"}},
			{"there and back", func(say func(string) topics.Message) {
				r.b.retain(say("1"))
				r.b.lineUp(say("2"))
				r.b.lineUp(say("1"))
				r.b.lineUp(say("3"))
			}, []string{"1", "3"}},
		} {
			topic := "aliquot/shed/alert/" + c.name
			c.do(func(payload string) topics.Message {
				return topics.Message{Topic: topic, Payload: []byte(payload), QoS: 1, Retained: true}
			})
			r.b.tellStates()
			if sent := r.wire.on(topic); !slices.Equal(sent, c.want) {
				t.Errorf("%s: told %q; want %q", c.name, sent, c.want)
			}
		}
	})
}

// The last states are told before the end; a broker that is silent then is not waited for.
func TestTheLastStatesAreTold(t *testing.T) {
	const probes = 300
	for _, silent := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			r, w := manyProbes(t, probes)
			r.connect()
			w.set(silent)
			r.readAll(probes, "25.1")
			time.Sleep(100 * time.Millisecond) // read, and not yet told
			began := time.Now()
			if err := r.stop(); err != nil {
				t.Error(err)
			}
			if took := time.Since(began); took > flushMost+stateWait {
				t.Errorf("the end took %v", took)
			}
			told := 0
			for i := range probes {
				told += len(r.wire.on(fmt.Sprintf("aliquot/shed/state/probe/t%d", i))) - 1 // one at the start
			}
			if !silent && told != probes {
				t.Errorf("%d of %d states were told at the end", told, probes)
			}
			if last := r.wire.on("aliquot/shed/availability"); last[len(last)-1] != "offline" {
				t.Errorf("the last word is %q", last)
			}
		})
	}
}

// A broker that acknowledges nothing holds the loop up once, and then hardly at all.
func TestINV11ASilentBrokerIsWaitedForOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r, w := manyProbes(t, 1)
		r.connect()
		if err := r.stop(); err != nil { // from here on the test is the loop
			t.Fatal(err)
		}
		w.set(true)
		began := time.Now()
		for i := range 10 * mostAhead {
			r.b.publish(Message{Topic: "aliquot/shed/answer", Payload: fmt.Append(nil, i), QoS: 1})
		}
		if took := time.Since(began); took < stateWait || took > stateWait+10*stalledWait {
			t.Errorf("%d messages took %v; want one wait of %v and short ones", 10*mostAhead, took, stateWait)
		}
		if got := len(r.wire.on("aliquot/shed/answer")); got != 10*mostAhead {
			t.Errorf("%d messages left; want %d", got, 10*mostAhead)
		}
		w.set(false)
		r.b.publish(Message{Topic: "aliquot/shed/answer", QoS: 1})
		r.b.settle()
		if r.b.stalled {
			t.Error("the broker answers again, and is still held to be silent")
		}
	})
}
