package config

import (
	"math"
	"strings"
	"testing"
	"time"

	"aliquot/planner"
	"aliquot/planner/units"
	"aliquot/safety"
)

func near1(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(1, math.Abs(b)) }

// What every-key.yaml says in other units arrives in canonical ones.
func TestTypedValues(t *testing.T) {
	s, problems, _ := parseFile(t, "../testdata/config/good/every-key.yaml")
	if s == nil {
		t.Fatal(problems)
	}
	y := s.Systems[0]
	// 1 US gallon = 3.785411784 L exactly (NIST Handbook 44); 77 °F = 25 °C.
	for _, p := range s.Probes {
		if p.Unheard != (p.ID == "kh") {
			t.Errorf("probe %s: left out of the estimate: %v", p.ID, p.Unheard)
		}
	}
	if y.Light != (planner.Light{From: 14*60 + 30, To: 30}) {
		t.Errorf("light = %+v", y.Light)
	}
	if !near1(y.NetLitres, 378.5411784) || !near1(y.TemperatureC, 25) || y.SalinityPSU != 35 || y.Kind != planner.Fish {
		t.Errorf("system = %+v", y)
	}
	q := y.Quantities[0]
	// 1 dKH = 17.848 mg/L CaCO3; 0.1 meq/L = 0.2804 dKH.
	if math.Abs(q.Target-143/17.848) > 1e-3 || math.Abs(q.TestSD-0.28039) > 1e-4 || q.MaxFall != 0.4 || q.DueEvery != 7*24*time.Hour {
		t.Errorf("alkalinity = %+v", q)
	}
	c := s.Channels[0]
	rate, err := safety.RateFromMillilitresPerMinute(10)
	if err != nil || c.NominalRate != rate {
		t.Errorf("0.6 L/h = %v, want %v", c.NominalRate, rate)
	}
	if *c.Base != 40_000 || c.Limits.PerRun != 10_000 || c.Limits.RunTime != 60_000 || c.Limits.Rest != 10*time.Minute || c.Line.LengthMM != 1500 || c.Line.TubingLife != 500*time.Hour {
		t.Errorf("channel soda = %+v", c)
	}
	if top := s.Containers[0].TopToOutletMM; top == nil || !near1(*top, 101.6) || s.Containers[2].TopToOutletMM != nil {
		t.Errorf("top_to_outlet = %v", top)
	}
	if l := s.Containers[0].Level; l.TareG != 200 || !near1(l.DensityKgPerL, 1.045) || l.Path != "weight.net" {
		t.Errorf("level = %+v", l)
	}
	if x := s.Channels[2]; x.Every != 2 || x.Start.Format(time.DateOnly) != "2027-03-01" || x.Mode != planner.Fixed || x.FixedPerDay != 2 {
		t.Errorf("channel label = %+v", x)
	}
	if x := s.Interlocks[1]; !near1(x.When.Value, (70-32)/1.8) || x.Until.Value != 22 || !x.BlockAll || !x.StaleIgnore {
		t.Errorf("interlock cold = %+v", x)
	}
	if n := s.Nodes[1]; n.State.On != "true" || n.AutoOff != 30*time.Second || n.Style != Switch {
		t.Errorf("node relay = %+v", n)
	}
	if m := s.MQTT; m.Port != 8883 || m.Host != "10.0.0.2" || m.TLS == nil || m.Discovery.Prefix != "home/discovery" {
		t.Errorf("mqtt = %+v", m)
	}
	if at, ok := s.Where("channels.soda.limits.per_run"); !ok || at.Line != 78 || at.Col != 45 {
		t.Errorf("Where = %v, %v", at, ok)
	}
}

// Defaults are filled in where keys are left out.
func TestDefaults(t *testing.T) {
	s := parseSite(t, baseSite(t))
	alk, ca := s.Systems[0].Quantities[0], s.Systems[0].Quantities[1]
	if ca.Band != 20 || ca.MaxFall != ca.MaxRise || ca.StaleAfter != 21*24*time.Hour || alk.Band != 0.5 || alk.MaxFall != 0.7 {
		t.Errorf("targets = %+v, %+v", alk, ca)
	}
	c := s.Channels[1]
	if c.Limits.SmallestRun != 300 || c.Limits.Rest != 5*time.Minute || c.Attended != (Attended{60_000, 700_000}) || c.Every != 1 || !c.Start.Equal(everyStart) || c.Base != nil {
		t.Errorf("channel ca = %+v", c)
	}
	if s.MQTT.Discovery.Enabled || s.MQTT.TLS != nil {
		t.Errorf("mqtt = %+v", s.MQTT)
	}
}

