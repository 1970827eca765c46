package config

import (
	"math"
	"os"
	"testing"
	"time"

	"aliquot/planner"
	"aliquot/planner/units"
	"aliquot/safety"
)

func readFileT(t *testing.T, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// checkInvariants states again, by other means than the reader's, what every accepted site fulfils.
func checkInvariants(t *testing.T, s *Site) {
	t.Helper()
	fail := func(ok bool, format string, args ...any) {
		t.Helper()
		if !ok {
			t.Errorf(format, args...)
		}
	}
	finite := func(what string, xs ...float64) {
		t.Helper()
		for _, x := range xs {
			fail(!math.IsNaN(x) && !math.IsInf(x, 0), "%s is %v", what, x)
		}
	}
	fail(s.Zone != nil && nameTrouble(s.Name) == "" && nameTrouble(s.MQTT.Prefix) == "", "site %q in %v below %q", s.Name, s.Zone, s.MQTT.Prefix)
	fail(s.MQTT.Embedded != nil || s.MQTT.Host != "" && s.MQTT.Port > 0 && s.MQTT.Port < 65536, "broker %+v", s.MQTT)
	for _, y := range s.Systems {
		fail(y.NetLitres >= 5 && y.NetLitres <= 20000, "system %s has %v L", y.ID, y.NetLitres)
		finite(y.ID, y.SalinityPSU, y.TemperatureC)
		for _, q := range y.Quantities {
			finite(string(q.Quantity), q.Target, q.Band, q.MaxRise, q.MaxFall, q.MaxDose, q.TestSD)
			fail(q.Band > 0 && q.MaxRise > 0 && q.MaxFall > 0 && q.TestSD > 0 && q.StaleAfter > 0, "target %+v", q)
		}
	}
	for _, c := range s.Containers {
		fail(c.Stop > 0 && c.Stop < c.Capacity, "container %s stops at %v of %v", c.ID, c.Stop, c.Capacity)
	}
	for _, p := range s.Supplements {
		fail(len(p.Strength) > 0 || len(p.Solution) > 0, "supplement %s has no strength", p.ID)
		for q, x := range p.Strength {
			finite(p.ID+" "+string(q), x)
		}
	}
	checkLateAndLimewater(s, fail)
	for _, c := range s.Channels {
		checkChannelInvariants(t, s, c, fail, finite)
	}
	for _, p := range s.KeepApart {
		fail(p.Gap >= 5*time.Minute && p.A != p.B, "pair %+v", p)
	}
	for _, p := range s.Probes {
		fail(p.Quantity == units.Switch || p.Low < p.High, "probe %+v", p)
		fail(p.StaleAfter > 0 && p.StaleAfter <= 30*time.Minute, "probe %s is stale after %v", p.ID, p.StaleAfter)
	}
	for _, l := range s.Interlocks {
		fail(l.BlockAll || len(l.Block) > 0, "interlock %s blocks nothing", l.Name)
		fail(l.When.Relation != "", "interlock %s has no condition", l.Name)
	}
}

// checkLateAndLimewater: limewater stays within evaporation, and only alkalinity is late.
func checkLateAndLimewater(s *Site, fail func(bool, string, ...any)) {
	lime, inside := map[string]bool{}, map[string]string{}
	for _, p := range s.Supplements {
		lime[p.ID] = p.Limewater != nil
		fail((p.LateShare > 0) == (p.AppearsOver > 0) && p.LateShare >= 0 && p.LateShare <= 1, "supplement %s: %v late over %v", p.ID, p.LateShare, p.AppearsOver)
		fail(p.LateShare == 0 || p.Strength[units.Alkalinity] > 0 && p.Limewater == nil && p.AppearsOver >= time.Hour && p.AppearsOver <= 96*time.Hour, "supplement %s is late", p.ID)
		for _, salt := range p.Solution {
			fail(salt.Purity >= 0.01 && salt.Purity <= 1 && salt.GPerL > 0, "supplement %s: %+v", p.ID, salt)
		}
	}
	for _, c := range s.Containers {
		inside[c.ID] = c.Supplement
	}
	for _, y := range s.Systems {
		sum := 0.0
		for _, c := range s.Channels {
			if c.System == y.ID && lime[inside[c.Container]] {
				sum += c.Limits.PerDay.Millilitres()
			}
		}
		fail(sum <= y.Evaporation+1e-6 && y.Evaporation <= 100.001*y.NetLitres, "system %s gets %v mL of limewater and loses %v mL", y.ID, sum, y.Evaporation)
	}
}

func checkChannelInvariants(t *testing.T, s *Site, c Channel, fail func(bool, string, ...any), finite func(string, ...float64)) {
	t.Helper()
	l := c.Limits
	fail(l.SmallestRun > 0 && l.SmallestRun <= l.PerRun && l.PerRun <= l.PerDay, "channel %s: %v ≤ %v ≤ %v", c.ID, l.SmallestRun, l.PerRun, l.PerDay)
	fail(l.RunTime >= 1000 && l.RunTime <= safety.RunMax && l.Rest >= time.Minute, "channel %s: run_time %v, rest %v", c.ID, l.RunTime, l.Rest)
	fail(c.Attended.PerRun > 0 && c.Attended.PerRun <= c.Attended.PerDay, "channel %s: attended %+v", c.ID, c.Attended)
	fail(c.NominalRate == 0 || c.NominalRate.TimeFor(l.PerRun) <= l.RunTime, "channel %s: a run of %v takes longer than %v", c.ID, l.PerRun, l.RunTime)
	fail(c.Slots.Cron != nil && !c.Slots.Cron.Next(everyStart).IsZero() && c.Every >= 1, "channel %s never runs", c.ID)
	fail(c.Output >= 0, "channel %s has output %d", c.ID, c.Output)
	finite(c.ID, c.FixedPerDay, c.ShareRatio, c.Line.BoreMM, c.Line.LengthMM, c.Line.LiftMM)
	system, container := System{}, Container{}
	for _, y := range s.Systems {
		if y.ID == c.System {
			system = y
		}
	}
	for _, v := range s.Containers {
		if v.ID == c.Container {
			container = v
		}
	}
	fail(system.ID != "" && container.ID != "", "channel %s refers to nothing", c.ID)
	for _, p := range s.Supplements {
		if p.ID != container.Supplement {
			continue
		}
		ml := l.PerRun.Millilitres() / system.NetLitres
		fail(ml*p.Strength[units.Alkalinity] < 0.5001 && ml*p.Strength[units.Calcium] < 10.001 && ml*p.Strength[units.Magnesium] < 25.001,
			"channel %s: one run shifts %s by %v", c.ID, system.ID, p.Strength)
		fail(c.Mode != planner.Follow || p.Strength[c.Follow] > 0, "channel %s follows %s, which %s does not raise", c.ID, c.Follow, p.ID)
	}
}
