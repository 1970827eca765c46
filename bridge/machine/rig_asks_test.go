package machine_test

import (
	"fmt"
	"time"

	"aliquot/bridge/machine"
)

// commission brings an empty site to where its plan runs: refills, primes, calibrations, tests and a proof.
func (r *rig) commission() {
	r.t.Helper()
	r.readings["ph"], r.readings["leak"], r.readAt = 8.2, 0, r.now
	r.advance(10 * time.Second)
	for _, c := range r.site.Containers {
		r.must(machine.VerbRefill, machine.Request{Container: c.ID, Full: true})
	}
	vessel := string(machine.IntoVessel)
	r.must(machine.VerbProve, machine.Request{Channel: "mg", Into: vessel})
	r.advance(70 * time.Second)
	for _, c := range r.site.Channels {
		r.must(machine.VerbPrime, machine.Request{Channel: c.ID, Into: vessel, Seconds: ref(30.0)})
		r.advance(12 * time.Minute) // the neighbours are kept apart
		r.must(machine.VerbPrimed, machine.Request{Channel: c.ID})
		rate := boardRate
		if c.Node == "plug" {
			rate = relayRate
		}
		r.must(machine.VerbCalibrate, machine.Request{Channel: c.ID, Trials: []machine.Trial{{Seconds: 30, MeasuredML: rate / 2}, {Seconds: 30, MeasuredML: rate / 2}, {Seconds: 30, MeasuredML: rate / 2}}})
	}
	r.test("alkalinity", 8.1, "dKH")
	r.test("calcium", 425, "mg/L")
	r.test("magnesium", 1310, "mg/L")
}

// test enters a measurement, which must not be refused.
func (r *rig) test(quantity string, value float64, unit string) machine.Answered {
	r.t.Helper()
	return r.must(machine.VerbTest, machine.Request{Quantity: quantity, Value: &value, Unit: unit})
}

// ask sends a request and gives its answer.
func (r *rig) ask(verb machine.Verb, q machine.Request) machine.Answered {
	q.Verb = verb
	if q.Ref == "" {
		r.refs++
		q.Ref = fmt.Sprintf("k%d", r.refs)
	}
	before := len(r.answers)
	r.step(machine.Asked{Request: q})
	if len(r.answers) == before {
		return machine.Answered{}
	}
	return r.answers[len(r.answers)-1]
}

// must asks and insists on success.
func (r *rig) must(verb machine.Verb, q machine.Request) machine.Answered {
	r.t.Helper()
	a := r.ask(verb, q)
	if !a.OK {
		r.t.Fatalf("%s %+v: %s %s", verb, q, a.Code, a.Text)
	}
	return a
}

func (r *rig) view() machine.SiteView { return machine.Snapshot(&r.state) }

func (r *rig) channel(id string) machine.ChannelView {
	for _, c := range r.view().Channels {
		if c.ID == id {
			return c
		}
	}
	r.t.Fatalf("no channel %s", id)
	return machine.ChannelView{}
}

func (r *rig) container(id string) machine.ContainerView {
	for _, c := range r.view().Containers {
		if c.ID == id {
			return c
		}
	}
	r.t.Fatalf("no container %s", id)
	return machine.ContainerView{}
}
