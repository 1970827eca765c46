package faultsim

import (
	"fmt"
	"math/rand/v2"
	"time"

	"aliquot/bridge/machine"
)

// slip is what people do, and what the tank does to its probes.
func (w *world) slip(f Fault) {
	k := &w.keeper
	is := func(v *bool) { w.during(f, func() { *v = true }, func() { *v = false }) }
	switch f.Kind {
	case Greed:
		w.during(f, func() { k.greedy++; k.greed() }, func() { k.greedy-- })
	case Careless:
		w.during(f, func() { k.careless++ }, func() { k.careless-- })
	case Hold:
		minutes := float64(f.N)
		k.ask(machine.VerbHold, machine.Request{All: true, Minutes: &minutes, Reason: "feeding"})
	case OutOf:
		w.during(f, func() {
			k.out[f.Target]++
			k.ask(machine.VerbOutOfService, machine.Request{Channel: f.Target, Reason: "the line is being cleaned"})
		}, func() { k.out[f.Target]-- })
	case StopAll:
		k.ask(machine.VerbStop, machine.Request{All: true})
	case WrongTest:
		k.test(uses[0].quantity, 1+float64(f.N)/100)
	case WrongFill:
		c := w.site.Containers[f.N%len(w.site.Containers)]
		v := float64(f.N) * c.Capacity.Millilitres()
		k.ask(machine.VerbRefill, machine.Request{Container: c.ID, VolumeML: &v, Confirm: true})
	case SwapTubes:
		c := w.site.Channels[w.channel(f.Target)].Container
		k.fills[k.ask(machine.VerbSwap, machine.Request{Container: c, Full: true, Confirm: true})] = c
	case HighPH:
		w.during(f, func() { w.net.ph = 8.55 }, func() { w.net.ph = 8.2 })
	case NoProbe:
		is(&w.net.noProbe)
	case Leak:
		is(&w.net.leak)
	}
}

// strange is what strangers do on the topics. Each has a stream of its own, so that leaving one fault out changes no
// other.
func (w *world) strange(i int, f Fault) {
	r := rand.New(rand.NewPCG(w.s.Seed, 1000+uint64(i)))
	switch f.Kind {
	case ForgedReport:
		w.forgeReport(r, f)
	case ForgedRun, Plant:
		w.forgeRun(f)
	case ForgedOwner:
		w.own(machine.OwnerSeen{Instance: "another/one", Epoch: 3, At: w.trueTime().Add(time.Duration(f.N) * time.Second)})
	}
}

// forgeReport says something about the newest run, or about one that nobody knows.
func (w *world) forgeReport(r *rand.Rand, f Fault) {
	n := w.pump(f.Target)
	t := n.codec.ReportTopics()[r.IntN(n.outputs)]
	run := "01STRANGER"
	if k := n.flights[t.Output-1]; k != nil && r.IntN(4) > 0 {
		run = k.Run
	}
	states := []string{"started", "finished", "stopped", "refused"}
	payload := fmt.Sprintf(`{"v":1,"id":%q,"state":%q,"boot":%d,"seq":%d`, run, states[r.IntN(4)], r.IntN(3), r.IntN(500))
	if r.IntN(3) > 0 {
		payload += fmt.Sprintf(`,"seconds":%.3f`, r.Float64()*[]float64{1, 60, 3600}[r.IntN(3)])
	}
	payload += "}"
	if n.id == plug {
		payload = []string{"ON", "OFF"}[r.IntN(2)]
	}
	w.route(message{topic: t.Topic, payload: []byte(payload)})
}

// forgeRun commands an output, live or for whoever subscribes later. What it gives is nobody's here.
func (w *world) forgeRun(f Fault) {
	n := w.pump(f.Target)
	output := 1 + (f.N-1)%n.outputs
	for _, t := range n.codec.CommandTopics() {
		if t.Output != output || t.Stop {
			continue
		}
		payload := fmt.Sprintf(`{"v":1,"id":"01STRANGER%d","seconds":20,"expires":%q}`, w.now.Milliseconds(), w.trueTime().Add(time.Minute).Format(time.RFC3339))
		if n.id == plug {
			payload = "on"
			if w.s.Timed {
				payload = "on 20 0"
			}
		}
		k := &flight{channel: w.channelAt(n.id, output), stranger: true, broken: true}
		w.route(message{topic: t.Topic, payload: []byte(payload), retained: f.Kind == Plant, flight: k})
	}
}
