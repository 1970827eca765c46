package config

import (
	"fmt"

	"aliquot/planner/metering"
	"aliquot/planner/units"
	"aliquot/safety"
)

// checkPlumbing checks heights, lift and what the container must hold.
func (p *plant) checkPlumbing(c pump) {
	line := c.path + ".line"
	lift := c.Line.LiftMM / 1000
	switch metering.LiftVerdict(lift) {
	case metering.LiftRefused:
		p.at(line+".lift", fmt.Sprintf("the lift is %s m", num(lift)), fmt.Sprintf("at most %s m: dosing pumps lift no more", num(metering.LiftRefuseM)), "move the container or the pump up")
	case metering.LiftWarned:
		p.warn(line+".lift", fmt.Sprintf("the lift is %s m", num(lift)), fmt.Sprintf("above %s m many pumps deliver less", num(metering.LiftWarnM)), "calibrate at this height")
	}
	if c.Line.LiftMM > c.Line.LengthMM && c.Line.LengthMM > 0 {
		p.at(line+".lift", fmt.Sprintf("the lift is %s m, the line is %s m long", num(lift), num(c.Line.LengthMM/1000)), "the line must be at least as long as it lifts", "")
	}
	if c.container == nil {
		return
	}
	p.checkSiphon(c)
	p.checkContents(c)
}

// checkSiphon refuses a container whose liquid stands above the outlet unless something breaks the siphon
// (H-21).
func (p *plant) checkSiphon(c pump) {
	top := c.container.TopToOutletMM
	if top != nil && *top > 0 && !c.Line.SiphonBreak {
		p.at(c.path+".line.siphon_break", fmt.Sprintf("the top of the container %s lies %s cm above the outlet, and no siphon break is declared", c.container.ID, num(*top/10)),
			"siphon_break must be true there", "lower the container, or build a siphon break: a check valve alone is none")
	}
	if c.Line.Outlet == UnderWater && !c.Line.SiphonBreak {
		p.warn(c.path+".line.outlet", "the outlet is under water and no siphon break is declared", "tank water can run back into the container", "end the line above the water")
	}
}

// checkContents compares what can be drawn from the container with what line and runs need.
func (p *plant) checkContents(c pump) {
	usable := c.container.Capacity - c.container.Stop
	if c.container.Capacity <= 0 || c.container.Stop <= 0 || usable <= 0 {
		return
	}
	between := fmt.Sprintf("the container %s gives %v between capacity and stop", c.container.ID, usable)
	if v := metering.LineVolumeML(c.Line.BoreMM, c.Line.LengthMM/1000); v >= usable.Millilitres() {
		p.at(c.path+".line", fmt.Sprintf("the line holds %s mL, %s", num(round3(v)), between), "the line must hold less", "shorten or narrow the line, or take a larger container")
	}
	if c.Limits.PerRun > usable {
		p.at(c.path+".limits.per_run", fmt.Sprintf("per_run is %v, %s", c.Limits.PerRun, between), "a run must fit into that", "")
	}
}

// Rises of a whole container at which a second independent stop is advised (H-01).
var spillBounds = []struct {
	quantity units.Quantity
	most     float64
}{{units.Alkalinity, 3}, {units.Calcium, 60}, {units.Magnesium, 150}}

// warnOfSpill says what the system gets if a fault empties the container into it.
func (p *plant) warnOfSpill(c pump) {
	if c.container == nil || c.node != nil && c.node.Supply != "" {
		return // a supply relay is the second stop
	}
	for _, b := range spillBounds {
		if x, ok := c.effect(b.quantity, c.container.Capacity); ok && x > b.most {
			p.warn("containers."+c.container.ID+".capacity",
				fmt.Sprintf("all %v of it in %s would raise %s by %s", c.container.Capacity, c.system.ID, b.quantity, level(x, b.quantity.Unit())),
				"above "+level(b.most, b.quantity.Unit()),
				"have two stops that do not depend on each other, such as the node's own timer and a supply relay, or take a smaller container")
		}
	}
}

// checkOutputs refuses one output in two channels, and templates that do not tell the outputs of a node apart.
func (p *plant) checkOutputs() {
	type place struct {
		node   string
		output int
	}
	first := map[place]string{}
	used := map[string][]int{}
	for _, c := range p.pumps {
		if c.node == nil || c.Output < 0 {
			continue
		}
		at := place{c.Node, c.Output}
		if other, taken := first[at]; taken {
			p.at(c.path+".output", fmt.Sprintf("output %d of the node %s is taken by the channel %s", c.Output, c.Node, other), "one channel for one output", "")
			continue
		}
		first[at] = c.ID
		used[c.Node] = append(used[c.Node], c.Output)
	}
	for _, n := range p.site.Nodes {
		if len(used[n.ID]) > 1 {
			p.checkApartOutputs(n, len(used[n.ID]))
		}
	}
}

func (p *plant) checkApartOutputs(n Node, outputs int) {
	path := "nodes." + n.ID
	tell := func(key string, texts ...string) {
		for _, t := range texts {
			if t == "" || outputInTemplate.MatchString(t) {
				return
			}
		}
		p.at(path+"."+key, fmt.Sprintf("%d channels use this node and %s does not tell them apart", outputs, key), "must carry {{.Output}}", "")
	}
	if n.Style == BoundedRun {
		tell("run", n.Run)
		return
	}
	tell("command", n.Command, n.On)
	tell("off", n.Command, n.Off)
	tell("state", n.State.Topic, n.State.Path)
}

// runText prints a run's time.
func runText(t safety.Milliseconds) string { return num(t.Seconds()) + " s" }