// baseSite is the file that the files below bad were made from, without a mistake.
func baseSite(t *testing.T) string {
	t.Helper()
	return string(readFileT(t, "../testdata/config/good/base.yaml"))
}

func parseSite(t *testing.T, text string) *Site {
	t.Helper()
	s, problems, _ := Parse("f", []byte(text))
	if s == nil {
		t.Fatalf("problems:\n%s", problems)
	}
	return s
}

// edit replaces the one place of old in the base file.
func edit(t *testing.T, pairs ...string) string {
	t.Helper()
	text := baseSite(t)
	for i := 0; i < len(pairs); i += 2 {
		if strings.Count(text, pairs[i]) != 1 {
			t.Fatalf("%q is there %d times", pairs[i], strings.Count(text, pairs[i]))
		}
		text = strings.Replace(text, pairs[i], pairs[i+1], 1)
	}
	return text
}

// Limits are judged just below, at and just above their bounds. want is a part of the problem, empty if the
// file is right.
func TestBounds(t *testing.T) {
	const (
		alkRun = "per_run: 8 mL, per_day: 180 mL, run_time: 60s, rest: 5m"
		soda   = "{solution: {sodium carbonate: 80 g/L}}"
		lye    = "{solution: {sodium hydroxide: 60 g/L}}"
	)
	for _, c := range []struct {
		name string
		edit []string
		want string
	}{
		{"net volume 5 L", []string{"net_volume: 300 L", "net_volume: 5 L"}, "moves the alkalinity"},
		{"net volume below 5 L", []string{"net_volume: 300 L", "net_volume: 4.99 L"}, "out of range"},
		{"net volume 20000 L", []string{"net_volume: 300 L", "net_volume: 20000 L"}, ""},
		{"net volume above", []string{"net_volume: 300 L", "net_volume: 20001 L"}, "out of range"},
		{"max rise at bound", []string{"max_rise: 0.7 dKH/day", "max_rise: 1.0 dKH/day"}, ""},
		{"max rise above", []string{"max_rise: 0.7 dKH/day", "max_rise: 1.01 dKH/day"}, "at most 1 dKH/day"},
		{"max rise zero", []string{"max_rise: 0.7 dKH/day", "max_rise: 0 dKH/day"}, "above 0"},
		{"stale after at bound", []string{"stale_after: 10d", "stale_after: 21d"}, ""},
		{"stale after above", []string{"stale_after: 10d", "stale_after: 22d"}, "out of range"},
		{"rest at bound", []string{"rest: 5m", "rest: 1m"}, ""},
		{"rest below", []string{"rest: 5m", "rest: 59s"}, "out of range"},
		{"run time at need", []string{alkRun, "per_run: 8 mL, per_day: 180 mL, run_time: 48s, rest: 5m"}, ""},
		{"run time below need", []string{alkRun, "per_run: 8 mL, per_day: 180 mL, run_time: 47.9s, rest: 5m"}, "takes 48 s"},
		{"per run shifts alkalinity by 0.5", []string{alkRun, "per_run: 35.4 mL, per_day: 180 mL, run_time: 220s, rest: 5m"}, ""},
		{"per run shifts alkalinity by more", []string{alkRun, "per_run: 35.5 mL, per_day: 180 mL, run_time: 220s, rest: 5m"}, "moves the alkalinity"},
		{"per run shifts pH by 0.10", []string{soda, lye, alkRun, "per_run: 18.338 mL, per_day: 180 mL, run_time: 172s, rest: 5m"}, ""},
		{"per run shifts pH by more", []string{soda, lye, alkRun, "per_run: 18.339 mL, per_day: 180 mL, run_time: 172s, rest: 5m"}, "moves the pH of tank from 8.1 by +0.100 at once, at most 0.10; lower per_run to 18.338 mL"},
		{"less alkalinity holds pH less", []string{soda, lye, "target: 8.3 dKH", "target: 7.0 dKH", alkRun, "per_run: 18.3 mL, per_day: 180 mL, run_time: 172s, rest: 5m"}, "moves the pH of tank"},
		{"impure lye shifts pH less", []string{soda, "{solution: {sodium hydroxide: {amount: 60 g/L, purity: 90 %}}}", alkRun, "per_run: 20.3 mL, per_day: 180 mL, run_time: 172s, rest: 5m"}, ""},
		{"day just holds one run", []string{alkRun, "per_run: 8 mL, per_day: 8.4 mL, run_time: 60s, rest: 5m", "base: 60 mL/day", "base: 5 mL/day"}, ""},
		{"day just does not", []string{alkRun, "per_run: 8 mL, per_day: 8.39 mL, run_time: 60s, rest: 5m", "base: 60 mL/day", "base: 5 mL/day"}, "may move 8.4 mL"},
		{"lift at warning", []string{"length: 1.6 m, lift: 0.7 m, outlet: above_water}\n    follow", "length: 2 m, lift: 1.8 m, outlet: above_water}\n    follow"}, ""},
		{"lift above", []string{"length: 1.6 m, lift: 0.7 m, outlet: above_water}\n    follow", "length: 2 m, lift: 1.81 m, outlet: above_water}\n    follow"}, "at most 1.8 m"},
		{"line shorter than lift", []string{"length: 1.6 m, lift: 0.7 m, outlet: above_water}\n    follow", "length: 0.6 m, lift: 0.7 m, outlet: above_water}\n    follow"}, "at least as long"},
		{"top at outlet", []string{"soda, capacity: 5 L, warn: 7d, stop: 150 mL, top_to_outlet: -20 cm", "soda, capacity: 5 L, warn: 7d, stop: 150 mL, top_to_outlet: 0 cm"}, ""},
		{"top above outlet", []string{"soda, capacity: 5 L, warn: 7d, stop: 150 mL, top_to_outlet: -20 cm", "soda, capacity: 5 L, warn: 7d, stop: 150 mL, top_to_outlet: 1 mm"}, "above the outlet"},
		{"gap at bound", []string{"gap: 10m", "gap: 5m"}, ""},
		{"gap below", []string{"gap: 10m", "gap: 299s"}, "out of range"},
		{"gap and run fill the time between", []string{"gap: 10m", "gap: 14m"}, ""},
		{"gap and run need more", []string{"gap: 10m", "gap: 14m1s"}, "must be"},
		{"probe age at bound", []string{"stale_after: 10m", "stale_after: 30m"}, ""},
		{"probe age above", []string{"stale_after: 10m", "stale_after: 30m1s"}, "out of range"},
		{"pH at alarm", []string{"above: 8.50", "above: 8.60"}, ""},
		{"pH above alarm", []string{"above: 8.50", "above: 8.601"}, "at most 8.60"},
		{"until at distance", []string{"below: 8.40", "below: 8.45"}, ""},
		{"until nearer", []string{"below: 8.40", "below: 8.451"}, "until must be below"},
		{"fixed at per_run", []string{"fixed: 1 mL/day", "fixed: 2 mL/day"}, ""},
		{"fixed above per_run", []string{"fixed: 1 mL/day", "fixed: 2.01 mL/day"}, "a slot must not need more"},
		{"auto_off at 1.5 per_run", []string{`on: "on {{.Seconds}}"`, "on: \"on\"\n    auto_off: 34.2s"}, ""},
		{"auto_off above", []string{`on: "on {{.Seconds}}"`, "on: \"on\"\n    auto_off: 34.5s"}, "at most 1.5 × per_run"},
		{"time in millis", []string{`on: "on {{.Seconds}}"`, `on: "on {{ .Millis }}"`}, ""},
		{"time in a pipeline", []string{`on: "on {{.Seconds}}"`, `on: 'on {{printf "%.0f" .Seconds}}'`}, ""},
		{"another word is no time", []string{`on: "on {{.Seconds}}"`, `on: "on {{.SecondsLeft}}"`}, "carries no time"},
		{"output 0", []string{"output: 1\n", "output: 0\n"}, ""},
		{"output above", []string{"output: 1\n", "output: 256\n"}, "must be a whole number"},
		{"stop just below capacity", []string{"capacity: 250 mL, warn: 14d, stop: 20 mL", "capacity: 250 mL, warn: 14d, stop: 240 mL"}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			site, problems, _ := Parse("f", []byte(edit(t, c.edit...)))
			switch {
			case c.want == "" && site == nil:
				t.Errorf("refused:\n%s", problems)
			case c.want != "" && !strings.Contains(problems.String(), c.want):
				t.Errorf("problems do not say %q:\n%s", c.want, problems)
			}
			if site != nil {
				checkInvariants(t, site)
			}
		})
	}
}

