package main

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"aliquot/bridge/rehearse"
	"aliquot/config"
	"aliquot/planner/units"
)

// scene are the flags that say what happens in a rehearsal.
type scene struct {
	Use         []string `help:"True use of a quantity; left out, what the channel's base brings, else 1 dKH/day." placeholder:"alkalinity=1.2 dKH/day" sep:"none"`
	Start       []string `help:"True level at the start; left out, half a band below the target." placeholder:"alkalinity=7.6 dKH" sep:"none"`
	MissTests   float64  `help:"The chance that a due test is not made, 0 to 1." placeholder:"0.2"`
	Holiday     []string `help:"Nobody is there: no test, no refill." placeholder:"10d@day12" sep:"none"`
	WrongTest   []string `help:"A result entered that is off by so much." placeholder:"alkalinity=2dKH@day8" sep:"none"`
	PumpDrift   []string `help:"By how much a pump's true rate has changed at the end, or changes each week." placeholder:"alk=-10%|-2%/week" sep:"none"`
	Outage      []string `help:"A node without power, or broker, from the beginning of a day on." placeholder:"NODE@day5+6h" sep:"none"`
	PowerCut    []string `help:"The whole house without power, service and broker too." placeholder:"day5+6h" sep:"none"`
	Empties     []string `help:"A container that loses all it holds; nobody tells the service." placeholder:"CONTAINER@day9" sep:"none"`
	StuckProbe  []string `help:"A probe that repeats one reading." placeholder:"PROBE@day4+2d" sep:"none"`
	UseStep     []string `help:"The corals take up so much more or less from a day on; in every system, or in one." placeholder:"+30%@day10" sep:"none"`
	WaterChange string   `help:"Share of the water that is changed regularly, by a mix that has the targets." placeholder:"10%/7d"`
}

const (
	missTests   = "miss-tests"
	waterChange = "water-change"
)

// listed is a flag that may be given several times.
type listed struct {
	flag  string
	texts *[]string
}

func (s *scene) lists() []listed {
	return []listed{{"use", &s.Use}, {"start", &s.Start}, {"holiday", &s.Holiday}, {"wrong-test", &s.WrongTest}, {"pump-drift", &s.PumpDrift}, {"outage", &s.Outage},
		{"power-cut", &s.PowerCut}, {"empties", &s.Empties}, {"stuck-probe", &s.StuckProbe}, {"use-step", &s.UseStep}}
}

// asked lists everything that was asked for, as it was written.
func (s scene) asked() []string {
	var out []string
	for _, f := range s.lists() {
		for _, text := range *f.texts {
			out = append(out, f.flag+" "+text)
		}
	}
	if s.MissTests != 0 {
		out = append(out, fmt.Sprintf("%s %g", missTests, s.MissTests))
	}
	if s.WaterChange != "" {
		out = append(out, waterChange+" "+s.WaterChange)
	}
	return out
}

// given lists the flags of the scene that were used.
func (s scene) given() []string {
	var out []string
	for _, f := range s.lists() {
		if len(*f.texts) > 0 {
			out = append(out, "--"+f.flag)
		}
	}
	if s.MissTests != 0 {
		out = append(out, "--"+missTests)
	}
	if s.WaterChange != "" {
		out = append(out, "--"+waterChange)
	}
	return out
}

// usage is a problem of a flag: what was found, and an example of what is understood.
func usage(flag, found, why, example string) error {
	return failure{exitUsage, misread{flag, found, why, example}}
}

// misread is a text of a scene that is not understood.
type misread struct{ flag, found, why, example string }

func (m misread) Error() string {
	return fmt.Sprintf("--%s %q: %s; write it like --%s %q", m.flag, m.found, m.why, m.flag, m.example)
}

const day = 24 * time.Hour

