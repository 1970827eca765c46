package faultsim

import (
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// A mutant breaks the machine's word between the machine and the world, so that no mutation lives in production code.
// The checker must catch each of them within so many seeds, by one of the named rules; else it does not bite.
type mutant struct {
	name   string
	rules  string // one of them must be named by the violation
	within int    // seeds
	greedy bool   // the keeper asks for all there is
	kinds  []Kind // faults that every seed has, besides those of the menu
	make   func() Tamper
}

func mutants() []mutant {
	return []mutant{
		{"the reserve is skipped", "INV-4", 2, false, nil, func() Tamper { return skipReserve{} }},
		{"unknown counts as nothing", "INV-1", 12, true, []Kind{LoseReports, Careless, Restart, Restart}, func() Tamper { return unknownIsNothing{} }},
		{"a run that timed out is sent again", "INV-3", 4, false, []Kind{LoseReports}, func() Tamper { return &retryOnTimeout{runs: map[string]machine.SendRun{}} }},
		{"the client stores runs and sends them at the next connection", "INV-5", 12, true, []Kind{SlowDisk, LinkCut, Greed}, func() Tamper { return storeAndForward{} }},
		{"windows and rests are measured by the wall clock", "INV-1 REST H-25", 12, true, []Kind{ClockStep, Restart}, func() Tamper { return &wallClock{} }},
		{"asked runs are not kept apart", "H-25", 8, true, nil, func() Tamper { return noSpacing{} }},
		{"no rest", "REST", 8, true, nil, func() Tamper { return noRest{} }},
		{"no all-off at the start", "INV-11", 2, false, nil, func() Tamper { return noAllOff{} }},
		{"caps are twice what they are", "INV-1", 8, true, nil, func() Tamper { return wideCaps{} }},
		{"lockouts do not outlive a restart", "INV-7", 12, false, []Kind{LoseReports, Restart, Restart, Crash}, func() Tamper { return forgetful{} }},
		{"the clock is always believed", "INV-7", 4, false, []Kind{Unsynced}, func() Tamper { return alwaysSynced{} }},
		{"a raised cap needs no word", "INV-1", 8, true, []Kind{RaisedCap}, func() Tamper { return anyCaps{} }},
		{"a supply relay is not opened", "H-01", 8, false, []Kind{StuckOn, StuckOn}, func() Tamper { return noCut{} }},
		{"a supply relay is told once", "H-01", 12, false, []Kind{StuckOn, LoseStops}, func() Tamper { return &toldOnce{} }},
		{"alerts are told before they are stored", "INV-13", 8, false, []Kind{LoseReports}, func() Tamper { return alertsFirst{} }},
	}
}

// fewMutants is how many are tried.
var fewMutants = len(mutants())

func TestMutantsAreCaught(t *testing.T) {
	zones := zonesOf(t)
	for _, m := range mutants()[:fewMutants] {
		t.Run(strings.ReplaceAll(m.name, " ", "_"), func(t *testing.T) {
			t.Parallel()
			for seed := range m.within {
				s := m.scenario(uint64(seed+1), zones)
				if r := Run(s, Options{}); r.Violation != nil {
					t.Fatalf("seed %d fails without the mutation: %s", seed+1, r.Violation)
				}
				r := Run(s, Options{Tamper: m.make()})
				if r.Violation == nil {
					continue
				}
				for _, rule := range strings.Fields(m.rules) {
					if strings.Contains(r.Violation.Rule, rule) {
						t.Logf("caught at seed %d: %s", seed+1, r.Violation)
						return
					}
				}
				t.Fatalf("seed %d: caught by another rule than %s: %s", seed+1, m.rules, r.Violation)
			}
			t.Errorf("not caught in %d seeds", m.within)
		})
	}
}

// scenario has the kinds of fault in which the mutation can show, and few others.
func (m mutant) scenario(seed uint64, zones []*time.Location) Scenario {
	s := FromSeed(seed, 3, zones)
	s.Tail, s.Greedy = 0, m.greedy
	kinds := m.kinds
	if m.greedy {
		kinds = append([]Kind{Greed}, kinds...)
	}
	s.Faults = nil
	for i, k := range kinds {
		f := Fault{Kind: k, At: calm + time.Duration(i)*5*hour + time.Duration(seed%7)*17*time.Minute}
		for _, d := range menu {
			if d.kind == k && d.longest > 0 {
				f.For = min(d.longest, 40*hour)
			}
		}
		switch k {
		case LoseReports:
			f.N = 100
		case Greed, Careless:
			f.For = 60 * hour
		case StuckOn:
			s.Fed, f.Target, f.For = true, plug, 9*hour
		case LoseStops:
			f.N, f.At, f.For = 100, calm, 6*hour
		case Restart, Crash:
			f.For = 20 * time.Second
		case SlowDisk:
			f.N = 12_000
		case RaisedCap:
			f.At, f.For, f.Target = calm, 60*hour, []string{"alk", "ca", "mg"}[seed%3]
		case ClockStep:
			f.N, f.For = -90_000, 7*hour // and a process that begins in it
		}
		s.Faults = append(s.Faults, f)
	}
	return s
}

// instead puts something harmless in the place of the rows that match, so that the numbers stay without a gap.
func instead(rows []machine.Row, change func(machine.Body) machine.Body) []machine.Row {
	out := slices.Clone(rows)
	for i := range out {
		if b := change(out[i].Body); b != nil {
			out[i].Body = b
			if _, run := b.(machine.RunReserved); !run {
				out[i].ID = ""
			}
		}
	}
	return out
}

var nothing = machine.Note{System: "reef", Note: "other"}

// withRows changes the rows of every append.
func withRows(effects []machine.Effect, change func(machine.Body) machine.Body) []machine.Effect {
	out := slices.Clone(effects)
	for i, e := range out {
		if a, is := e.(machine.Append); is {
			out[i] = machine.Append{Rows: instead(a.Rows, change)}
		}
	}
	return out
}

type skipReserve struct{ Untouched }

func (skipReserve) Effects(_ machine.Event, effects []machine.Effect) []machine.Effect {
	return withRows(effects, func(b machine.Body) machine.Body {
		if _, is := b.(machine.RunReserved); is {
			return nothing
		}
		return nil
	})
}

type unknownIsNothing struct{ Untouched }

func (unknownIsNothing) Rows(rows []machine.Row) []machine.Row {
	return instead(rows, func(b machine.Body) machine.Body {
		if e, is := b.(machine.RunEnded); is && e.Outcome == machine.Unknown {
			e.Outcome, e.Hi, e.Lo = machine.NotSent, 0, 0
			return e
		}
		return nil
	})
}

type retryOnTimeout struct {
	Untouched
	runs map[string]machine.SendRun
}

func (m *retryOnTimeout) Effects(_ machine.Event, effects []machine.Effect) []machine.Effect {
	out := slices.Clone(effects)
	for _, e := range effects {
		switch e := e.(type) {
		case machine.SendRun:
			m.runs[e.Run] = e
		case machine.Append:
			for _, r := range e.Rows {
				if b, is := r.Body.(machine.RunEnded); is && b.Outcome == machine.Unknown {
					if run, was := m.runs[b.Run]; was {
						run.NotAfter += time.Hour
						out = append(out, run)
					}
				}
			}
		}
	}
	return out
}

type storeAndForward struct{ Untouched }

func (storeAndForward) Unsent(machine.SendRun) bool { return true }

type wallClock struct {
	Untouched
	process int
	first   time.Time
	last    time.Duration
}

func (m *wallClock) Clock(process int, i safety.Instant) safety.Instant {
	if process != m.process {
		m.process, m.first, m.last = process, i.Wall, 0
	}
	m.last = max(m.last, i.Wall.Sub(m.first))
	i.Mono = m.last
	return i
}

type noCut struct{ Untouched }

func (noCut) Effects(_ machine.Event, effects []machine.Effect) []machine.Effect {
	return slices.DeleteFunc(slices.Clone(effects), func(e machine.Effect) bool { s, is := e.(machine.StopRuns); return is && s.Node == feed })
}

type toldOnce struct {
	Untouched
	told int
}

func (m *toldOnce) Effects(_ machine.Event, effects []machine.Effect) []machine.Effect {
	return slices.DeleteFunc(slices.Clone(effects), func(e machine.Effect) bool {
		s, is := e.(machine.StopRuns)
		if is && s.Node == feed {
			m.told++
		}
		return is && s.Node == feed && m.told > 1
	})
}

type noSpacing struct{ Untouched }

func (noSpacing) Site(s *machine.Site) *machine.Site {
	out := *s
	out.KeepApart = nil
	return &out
}

// channels changes a copy of a site's channels.
func channels(s *machine.Site, change func(*machine.Channel)) *machine.Site {
	out := *s
	out.Channels = slices.Clone(s.Channels)
	for i := range out.Channels {
		change(&out.Channels[i])
	}
	return &out
}

type noRest struct{ Untouched }

func (noRest) Site(s *machine.Site) *machine.Site {
	return channels(s, func(c *machine.Channel) { c.Limits.Rest = 0 })
}

type noAllOff struct{ Untouched }

func (noAllOff) Effects(e machine.Event, effects []machine.Effect) []machine.Effect {
	if l, is := e.(machine.LinkChanged); !is || !l.Up {
		return effects
	}
	return slices.DeleteFunc(slices.Clone(effects), func(e machine.Effect) bool { _, is := e.(machine.StopRuns); return is })
}

type wideCaps struct{ Untouched }

func (wideCaps) Site(s *machine.Site) *machine.Site {
	out := channels(s, func(c *machine.Channel) { c.Limits.PerDay, c.PerDay = 2*c.Limits.PerDay, 2*c.PerDay })
	out.Systems = slices.Clone(s.Systems)
	out.Systems[0].Targets = slices.Clone(s.Systems[0].Targets)
	for i := range out.Systems[0].Targets {
		out.Systems[0].Targets[i].MaxDose *= 2
	}
	return out
}

type forgetful struct{ Untouched }

func (forgetful) Rows(rows []machine.Row) []machine.Row {
	return instead(rows, func(b machine.Body) machine.Body {
		if _, is := b.(machine.Lockout); is {
			return nothing
		}
		return nil
	})
}

type anyCaps struct{ Untouched }

func (anyCaps) Rows(rows []machine.Row) []machine.Row {
	return instead(rows, func(b machine.Body) machine.Body {
		if d, is := b.(machine.DaemonStarted); is {
			d.Bounds = nil
			return d
		}
		return nil
	})
}

type alwaysSynced struct{ Untouched }

func (alwaysSynced) Clock(_ int, i safety.Instant) safety.Instant {
	i.Synced = true
	return i
}

type alertsFirst struct{ Untouched }

func (alertsFirst) Effects(_ machine.Event, effects []machine.Effect) []machine.Effect {
	isAlert := func(e machine.Effect) bool { _, is := e.(machine.ShowAlert); return is }
	var first []machine.Effect
	for _, e := range effects {
		if isAlert(e) {
			first = append(first, e)
		}
	}
	return append(first, slices.DeleteFunc(slices.Clone(effects), isAlert)...)
}
