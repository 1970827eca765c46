package machine_test

import (
	"encoding/json"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/simnode"
)

// toNode hands a command to a node, and remembers where the outlet is for a run that begins.
func (r *rig) toNode(m toNode) {
	if r.offline[m.node] {
		return
	}
	n := r.node(m.node)
	was := n.Running(m.command.Output)
	out := n.Receive(r.trueTime(), m.command)
	r.pour(m.node) // what left before the outlet moved
	if m.run != nil && !was && n.Running(m.command.Output) {
		r.check.outlet[m.run.Channel] = m.run.Into
	}
	r.fromNode(m.node, out)
}

// fromNode passes on what a node says.
func (r *rig) fromNode(id string, outs []simnode.Out) {
	if id == "feed" { // whatever the relay does, the pumps behind it feel at once
		for _, n := range []string{"board", "plug"} {
			r.node(n).Feed(r.trueTime(), r.supply.Flowing(1))
			r.pour(n)
		}
	}
	r.pour(id)
	for _, o := range outs {
		if r.offline[id] {
			continue
		}
		switch o.Role {
		case simnode.Online:
			r.online[id] = string(o.Payload) == "1"
			r.soon(machine.NodeOnline{Node: id, Up: r.online[id]})
		case simnode.State:
			if id == "feed" {
				r.fedBy = string(o.Payload) == "ON"
				r.report(machine.Switched{Node: id, Output: machine.SupplyOutput, On: r.fedBy})
				continue
			}
			r.isOn = string(o.Payload) == "ON"
			r.report(machine.Switched{Node: id, Output: o.Output, On: r.isOn})
		case simnode.Report:
			r.report(readReport(r.t, id, o.Payload))
		}
	}
}

// report is subject to what the network does to reports.
func (r *rig) report(e machine.Event) {
	if r.net.loseReports {
		return
	}
	r.later(latency+r.net.delayReports, e)
	if r.net.doubleReports {
		r.later(latency+r.net.delayReports+time.Second, e)
	}
}

func readReport(t tb, node string, payload []byte) machine.Reported {
	var w struct {
		V         int
		ID        string
		State     machine.ReportState
		Reason    string
		Seconds   *float64
		Boot, Seq int64
	}
	if err := json.Unmarshal(payload, &w); err != nil {
		t.Fatalf("the board says %s: %v", payload, err)
	}
	return machine.Reported{Node: node, Run: w.ID, State: w.State, Reason: w.Reason, Seconds: w.Seconds, Boot: w.Boot, Seq: w.Seq}
}

// pour books what truly left the outlets since the last look.
func (r *rig) pour(id string) {
	for _, d := range r.node(id).Drain(nil) {
		for i := range r.site.Channels {
			c := &r.site.Channels[i]
			if c.Node == id && c.Output == d.Output {
				r.check.poured(c.ID, d.From.Sub(r.start), d.To.Sub(r.start), d.Microlitres)
			}
		}
	}
}

// disconnect cuts a node's own connection; the broker speaks its will.
func (r *rig) disconnect(id string) {
	if r.offline[id] {
		return
	}
	r.offline[id], r.online[id] = true, false
	r.soon(machine.NodeOnline{Node: id, Up: false})
}

func (r *rig) reconnect(id string) {
	r.offline[id] = false
	r.fromNode(id, r.node(id).Connect(r.trueTime()))
}

func (r *rig) faults(id string, f simnode.Faults) {
	r.fromNode(id, r.node(id).SetFaults(r.trueTime(), f))
}

func (r *rig) reboot(id string) { r.fromNode(id, r.node(id).Reboot(r.trueTime())) }

var stuck = simnode.Faults{StuckOn: true}
