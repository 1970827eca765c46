package main

import (
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/safety"
)

// silence is how long the service may take to know that nothing comes through: a keep-alive of 15 s that is looked at every
// 5 s, 5 s for its answer, and what a busy machine needs.
const silence = 35 * time.Second

// badLinks are ways in which the network between service and broker fails, always in the middle of a run.
var badLinks = []struct {
	name    string
	fail    func(*mosquittotest.Proxy)
	noticed time.Duration // how long the service may take to know
	lasts   time.Duration // beyond that
	asks    bool          // a request for another run reaches the service meanwhile
}{
	{"cut", func(p *mosquittotest.Proxy) { p.Cut() }, 2 * time.Second, 0, false},
	{"cut-and-gone", func(p *mosquittotest.Proxy) { p.Refuse(); p.Cut() }, 2 * time.Second, 8 * time.Second, false},
	{"stalled", func(p *mosquittotest.Proxy) { p.Treat(mosquittotest.Stall, mosquittotest.Stall) }, silence, 0, false},
	{"sent-is-swallowed", func(p *mosquittotest.Proxy) { p.Treat(mosquittotest.Swallow, mosquittotest.Pass) }, silence, 0, true},
	{"got-is-swallowed", func(p *mosquittotest.Proxy) { p.Treat(mosquittotest.Pass, mosquittotest.Swallow) }, silence, 0, false},
	{"sent-comes-late", func(p *mosquittotest.Proxy) { p.Treat(mosquittotest.Hold, mosquittotest.Pass) }, silence, 0, true},
}

// TestH04_H16_INV3_INV11_BadLinks breaks the link between the service and a real broker in a run, in each way: the service
// notices, sends nothing twice or late, stops everything when it is back, and then runs on with new runs only.
func TestH04_H16_INV3_INV11_BadLinks(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t, mosquittotest.Options{})
	for _, c := range badLinks {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t, b, "link-"+c.name)
			r.commission()
			w := r.truly()
			proxy := mosquittotest.NewProxy(t, b.Addr)
			r.config = r.through(proxy)
			p := r.daemon("")
			r.owns(p)
			mark := r.spy.mark()
			first := runOf(t, r.ask(machine.VerbRun, `"channel":"alk","volume_ml":4,"kind":"test"`))
			r.spy.await(mark, "the board's start", on(r.quay.Site+"/board/1/report", `"started"`))

			broken := r.spy.mark()
			began := time.Now()
			c.fail(proxy)
			if c.asks {
				r.send("meanwhile", machine.VerbRun, `"channel":"trace","volume_ml":3,"kind":"test"`)
			}
			if c.noticed > patience {
				<-time.After(c.noticed - patience)
			}
			p.await("the connection to the broker is lost")
			if took := time.Since(began); took > c.noticed {
				t.Errorf("the service noticed after %s, must within %s", took, c.noticed)
			} else {
				t.Logf("noticed after %s", took.Round(time.Millisecond))
			}
			<-time.After(c.lasts)
			healed := r.spy.mark()
			proxy.Heal()
			p.awaitTimes("this instance owns the site", 2)
			r.awaitState(healed, "node/board", `"online":true`)
			r.checkLink(first, broken, healed, c.asks)

			r.lift()
			before := r.spy.mark()
			r.runsAgain(p)
			for _, sent := range r.sentRuns(before) {
				if sent.ID == first {
					t.Error("the first run was sent again")
				}
			}
			r.checkTruth(w, map[string]float64{"alk": 40, "trace": 1800})
			r.checkWire()
		})
	}
}

// through is a configuration with the broker behind a proxy.
func (r *rig) through(p *mosquittotest.Proxy) string {
	q := r.quay
	q.Broker = p.URL()
	return q.write(r.t, "site.yaml")
}

// checkLink looks at what went over the broken link, and at the books of the runs that it hit.
func (r *rig) checkLink(first string, broken, healed int, asked bool) {
	r.t.Helper()
	sent := r.sentRuns(broken)
	for _, c := range sent {
		// What the network held comes late: once, and its own timer and expiry bound it.
		if !asked || c.output != "timed" || len(sent) > 1 {
			r.t.Errorf("while the link was broken or after it, a run came out: %s %s", c.output, c.Payload)
		}
	}
	stopped := map[string]bool{}
	for _, c := range r.commands(healed) {
		stopped[c.output] = stopped[c.output] || c.stop
	}
	for _, o := range outputs {
		if !stopped[o] {
			r.t.Errorf("output %s was not told to stop when the link was back", o)
		}
	}
	reserved, ended := r.runs()
	extra := 0
	for _, run := range reserved {
		e := ended[run.Run]
		switch {
		case asked && run.Channel == "trace" && e.Outcome == machine.Extra:
			extra++ // what comes late may find the service back already, which sees it on and books it once more
		case e.Outcome == machine.Unknown, run.Run == first && e.Outcome == machine.Finished, run.Run == first && e.Outcome == machine.Partial:
		default:
			r.t.Errorf("a run that met the broken link is %q: %s", e.Outcome, run.Channel)
		}
		if e.Hi < safety.Microlitres(run.Volume) {
			r.t.Errorf("a run of %s that met the broken link counts as %s", run.Volume, e.Hi)
		}
	}
	if n := len(reserved) - extra; asked && n != 2 || !asked && n != 1 || extra > 1 {
		r.t.Errorf("%d runs are in the ledger, %d of them extra", len(reserved), extra)
	}
}