// Warnings refuse nothing and say what the keeper should look at.
func TestWarnings(t *testing.T) {
	const alkLine = "length: 1.6 m, lift: 0.7 m, outlet: above_water}\n    follow"
	for _, c := range []struct {
		name string
		edit []string
		want string
	}{
		{"lift", []string{alkLine, "length: 2 m, lift: 1.51 m, outlet: above_water}\n    follow"}, "channels.alk.line.lift: the lift is 1.51 m"},
		{"back-flow", []string{alkLine, "length: 2 m, lift: 0.7 m, outlet: under_water}\n    follow"}, "tank water can run back"},
		{"no outlet", []string{alkLine, "length: 2 m, lift: 0.7 m}\n    follow"}, "channels.alk.line.outlet: not declared"},
		{"day and week", []string{`"15 9 * * *"`, `"15 9 13 * 5"`, "    every: 2d\n", "", "fixed: 1 mL/day", "fixed: 0.2 mL/day"}, "fires on each of both"},
		{"no interlock on pH", []string{"block: [alk]", "block: [ca]"}, "channels.alk: soda raises pH, and no interlock on the probe ph blocks it"},
		{"max_dose absent", []string{" max_dose: 2 dKH/day,", ""}, "max_dose: not declared, the per_day of its channels together allow 2.54 dKH/day"},
		{"remote without TLS", []string{"mqtt://127.0.0.1:1883", "mqtt://10.0.0.2:1883"}, "10.0.0.2 is reached without TLS"},
		{"no user", []string{", username: aliquot, password_file: /nowhere/password", ""}, "mqtt.username: not declared"},
		{"no password", []string{", password_file: /nowhere/password", ""}, "mqtt.password_file: not declared"},
		{"page open", []string{"listen: 127.0.0.1:9480", "listen: 0.0.0.0:9480"}, "0.0.0.0:9480 can be reached from outside"},
		{"spill", nil, "all 5000 mL of it in tank would raise alkalinity by 70.5 dKH, above 3 dKH"},
		{"fast slots", []string{`"15 9 * * *"`, `"15,18 9 * * *"`}, "slots at 09:15 and 09:18 are 180s apart"},
		{"poor test", []string{"sd: 0.15 dKH", "sd: 0.6 dKH"}, "sd is 0.6 dKH, band is 0.5 dKH"},
		{"tight day", []string{"per_day: 6 mL", "per_day: 4.1 mL"}, "a day's plan and one run are 4 mL, 4.2 mL with 5 % more; per_day is 4.1 mL"},
		{"fresh water", []string{"salinity: 35 psu", "salinity: 12 psu"}, "the formulas for pH do not hold in tank (12 psu, 25 degC), how far one run moves pH is judged at 19 psu and 25 degC"},
		{"no pH bound", []string{"{solution: {sodium carbonate: 80 g/L}}", `{strength: {alkalinity: "1 dKH per mL in 4 L"}}`}, "how far one run moves pH is not checked"},
		{"share across systems", []string{"supplements:\n", "  other: {kind: coral, net_volume: 300 L, salinity: 35 psu, temperature: 25 degC, quantities: {}}\nsupplements:\n", "  ca:\n    system: tank", "  ca:\n    system: other"}, "doses into another system"},
	} {
		t.Run(c.name, func(t *testing.T) {
			site, problems, warnings := Parse("f", []byte(edit(t, c.edit...)))
			if site == nil {
				t.Fatalf("refused:\n%s", problems)
			}
			if !strings.Contains(warnings.String(), c.want) {
				t.Errorf("warnings do not say %q:\n%s", c.want, warnings)
			}
		})
	}
}