// read turns the flags into what happens.
func (s scene) read(l loaded, into *rehearse.Scenario) error {
	if !(s.MissTests >= 0 && s.MissTests <= 1) {
		return usage("miss-tests", strconv.FormatFloat(s.MissTests, 'g', -1, 64), "a chance is 0 to 1", "0.2")
	}
	into.MissTests = s.MissTests
	for _, text := range s.Holiday {
		length, from, err := cutDay("holiday", text, "10d@day12", into.Days)
		if err != nil {
			return err
		}
		d, err := units.ParseDuration(length)
		if err != nil {
			return usage("holiday", text, err.Error(), "10d@day12")
		}
		into.Holidays = append(into.Holidays, rehearse.Span{From: from, To: from + d})
	}
	for _, read := range []func(loaded, *rehearse.Scenario) error{s.readWrongTests, s.readDrifts, s.readOutages, s.readCuts, s.readEmpties, s.readStuck, s.readUseSteps, s.readWaterChange} {
		if err := read(l, into); err != nil {
			return err
		}
	}
	into.Asked = s.asked()
	return nil
}

var dayText = regexp.MustCompile(`^day\s*(\d+)$`)

// cutDay splits "what@dayN" and gives when that day begins.
func cutDay(flag, text, example string, days int) (what string, from time.Duration, err error) {
	what, when, ok := strings.Cut(text, "@")
	if !ok {
		return "", 0, usage(flag, text, "it does not say when", example)
	}
	m := dayText.FindStringSubmatch(strings.TrimSpace(when))
	if m == nil {
		return "", 0, usage(flag, text, fmt.Sprintf("%q is no day", when), example)
	}
	n, err := strconv.Atoi(m[1])
	if err != nil || n < 1 || n > days {
		return "", 0, usage(flag, text, fmt.Sprintf("day %s is not within the %s rehearsed", m[1], count(days, "day")), example)
	}
	return strings.TrimSpace(what), time.Duration(n-1) * day, nil
}

func (s scene) readWrongTests(l loaded, into *rehearse.Scenario) error {
	const flag, example = "wrong-test", "alkalinity=2dKH@day8"
	for _, text := range s.WrongTest {
		what, from, err := cutDay(flag, text, example, into.Days)
		if err != nil {
			return err
		}
		name, value, named := strings.Cut(what, "=")
		if !named {
			name, value = string(units.Alkalinity), what
		}
		at, err := findTarget(l, flag, text, name, example)
		if err != nil {
			return err
		}
		value = strings.TrimSpace(value)
		size, negative := strings.CutPrefix(value, "-")
		v, err := units.ParseLevel(at.quantity, strings.TrimPrefix(size, "+"))
		if err != nil {
			return usage(flag, text, err.Error(), example)
		}
		if negative {
			v = -v
		}
		into.WrongTests = append(into.WrongTests, rehearse.WrongTest{System: at.system, Quantity: at.quantity, Error: v, Day: int(from/day) + 1})
	}
	return nil
}

func (s scene) readDrifts(l loaded, into *rehearse.Scenario) error {
	const flag, example = "pump-drift", "alk=-10%"
	for _, text := range s.PumpDrift {
		name, value, ok := strings.Cut(text, "=")
		if !ok {
			return usage(flag, text, "it does not say by how much", example)
		}
		if name = strings.TrimSpace(name); !hasChannel(l, name) {
			return usage(flag, text, fmt.Sprintf("there is no channel %q; there are: %s", name, strings.Join(channelNames(l), ", ")), example)
		}
		value, weekly := strings.CutSuffix(strings.TrimSpace(value), "/week")
		share, ok := percent(value)
		if weekly {
			share *= float64(into.Days) / 7
		}
		if !ok || !(share >= -0.9 && share <= 2) {
			return usage(flag, text, "a drift is -90 % to 200 % at the end; one for each week is written -2%/week", example)
		}
		into.Drifts = append(into.Drifts, rehearse.Drift{Channel: name, Share: share})
	}
	return nil
}

