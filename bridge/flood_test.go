package bridge

import (
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/topics"
)

// gatedBook is a ledger that stands still until it is let go.
type gatedBook struct {
	*book
	mu   sync.Mutex
	gate chan struct{}
}

func (k *gatedBook) Append(rows []machine.Row) error {
	k.mu.Lock()
	gate := k.gate
	k.mu.Unlock()
	if gate != nil {
		<-gate
	}
	return k.book.Append(rows)
}

func (k *gatedBook) stand(gate chan struct{}) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.gate = gate
}

// Topics without end leave the allowances of a stop and of a node alone.
func TestH38_INV11_UnknownTopicsTakeNothingFromAStop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := startRig(t, nil)
		r.connect()
		for i := range 10_000 {
			r.b.Deliver(Message{Topic: fmt.Sprintf("aliquot/shed/ask/verb-%d", i), Payload: []byte(`{"ref":"x"}`)})
		}
		r.b.Deliver(Message{Topic: "pumps/online", Payload: []byte("0")})
		if a := r.ask("stop", map[string]any{"ref": "s", "all": true}); a["ok"] != true {
			t.Errorf("a stop in the same instant: %v", a)
		}
		if got := len(r.wire.on("aliquot/shed/problem")); got == 0 || got > 45 {
			t.Errorf("%d problems were published for 10000 unknown topics; want some and at most 45", got)
		}
		if v, _ := r.b.View(); len(v.Nodes) != 1 || v.Nodes[0].Online {
			time.Sleep(2 * time.Second) // the state is shown once a second
			if v, _ = r.b.View(); v.Nodes[0].Online {
				t.Error("the node went offline, and nobody heard")
			}
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}

// While the loop stands still, whoever reads from the broker must not: behind its back stand acknowledgements. Requests
// beyond what can be answered are dropped, and a stop overtakes those before it.
func TestH38_INV11_AStopOvertakesABacklog(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var k *gatedBook
		r := startRig(t, func(o *Options) {
			k = &gatedBook{book: o.Ledger.(*book)}
			o.Ledger = k
		})
		r.connect()
		gate := make(chan struct{})
		k.stand(gate)
		delivered := make(chan struct{})
		go func() {
			defer close(delivered)
			for i := range 5000 {
				for _, verb := range machine.Verbs() {
					if verb != machine.VerbStop {
						r.b.Deliver(Message{Topic: "aliquot/shed/ask/" + string(verb), Payload: fmt.Appendf(nil, `{"ref":"%s-%d"}`, verb, i)})
					}
				}
				r.b.Deliver(Message{Topic: "pumps/1/report", Payload: []byte("nonsense")})
			}
			r.b.Deliver(Message{Topic: "aliquot/shed/ask/stop", Payload: []byte(`{"ref":"s","all":true}`)})
		}()
		synctest.Wait()
		select {
		case <-delivered:
		default:
			t.Fatal("the connection's reader waits for a loop that stands still")
		}
		if waiting := len(r.b.vital); waiting > 2*backlog {
			t.Errorf("%d messages wait for the loop", waiting)
		}
		stops, answers := len(r.wire.on("pumps/1/stop")), len(r.wire.on("aliquot/shed/answer"))
		gate <- struct{}{} // one row
		synctest.Wait()
		if now := len(r.wire.on("pumps/1/stop")); now != stops+1 {
			t.Errorf("%d stops went out when the loop turned again, must be 1", now-stops)
		}
		if now := len(r.wire.on("aliquot/shed/answer")); now > answers+1 {
			t.Errorf("%d answers came before the stop", now-answers)
		}
		close(gate)
		synctest.Wait()
		if now := len(r.wire.on("pumps/1/stop")); now < stops+2 {
			t.Error("the stop lost its turn among the others")
		}
		if got := k.count("run_reserved"); got != 0 {
			t.Errorf("%d runs were reserved", got)
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}

// countedReadings counts what the machine says it has read.
type countedReadings struct {
	noMetrics
	read atomic.Int64
}

func (c *countedReadings) Count(n machine.Count) {
	if n.Metric == machine.MetricReadings {
		c.read.Add(1)
	}
}

// On a site of more topics than the limiter follows of strangers each probe is heard, and the last reading of each stands.
func TestH38_EachProbeOfALargeSiteIsHeard(t *testing.T) {
	const probes, each = 3 * topics.MostBuckets, 5
	synctest.Test(t, func(t *testing.T) {
		counted := &countedReadings{}
		r := startRig(t, func(o *Options) {
			withProbes(o, probes)
			o.Metrics = counted
		})
		r.connect()
		for n := range each {
			for i := range probes {
				r.b.Deliver(Message{Topic: fmt.Sprintf("shed/t%d", i), Payload: fmt.Appendf(nil, "25.%d", n)})
			}
		}
		time.Sleep(2 * time.Second) // virtual
		if got := counted.read.Load(); got != probes*each {
			t.Errorf("%d of %d readings reached the machine", got, probes*each)
		}
		v, _ := r.b.View()
		for _, p := range v.Probes {
			if p.Value == nil || *p.Value != 25+(each-1)/10. {
				t.Errorf("probe %s does not stand at its last reading", p.ID)
				break
			}
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}
