package rehearse

import (
	"fmt"

	"aliquot/bridge/machine"
)

// faults puts on the agenda what fails beside the outages.
func (w *world) faults() {
	s := w.o.Scenario
	for _, cut := range s.Cuts {
		w.Add(cut.From, w.powerFails)
		w.Add(cut.To, w.powerReturns)
	}
	for _, e := range s.Empties {
		w.Add(e.At, func() {
			w.rec.note(w.wall(), fmt.Sprintf("container %s loses the %.0f mL that it holds; the service is not told", e.Container, w.boxes[e.Container]/1000))
			w.boxes[e.Container] = 0
		})
	}
	for _, p := range s.Stuck {
		w.Add(p.From, func() { w.sticks(p.Probe) })
		w.Add(p.To, func() {
			w.rec.note(w.wall(), "probe "+p.Probe+" reads again")
			delete(w.stuck, p.Probe)
		})
	}
	for _, u := range s.UseSteps {
		w.Add(u.At, func() { w.takesOtherwise(u) })
	}
}

func (w *world) sticks(id string) {
	for i := range w.o.Site.Probes {
		if p := &w.o.Site.Probes[i]; p.ID == id {
			w.stuck[id] = w.reading(p)
			w.rec.note(w.wall(), fmt.Sprintf("probe %s is stuck at %g", id, w.stuck[id]))
		}
	}
}

func (w *world) takesOtherwise(u UseStep) {
	if err := w.water(u.System).ScaleUptake(w.wall(), u.Factor); err != nil && w.trouble == nil {
		w.trouble = fmt.Errorf("system %s: %w", u.System, err)
		return
	}
	w.rec.note(w.wall(), fmt.Sprintf("the corals of %s take up %.3g times as much from now on", u.System, u.Factor))
}

// powerFails cuts the power of the whole house. Nobody says goodbye: pumps stand still, the service knows nothing of it.
func (w *world) powerFails() {
	if w.off {
		return
	}
	w.rec.note(w.wall(), "the power fails: nodes, broker and the service stand still")
	w.off, w.broker.up = true, false
	for i := range w.o.Nodes {
		w.o.Nodes[i].Sim.Reboot(w.wall())
		w.moved(i)
		w.broker.online[i] = false
	}
}

// powerReturns starts the service anew from its rows, as a power-on does, with nodes and broker.
func (w *world) powerReturns() {
	if !w.off {
		return
	}
	w.rec.note(w.wall(), "the power returns and the service starts anew")
	fold := machine.NewFold(w.o.Site)
	for _, row := range w.rec.rows {
		fold.Add(row)
	}
	w.state, w.off = fold.State(), false
	w.step(machine.Booted{Instance: "rehearsal"})
	for i := range w.o.Nodes {
		w.broker.online[i] = true
	}
	w.returns(Broker)
}
