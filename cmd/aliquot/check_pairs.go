package main

import (
	"fmt"
	"strings"

	"aliquot/config"
	"aliquot/planner"
	"aliquot/planner/stock"
	"aliquot/planner/units"
)

// neverView is two supplements that must not meet undiluted: in one container, one line, one measuring vessel.
type neverView struct {
	A   string `json:"a"`
	B   string `json:"b"`
	Why string `json:"why"`
}

// neverMixed lists the supplements of a site that must not share a container, in the order of the configuration.
func neverMixed(supplements []config.Supplement) []neverView {
	out := []neverView{}
	for i, a := range supplements {
		for _, b := range supplements[i+1:] {
			if why, bad := stock.Incompatible(a.Classes, b.Classes); bad {
				out = append(out, neverView{a.ID, b.ID, why})
			}
		}
	}
	return out
}

// pairLines says for each system how the calcium that it gets fits the alkalinity.
func pairLines(l loaded, strength func(config.Channel) map[units.Quantity]float64) []string {
	out := []string{}
	for _, y := range l.Systems {
		if line := newPairing(l.Channels, y, strength).line(); line != "" {
			out = append(out, y.ID+": "+line)
		}
	}
	return out
}

// pairing is what a system's channels bring of alkalinity and calcium.
type pairing struct {
	dkh, mgL float64 // expected in a day, in the system
	expected bool    // it is known for every channel that brings any
	// the channels that follow each, and a channel that shares the volume of the first and brings calcium
	alk, ca, share   *config.Channel
	perAlk, perCa    float64 // dKH and mg/L in the system for 1 mL of alk, ca
	perShare, alkCal float64 // mg/L for 1 mL of share; of calcium that alk brings itself
}

func newPairing(channels []config.Channel, y config.System, strength func(config.Channel) map[units.Quantity]float64) pairing {
	p := pairing{expected: true}
	for i := range channels {
		ch := &channels[i]
		if ch.System != y.ID { // asked first: a farm has many channels, and as many systems
			continue
		}
		s := strength(*ch)
		dkh, mgL := s[units.Alkalinity]/y.NetLitres, s[units.Calcium]/y.NetLitres
		if dkh == 0 && mgL == 0 {
			continue
		}
		ml, ok := expectedML(channels, *ch)
		p.expected = p.expected && ok
		p.dkh, p.mgL = p.dkh+ml*dkh, p.mgL+ml*mgL
		switch {
		case ch.Mode == planner.Follow && ch.Follow == units.Alkalinity:
			p.alk, p.perAlk, p.alkCal = ch, dkh, mgL
		case ch.Mode == planner.Follow && ch.Follow == units.Calcium:
			p.ca, p.perCa = ch, mgL
		case ch.Mode == planner.Share && mgL > 0:
			p.share, p.perShare = ch, mgL
		}
	}
	return p
}

// expectedML is what a channel is expected to give in a day before tests say: its base, its fixed volume, or its share
// of another one's.
func expectedML(channels []config.Channel, ch config.Channel) (float64, bool) {
	switch ch.Mode {
	case planner.Fixed:
		return ch.FixedPerDay, true
	case planner.Share:
		for _, other := range channels {
			if other.ID == ch.ShareOf && other.Mode != planner.Share {
				ml, ok := expectedML(channels, other)
				return ml * ch.ShareRatio, ok
			}
		}
		return 0, false
	}
	if ch.Base == nil {
		return 0, false
	}
	return ch.Base.Millilitres(), true
}

func (p pairing) line() string {
	k := stock.CalciumPerDKH()
	takes := fmt.Sprintf("calcification takes %.2f mg/L with each dKH", k)
	switch {
	case p.expected && p.dkh > 0 && p.mgL > 0:
		return fmt.Sprintf("a day's expected doses bring %.3g dKH and %.3g mg/L of calcium, %.2f mg/L with each dKH; %s%s",
			p.dkh, p.mgL, p.mgL/p.dkh, takes, drift(p.mgL-k*p.dkh))
	case p.alk != nil && p.share != nil && p.share.ShareOf == p.alk.ID && p.perAlk > 0:
		return fmt.Sprintf("each dKH from %s comes with %.2f mg/L of calcium; %s", p.alk.ID, (p.alkCal+p.share.ShareRatio*p.perShare)/p.perAlk, takes)
	case p.alk != nil && p.ca != nil && p.perAlk > 0 && p.perCa > 0:
		return fmt.Sprintf("1 dKH is %.3g mL from %s; %s, %.3g mL from %s", 1/p.perAlk, p.alk.ID, takes, max(0, k-p.alkCal/p.perAlk)/p.perCa, p.ca.ID)
	}
	return ""
}

// drift says where calcium goes if corals take both in their ratio. Less than a tenth of a mg/L a day is no news.
func drift(mgLPerDay float64) string {
	switch {
	case mgLPerDay >= 0.1:
		return fmt.Sprintf(", so that calcium would rise by %.2g mg/L a day", mgLPerDay)
	case mgLPerDay <= -0.1:
		return fmt.Sprintf(", so that calcium would fall by %.2g mg/L a day", -mgLPerDay)
	}
	return ""
}

// cautionLines puts supplements with the same caution into one line, in the order in which cautions first come.
func cautionLines(supplements []supplementView) []string {
	var order, out []string
	names := map[string][]string{}
	for _, p := range supplements {
		for _, c := range p.Cautions {
			if names[c] == nil {
				order = append(order, c)
			}
			names[c] = append(names[c], p.Supplement)
		}
	}
	for _, c := range order {
		out = append(out, strings.Join(names[c], ", ")+": "+c)
	}
	return out
}
