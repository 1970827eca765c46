package main

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/node"
	"aliquot/config"
	"aliquot/planner"
	"aliquot/planner/acidity"
	"aliquot/planner/metering"
	"aliquot/planner/seawater"
	"aliquot/planner/stock"
	"aliquot/planner/units"
	"aliquot/safety"
)

// machineSite turns the checked configuration into what the machine needs to know. Nothing is decided here.
func machineSite(c *config.Site) *machine.Site {
	site := &machine.Site{Name: c.Name, Zone: c.Zone, ClockTrust: clockTrust(c.ClockTrust), Tick: c.PlanTick.Cron, Version: version()}
	if a := c.Alerts; a != nil {
		site.Told, site.AlertTest = true, a.Test.Cron
	}
	strengths := map[string]map[units.Quantity]float64{}
	for _, p := range c.Supplements {
		strengths[p.ID] = p.Strength
		site.Supplements = append(site.Supplements, supplement(p))
	}
	contents := map[string]string{}
	for _, k := range c.Containers {
		contents[k.ID] = k.Supplement
		site.Containers = append(site.Containers, machine.Container{ID: k.ID, Supplement: k.Supplement, Capacity: k.Capacity, Stop: k.Stop, Warn: k.Warn, Level: k.Level != nil})
	}
	for _, y := range c.Systems {
		site.Systems = append(site.Systems, system(y))
		site.Waters = append(site.Waters, machine.Water{System: y.ID, Salinity: seawater.PSU(y.SalinityPSU), Temperature: seawater.Celsius(y.TemperatureC)})
	}
	supplies := map[string]string{}
	for _, n := range c.Nodes {
		supplies[n.ID] = n.Supply
		site.Nodes = append(site.Nodes, machine.Node{ID: n.ID, Style: machine.Style(n.Style), AutoOff: safety.MillisecondsUp(n.AutoOff),
			OnlineEvery: n.Online.Every, Fingerprint: fingerprint(n)})
	}
	for _, ch := range c.Channels {
		out := channel(ch, c.Zone, strengths[contents[ch.Container]])
		out.Supply = supplies[ch.Node]
		if a, ok := channelAcidity(c, ch); ok {
			out.Gentle, out.Alkaline = gentle(a), alkaline(a)
		}
		site.Channels = append(site.Channels, out)
	}
	for _, k := range c.KeepApart {
		site.KeepApart = append(site.KeepApart, machine.Apart{Channels: []string{k.A, k.B}, Gap: k.Gap})
	}
	for _, p := range c.Probes {
		site.Probes = append(site.Probes, probe(p))
	}
	for _, l := range c.Interlocks {
		site.Interlocks = append(site.Interlocks, interlock(l, c.Channels))
	}
	return site
}

// channelAcidity finds what a channel's runs do to the pH of its system.
func channelAcidity(c *config.Site, ch config.Channel) (acidity.Effect, bool) {
	p, ok := contentsOf(c, ch)
	if !ok {
		return acidity.Effect{}, false
	}
	for _, y := range c.Systems {
		if y.ID == ch.System {
			return acidityOf(y, p)
		}
	}
	return acidity.Effect{}, false
}

func clockTrust(t config.ClockTrust) safety.ClockTrust {
	if t == config.Confirmed {
		return safety.TrustConfirmed
	}
	return safety.TrustSynced
}

func supplement(p config.Supplement) machine.Supplement {
	return machine.Supplement{ID: p.ID, Strength: p.Strength, LateShare: p.LateShare, AppearsOver: p.AppearsOver,
		Limewater: p.Limewater != nil, Caustic: stock.Caustic(p.Classes), Cautions: cautions(p)}
}

func system(y config.System) planner.System {
	out := planner.System{ID: y.ID, Kind: y.Kind, NetLitres: y.NetLitres, Evaporation: y.Evaporation, Light: y.Light}
	for _, q := range y.Quantities {
		out.Targets = append(out.Targets, planner.Target{Quantity: q.Quantity, Target: q.Target, Band: q.Band, MaxRise: q.MaxRise,
			MaxFall: q.MaxFall, MaxDose: q.MaxDose, Test: planner.TestHabits{SD: q.TestSD, DueEvery: q.DueEvery, StaleAfter: q.StaleAfter}})
	}
	return out
}

