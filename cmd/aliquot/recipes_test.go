package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/config"
)

// nodeRecipe is a block of YAML in deploy/NODES.md.
var nodeRecipe = regexp.MustCompile("(?s)```yaml\n(nodes:\n.*?)```")

// recipeSite is a site with one channel on the first node of a recipe.
const recipeSite = `site: recipe
timezone: UTC
clock: {trust: confirmed}
mqtt: {broker: "mqtt://127.0.0.1:1883", prefix: aliquot}
http: {listen: 127.0.0.1:9480}
ledger: {path: ledger.db}
plan: {tick: "7 * * * *"}
systems:
  tank: {kind: coral, net_volume: 400 L, salinity: 35 psu, temperature: 25 degC, quantities: {}}
supplements:
  trace: {strength: {potassium: "0.001 mg/L per mL in 100 L"}}
containers:
  can: {supplement: trace, capacity: 1 L, warn: 3d, stop: 50 mL, top_to_outlet: -20 cm}
channels:
  trace:
    system: tank
    container: can
    node: %s
    output: 1
    nominal_rate: 10 mL/min
    line: {bore: 1 mm, length: 0.3 m, lift: 0.2 m, outlet: above_water}
    fixed: 3 mL/day
    slots: "15 9 * * *"
    limits: {smallest_run: 1 mL, per_run: 4 mL, per_day: 30 mL, run_time: 25s}
    attended: {per_run: 30 mL, per_day: 300 mL}
%s`

// TestRecipes reads every node of deploy/NODES.md as a keeper's configuration would be, and looks at the messages that
// it makes of a run of 19.6 s and of a stop.
func TestRecipes(t *testing.T) {
	page, err := os.ReadFile(filepath.Join("..", "..", "deploy", "NODES.md"))
	if err != nil {
		t.Fatal(err)
	}
	found := nodeRecipe.FindAllStringSubmatch(string(page), -1)
	want := []struct{ run, stop string }{
		{`shed/pumps/1/run {"v":1,"id":"R","seconds":19.600,"volume_ml":3.20,"expires":"2027-03-02T09:00:10Z"}`, `shed/pumps/1/stop {"v":1,"id":"R"}`},
		{`cmnd/shed-plug/Backlog0 TimedPower1 19600`, `cmnd/shed-plug/Backlog0 Power1 OFF`},
		{`shed-plug/rpc {"id":7,"src":"aliquot","method":"Switch.Set","params":{"id":1,"on":true,"toggle_after":19.6}}`,
			`shed-plug/rpc {"id":8,"src":"aliquot","method":"Switch.Set","params":{"id":1,"on":false}}`},
		{`shed/plug/set on`, `shed/plug/set off`},
		{`shed/pumps/1/run {"v":1,"id":"R","seconds":19.600,"volume_ml":3.20,"expires":"2027-03-02T09:00:10Z"}`, `shed/pumps/1/stop {"v":1,"id":"R"}`},
	}
	if len(found) != len(want) {
		t.Fatalf("%d recipes; want %d", len(found), len(want))
	}
	for i, f := range found {
		name := strings.TrimSuffix(strings.TrimSpace(strings.Split(f[1], "\n")[1]), ":")
		t.Run(fmt.Sprint(i+1, " ", name), func(t *testing.T) {
			site, problems, warnings := config.Parse("recipe.yaml", fmt.Appendf(nil, recipeSite, name, f[1]))
			if site == nil {
				t.Fatal(problems)
			}
			l, err := complete(site, warnings)
			if err != nil {
				t.Fatal(err)
			}
			run := machine.SendRun{Expires: time.Date(2027, 3, 2, 9, 0, 10, 0, time.UTC),
				RunReserved: machine.RunReserved{Run: "R", Node: name, Output: 1, Serial: 7, Volume: 3200, Duration: 19600}}
			topic, payload := l.codecs[0].Run(run)
			if got := topic + " " + string(payload); got != want[i].run {
				t.Errorf("a run is %s; want %s", got, want[i].run)
			}
			topic, payload = l.codecs[0].Stop(machine.StopRuns{Node: name, Output: 1, Run: "R", Serial: 8})
			if got := topic + " " + string(payload); got != want[i].stop {
				t.Errorf("a stop is %s; want %s", got, want[i].stop)
			}
			for _, c := range l.codecs[1:] { // of a supply relay
				topic, payload := c.Stop(machine.StopRuns{Node: c.ID(), Output: machine.SupplyOutput, Run: "*", Serial: 9})
				if got := topic + " " + string(payload); got != "cmnd/shed-feed/POWER1 OFF" {
					t.Errorf("its supply is opened by %s", got)
				}
			}
		})
	}
}
