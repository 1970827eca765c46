package machine

import (
	"fmt"

	"aliquot/planner/units"
	"aliquot/safety"
)

// At this pH the water is close to losing its alkalinity as scale, whatever interlocks the keeper declared (H-26). Two
// readings must say so: one may be a bubble at the probe.
const phAlarmReads = 2

// watchPH counts readings in a row at or above the alarm, and locks out what would raise pH further.
func (t *turn) watchPH(p *probeState) {
	if p.cfg.Quantity != units.PH {
		return
	}
	if !p.good || p.value < safety.PHAlarm {
		p.alarming = 0
		return
	}
	if p.alarming++; p.alarming != phAlarmReads {
		return
	}
	for _, i := range t.index.into[p.cfg.System] {
		c := &t.channels[i]
		if !c.cfg.raisesPH() {
			continue
		}
		t.stopOutput(c.cfg, "*")
		t.lockOut(Scope{Channel: c.cfg.ID}, safety.Fault, fmt.Sprintf("pH was %.2f by probe %s: find out what was given and whether the probe is right, then clear this", p.value, p.cfg.ID))
	}
}

// raisesPH says whether a channel's supplement brings alkalinity that acts at once.
func (c *Channel) raisesPH() bool { return c.Alkaline.AtOnce > 0 || c.Gentle > 0 }

func (p *probeState) conditions(add adder) {
	if p.alarming >= phAlarmReads {
		add("ph-alarm-"+p.cfg.ID, Critical, "pH is %.2f by probe %s: at %.2f and above nothing that raises it is given; look at the tank and at the probe", p.value, p.cfg.ID, safety.PHAlarm)
	}
}