func channel(ch config.Channel, zone *time.Location, strength map[units.Quantity]float64) machine.Channel {
	out := machine.Channel{
		Channel: planner.Channel{ID: ch.ID, System: ch.System, Mode: ch.Mode, Quantity: ch.Follow, FixedPerDay: ch.FixedPerDay, Course: ch.Course,
			ShareOf: ch.ShareOf, ShareRatio: ch.ShareRatio, Base: ch.Base, Strength: strength,
			Calendar:    planner.Calendar{Schedule: ch.Slots.Cron, Zone: zone, EveryDays: ch.Every, Start: ch.Start, Night: ch.Night},
			SmallestRun: ch.Limits.SmallestRun, PerRun: ch.Limits.PerRun, PerDay: ch.Limits.PerDay, Tolerance: safety.DefaultTolerance},
		Container: ch.Container, Node: ch.Node, Output: ch.Output, NominalRate: ch.NominalRate,
		Limits: safety.Limits{SmallestRun: ch.Limits.SmallestRun, PerRun: ch.Limits.PerRun, PerDay: ch.Limits.PerDay,
			RunTime: ch.Limits.RunTime, Rest: ch.Limits.Rest, AttendedPerRun: ch.Attended.PerRun, AttendedPerDay: ch.Attended.PerDay},
	}
	out.Line.TubingLife = ch.Line.TubingLife
	out.Line.VolumeML = metering.LineVolumeML(ch.Line.BoreMM, ch.Line.LengthMM/1000)
	if prime, err := metering.PrimeVolume(ch.Line.BoreMM, ch.Line.LengthMM/1000); err == nil {
		out.Line.Prime = prime
	}
	return out
}

func probe(p config.Probe) machine.Probe {
	out := machine.Probe{ID: p.ID, System: p.System, Quantity: p.Quantity, StaleAfter: p.StaleAfter, StuckAfter: p.StuckAfter, Unheard: p.Unheard}
	out.Low, out.High = 0, 1
	if p.Quantity != units.Switch {
		out.Low, out.High = canonical(p, p.Low), canonical(p, p.High)
	}
	return out
}

// canonical converts a probe's bound. The configuration was checked, so the unit fits the quantity.
func canonical(p config.Probe, v float64) float64 {
	c, err := units.ToCanonical(p.Quantity, v, p.Unit)
	if err != nil {
		panic(fmt.Sprintf("probe %s: a checked unit does not convert: %v", p.ID, err))
	}
	return c
}

func interlock(l config.Interlock, channels []config.Channel) machine.Interlock {
	out := machine.Interlock{Name: l.Name, Probe: l.Probe, Block: l.Block}
	if l.BlockAll {
		out.Block = nil
		for _, ch := range channels {
			out.Block = append(out.Block, ch.ID)
		}
	}
	out.Rule = safety.InterlockRule{When: bound(l.When), WhenFor: l.When.For, Latch: l.Latch, IgnoreStale: l.StaleIgnore}
	if l.Until != nil {
		until := bound(*l.Until)
		out.Rule.Until, out.Rule.UntilFor = &until, l.Until.For
	}
	return out
}

func bound(c config.Condition) safety.Bound {
	switch c.Relation {
	case config.Above:
		return safety.Bound{Value: c.Value, Above: true}
	case config.Below:
		return safety.Bound{Value: c.Value}
	case config.IsOn:
		return safety.Bound{Value: 1, Equal: true}
	}
	return safety.Bound{Value: 0, Equal: true}
}

// fingerprint changes whenever a node's entry does, so that a proof counts only for the entry it was made with. What
// feeds the pumps has no part in it: the proof is of the node's own timer. Proofs in ledgers rest on this very form.
func fingerprint(n config.Node) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%+v", struct {
		ID                string
		Style             config.Style
		Run, Stop, Report string
		Command           string
		On, Off           string
		State             config.State
		AutoOff           time.Duration
		Online            config.Online
		At                config.Pos
	}{n.ID, n.Style, n.Run, n.Stop, n.Report, n.Command, n.On, n.Off, n.State, n.AutoOff, n.Online, config.Pos{}}))
	return hex.EncodeToString(sum[:8])
}

// nodeSpecs gives the specification of every node, with the outputs that channels use.
func nodeSpecs(c *config.Site) []node.Spec {
	var out []node.Spec
	for _, n := range c.Nodes {
		s := node.Spec{ID: n.ID, Style: machine.Style(n.Style), Run: n.Run, Stop: n.Stop, Report: n.Report, Command: n.Command,
			On: n.On, Off: n.Off, State: node.State(n.State), AutoOff: safety.MillisecondsUp(n.AutoOff),
			Online: node.Online{Topic: n.Online.Topic, Up: n.Online.Up, Down: n.Online.Down}}
		for _, ch := range c.Channels {
			if ch.Node == n.ID {
				s.Outputs = append(s.Outputs, ch.Output)
			}
		}
		out = append(out, s)
	}
	return out
}