func (s scene) readOutages(l loaded, into *rehearse.Scenario) error {
	const flag, example = "outage", "NODE@day5+6h"
	for _, text := range s.Outage {
		when, length, ok := cutLast(text, "+")
		if !ok {
			return usage(flag, text, "it does not say for how long", example)
		}
		name, from, err := cutDay(flag, when, example, into.Days)
		if err != nil {
			return err
		}
		if name != rehearse.Broker && !hasNode(l, name) {
			return usage(flag, text, fmt.Sprintf("there is no node %q; there are: %s, and broker", name, strings.Join(nodeNames(l), ", ")), example)
		}
		d, err := units.ParseDuration(length)
		if err != nil || d <= 0 {
			return usage(flag, text, fmt.Sprintf("%q is no duration", length), example)
		}
		into.Outages = append(into.Outages, rehearse.Outage{Node: name, Span: rehearse.Span{From: from, To: from + d}})
	}
	return nil
}

func cutLast(s, sep string) (before, after string, found bool) {
	i := strings.LastIndex(s, sep)
	if i < 0 {
		return s, "", false
	}
	return s[:i], s[i+len(sep):], true
}

func (s scene) readWaterChange(_ loaded, into *rehearse.Scenario) error {
	const flag, example = "water-change", "10%/7d"
	if s.WaterChange == "" {
		return nil
	}
	much, often, ok := strings.Cut(s.WaterChange, "/")
	if !ok {
		return usage(flag, s.WaterChange, "it does not say how often", example)
	}
	share, ok := percent(much)
	if !ok || !(share > 0 && share <= 1) {
		return usage(flag, s.WaterChange, "a share is above 0 % and at most 100 %", example)
	}
	every, err := units.ParseDuration(often)
	if err != nil || every < day {
		return usage(flag, s.WaterChange, fmt.Sprintf("%q is no time of a day or longer", often), example)
	}
	into.Changes = rehearse.WaterChanges{Share: share, Every: every}
	return nil
}

// percent reads "-10 %" as -0.1.
func percent(text string) (float64, bool) {
	number, ok := strings.CutSuffix(strings.TrimSpace(text), "%")
	if !ok {
		return 0, false
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	return v / 100, err == nil
}

// targetAt is a quantity that a system has a target for.
type targetAt struct {
	system   string
	quantity units.Quantity
}

// findTarget finds what "alkalinity" or "system/alkalinity" means.
func findTarget(l loaded, flag, text, name, example string) (targetAt, error) {
	system, quantity, named := strings.Cut(strings.TrimSpace(name), "/")
	if !named {
		system, quantity = "", system
	}
	var found []targetAt
	var all []string
	for _, y := range l.Systems {
		for _, q := range y.Quantities {
			all = append(all, targetName(l, y, q))
			if (system == "" || y.ID == system) && strings.EqualFold(string(q.Quantity), quantity) {
				found = append(found, targetAt{y.ID, q.Quantity})
			}
		}
	}
	switch len(found) {
	case 0:
		return targetAt{}, usage(flag, text, fmt.Sprintf("there is no target for %q; there are: %s", name, strings.Join(all, ", ")), example)
	case 1:
		return found[0], nil
	}
	return targetAt{}, usage(flag, text, fmt.Sprintf("%q is in several systems; say which: %s", name, strings.Join(all, ", ")), all[0]+strings.TrimPrefix(example, string(units.Alkalinity)))
}

func targetName(l loaded, y config.System, q config.Target) string {
	if len(l.Systems) == 1 {
		return string(q.Quantity)
	}
	return y.ID + "/" + string(q.Quantity)
}

func channelNames(l loaded) (out []string) {
	for _, c := range l.Channels {
		out = append(out, c.ID)
	}
	return out
}

func nodeNames(l loaded) (out []string) {
	for _, n := range l.Nodes {
		out = append(out, n.ID)
	}
	return out
}

func hasChannel(l loaded, id string) bool { return has(channelNames(l), id) }
func hasNode(l loaded, id string) bool    { return has(nodeNames(l), id) }

func has(list []string, id string) bool {
	for _, x := range list {
		if x == id {
			return true
		}
	}
	return false
}
