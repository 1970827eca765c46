package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"aliquot/bridge/rehearse"
)

func scenarioFile(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "s.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// A file says the same as the flags of its names.
func TestScenarioFileIsTheFlags(t *testing.T) {
	t.Parallel()
	l, err := load(filepath.Join("..", "..", "deploy", "sites", "demo.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	flags := rehearseCommand{Days: 21, Seed: 3, scene: scene{Use: []string{"alkalinity=1.2 dKH/day"}, MissTests: 0.5, Holiday: []string{"2d@day12"},
		WrongTest: []string{"calcium=-40mg/L@day8"}, PumpDrift: []string{"ca=-2%/week", "alk=+5%"}, Outage: []string{"broker@day5+6h"}, PowerCut: []string{"day2+5h"},
		Empties: []string{"calcium-bottle@day9"}, UseStep: []string{"+30%@day1", "frag-tank=-10%@day10"}, WaterChange: "15 %/2w"}}
	file := rehearseCommand{Days: 21, Seed: 3, Scenario: scenarioFile(t, `
use: alkalinity=1.2 dKH/day
miss_tests: 0.5
holiday: [2d@day12]
wrong_test: calcium=-40mg/L@day8
pump_drift: [ca=-2%/week, alk=+5%]
outage: broker@day5+6h
power_cut: day2+5h
empties: calcium-bottle@day9
use_step: [+30%@day1, frag-tank=-10%@day10]
water_change: 15 %/2w
`)}
	a, errA := flags.options(l)
	b, errB := file.options(l)
	if errA != nil || errB != nil {
		t.Fatal(errA, errB)
	}
	if !reflect.DeepEqual(a.Scenario, b.Scenario) || !reflect.DeepEqual(a.Waters, b.Waters) {
		t.Errorf("flags\n%+v\nfile\n%+v", a.Scenario, b.Scenario)
	}
	s := b.Scenario
	if len(s.Asked) != 12 || s.Cuts[0] != (rehearse.Span{From: day, To: day + 5*time.Hour}) || s.Empties[0] != (rehearse.Empties{Container: "calcium-bottle", At: 8 * day}) ||
		s.UseSteps[1] != (rehearse.UseStep{System: "frag-tank", Factor: 0.9, At: 9 * day}) || s.Drifts[0].Share > -0.0599 || s.Drifts[0].Share < -0.0601 {
		t.Errorf("scenario %+v", s)
	}
}

// Every mistake of a file is said at once, each with its place, and nothing is rehearsed.
func TestScenarioFileMistakes(t *testing.T) {
	t.Parallel()
	path := scenarioFile(t, "miss_tests: 2\nholidays: 1d@day2\nuse_step: [+30%@day99, x=+3%@day1]\nempties: jug@day2\nstuck_probe: nose@day3+1h\npower_cut: day3\npump_drift: alk=-1%\nuse: calcium=10 mg/L/day\n")
	got := command(t, rehearsal("demo.yaml", "--days", "3", "--scenario", path)...)
	for _, want := range []string{"s.yaml:1:13", "a chance is 0 to 1", "s.yaml:2:1", "did you mean holiday?", "s.yaml:3:12", "day 99 is not within", "s.yaml:3:24", "there are: frag-tank",
		"s.yaml:4:10", "there are: alkaline-bottle", "s.yaml:5:14", "there is no probe", "s.yaml:6:12", "for how long", "s.yaml:8:6", "8 problems"} {
		if got.code != exitUsage || got.out != "" || !contains(got.err, want) {
			t.Errorf("want code %d and %q: %s", exitUsage, want, got)
		}
	}
	history := filepath.Join("testdata", "plan", "history.jsonl")
	if got := command(t, rehearsal("demo.yaml", "--history", history, "--scenario", path)...); got.code != exitUsage || !contains(got.err, "--scenario is for a simulated time") {
		t.Errorf("a history with a scenario: %s", got)
	}
}

// The scenarios that are shipped as examples can be rehearsed, and no cap is exceeded.
func TestScenarioExamples(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "scenarios", "*.yaml"))
	if err != nil || len(files) < 2 {
		t.Fatalf("%d scenarios, %v", len(files), err)
	}
	for _, file := range files {
		var r rehearse.Result
		if err := json.Unmarshal([]byte(must(t, rehearsal("demo.yaml", "--days", "14", "--scenario", file, "--format", "json")...)), &r); err != nil {
			t.Fatal(err)
		}
		if len(r.Asked) == 0 || len(r.Exceeded) > 0 || r.Commissioned == nil {
			t.Errorf("%s: asked %v, exceeded %v, ready %v", filepath.Base(file), r.Asked, r.Exceeded, r.Commissioned)
		}
	}
}
