package faultsim

import (
	"math/rand/v2"
	"strconv"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/node"
	"aliquot/bridge/simnode"
	"aliquot/safety"
)

// pump is a simulated node with its place in the world.
type pump struct {
	id      string
	sim     simnode.Node
	codec   *node.Codec
	outputs int
	away    int // reasons for which it has no connection
	hangs   int // reasons for which no command reaches it
	faults  []Fault
	flights []*flight // by output: what it does, or did last
}

// flight is a run on its way and in a node: what the wire said of it, and what came of it.
type flight struct {
	machine.SendRun
	channel  int
	host     int
	copy     int  // of the ledger that it stands in
	stranger bool // nobody here asked for it
	broken   bool // its node's timer or contact failed, or a stranger touched it: what it gives in excess is no daemon's
	flowing  bool
	from     time.Duration // when it began to flow
}

func (f *flight) attended() bool {
	switch f.Purpose {
	case machine.Prime, machine.Calibrate, machine.TestRun, machine.Prove:
		return true
	}
	return false
}

// plugIn makes the nodes.
func (w *world) plugIn() error {
	pumps, err := simnode.NewBoard(simnode.BoardOptions{RatesMLPerMin: []float64{boardRate, boardRate, boardRate}, MaxRun: 2 * time.Minute, Boot: 1, BootTime: time.Second,
		IDAware: true, KeepsIDs: true, HasClock: true})
	if err != nil {
		return err
	}
	o := simnode.RelayOptions{RatesMLPerMin: []float64{plugRate}, Feedback: true, BootTime: time.Second, StateQoS: 1, OnOff: onOff, AutoOff: autoOff}
	if w.s.Timed { // what the command says binds, and no more
		o.AutoOff = safety.RunMax.Duration()
	}
	relay, err := simnode.NewRelay(o)
	if err != nil {
		return err
	}
	sims := []simnode.Node{pumps, relay}
	if w.s.Fed {
		supply, err := newFeed(rand.New(rand.NewPCG(w.s.Seed, 4)))
		if err != nil {
			return err
		}
		sims = append(sims, supply)
	}
	all := specs(w.s)
	for i, sim := range sims {
		c, err := node.Compile(all[i])
		if err != nil {
			return err
		}
		w.nodes = append(w.nodes, &pump{id: c.ID(), sim: sim, codec: c, outputs: len(all[i].Outputs), flights: make([]*flight, len(all[i].Outputs))})
	}
	return nil
}

// onOff reads "on", "on 12.3" and "off", with whatever follows.
func onOff(payload []byte) (on bool, seconds float64, ok bool) {
	words := strings.Fields(string(payload))
	if len(words) == 0 || words[0] != "on" && words[0] != "off" {
		return false, 0, false
	}
	if words[0] == "on" && len(words) > 1 {
		v, err := strconv.ParseFloat(words[1], 64)
		if err != nil {
			return false, 0, false
		}
		seconds = v
	}
	return words[0] == "on", seconds, true
}

func (w *world) pump(id string) *pump {
	for _, n := range w.nodes {
		if n.id == id {
			return n
		}
	}
	return w.nodes[0]
}

// obeyed notes whose run an output is at.
func (n *pump) obeyed(w *world, output int, was bool, f *flight) {
	switch old := n.flights[output-1]; {
	case !was && n.sim.Running(output):
		mine := *f
		mine.broken = mine.broken || n.timingFault(output)
		n.flights[output-1] = &mine
	case was && f.stranger && n.id == plug && old != nil:
		old.broken = true // an "on" on top makes a relay's run longer
	}
}

// timingFault says whether something is wrong with what ends a run.
func (n *pump) timingFault(int) bool {
	for _, f := range n.faults {
		switch f.Kind {
		case StuckOn, LateOff, DeafToTime:
			return true
		}
	}
	return false
}

// say publishes what a node says, if it can.
func (w *world) say(n *pump, out []simnode.Out) {
	w.drain(n)
	w.feeds(n)
	for _, o := range out {
		m := message{topic: n.codec.OnlineTopic(), payload: o.Payload, retained: o.Retained}
		if o.Role != simnode.Online {
			for _, t := range n.codec.ReportTopics() {
				if t.Output == max(1, o.Output) || n.id == feed {
					m.topic = t.Topic
				}
			}
		}
		if o.Role != simnode.Online {
			w.note("%s says %s", n.id, m.payload)
		}
		if n.away == 0 {
			w.after(w.latency(), func() { w.route(m) })
		}
	}
}

// drain books what truly left the outlets since the last look.
func (w *world) drain(n *pump) {
	for _, d := range n.sim.Drain(nil) {
		f := n.flights[d.Output-1]
		i := w.channelAt(n.id, d.Output)
		w.diary.add(uint64(d.To.UnixNano()), uint64(d.Microlitres*1000))
		w.draws(i, d.Microlitres)
		w.check.poured(w, f, i, d.From.Sub(w.s.Start), d.To.Sub(w.s.Start), d.Microlitres)
		if f == nil || f.Into != machine.IntoVessel {
			w.tank.add(&w.site.Channels[i], d.Microlitres)
		}
	}
}

// refault composes what is wrong with a node out of the faults that last.
func (w *world) refault(n *pump) {
	var f simnode.Faults
	for _, k := range n.faults {
		late := time.Duration(k.N) * time.Second
		switch k.Kind {
		case Deaf:
			f.Deaf = true
		case Mute:
			f.Mute = true
		case DropsSaid:
			f.DropReport = k.N
		case LateStart:
			f.LateStart = max(f.LateStart, late)
		case LateOff:
			f.LateOff = max(f.LateOff, late)
		case StuckOn:
			f.StuckOn = true
		case Blocked:
			f.Blocked = true
		case DeafToTime:
			f.IgnoresTimer = true
		case RateDrift:
			f.RateFactor = float64(k.N) / 1000
		}
	}
	for i, flight := range n.flights {
		if flight != nil && n.timingFault(i+1) && (n.sim.Running(i+1) || n.sim.Flowing(i+1)) {
			flight.broken = true
		}
	}
	w.say(n, n.sim.SetFaults(w.trueTime(), f))
}

// factor is what a node's true rate is multiplied by now.
func (n *pump) factor() float64 {
	f := 1.0
	for _, k := range n.faults {
		if k.Kind == RateDrift {
			f = float64(k.N) / 1000
		}
	}
	return f
}