// Incompatible solutions without a declared gap get one; compatible ones and other systems do not.
func TestImplicitPairs(t *testing.T) {
	undeclared := []string{"keep_apart:\n  - {channels: [alk, ca], gap: 10m}\n", "", `"15,45 * * * *"`, `"30 * * * *"`, `"*/30 * * * *"`, `"0 * * * *"`}
	s := parseSite(t, edit(t, undeclared...))
	if len(s.KeepApart) != 1 || s.KeepApart[0].A != "alk" || s.KeepApart[0].B != "ca" || s.KeepApart[0].Gap != 15*time.Minute || !s.KeepApart[0].Implicit {
		t.Errorf("alk and ca undeclared: KeepApart = %+v, want one implicit gap of 15m", s.KeepApart)
	}
	apart := append(undeclared, "supplements:\n", "  other: {kind: coral, net_volume: 300 L, salinity: 35 psu, temperature: 25 degC, quantities: {}}\nsupplements:\n",
		"  ca:\n    system: tank", "  ca:\n    system: other")
	if s := parseSite(t, edit(t, apart...)); len(s.KeepApart) != 0 {
		t.Errorf("alk and ca in two systems: KeepApart = %+v, want none", s.KeepApart)
	}
	if s := parseSite(t, baseSite(t)); len(s.KeepApart) != 1 || s.KeepApart[0].Implicit || s.KeepApart[0].Gap != 10*time.Minute {
		t.Errorf("alk and ca declared: KeepApart = %+v, want the declared gap", s.KeepApart)
	}
}

func TestNamesOfQuantitiesCanBeFollowed(t *testing.T) {
	for _, q := range doseableNames() {
		if !units.Quantity(q).Known() {
			t.Errorf("%q is no quantity", q)
		}
	}
}
