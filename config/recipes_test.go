package config

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"aliquot/planner"
)

// recipeDays is 2 February to 1 March 2027, a Tuesday to a Monday: four weeks with a first of a month in them.
const recipeDays = 28

var recipeFrom = time.Date(2027, 2, 2, 0, 0, 0, 0, time.UTC)

// expected is what a wish means: how many slots four weeks have, and where each lies.
var expected = map[string]struct {
	slots int
	holds func(time.Time) bool
}{
	"once a day":                        {28, at("09:15")},
	"three times a day":                 {84, at("08:15", "14:15", "20:15")},
	"every hour":                        {28 * 24, func(w time.Time) bool { return w.Minute() == 15 }},
	"every half hour":                   {28 * 48, func(w time.Time) bool { return w.Minute()%30 == 0 }},
	"every ten minutes":                 {28 * 144, func(w time.Time) bool { return w.Minute()%10 == 0 }},
	"every two hours, on the half hour": {28 * 12, func(w time.Time) bool { return w.Hour()%2 == 0 && w.Minute() == 30 }},
	"… and the other one":               {28 * 48, func(w time.Time) bool { return w.Minute()%30 == 15 }},
	"every second day":                  {14, func(w time.Time) bool { return at("09:15")(w) && days(w)%2 == 0 }},
	"every third day, split in two":     {20, func(w time.Time) bool { return at("09:15", "21:15")(w) && days(w)%3 == 0 }},
	"on weekdays": {20, func(w time.Time) bool {
		return on(w, time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday)
	}},
	"on Monday, Wednesday and Friday":    {12, func(w time.Time) bool { return on(w, time.Monday, time.Wednesday, time.Friday) }},
	"once a week":                        {4, func(w time.Time) bool { return on(w, time.Sunday) }},
	"once a month, on the first":         {1, func(w time.Time) bool { return w.Day() == 1 }},
	"at night only":                      {28 * 20, func(w time.Time) bool { return w.Hour() >= 20 || w.Hour() < 6 }},
	"in a window by day":                 {28 * 18, func(w time.Time) bool { return w.Hour() >= 10 && w.Hour() < 16 }},
	"in two windows":                     {28 * 18, func(w time.Time) bool { return (w.Hour() >= 6 && w.Hour() < 9) || (w.Hour() >= 18 && w.Hour() < 21) }},
	"day and night, most of it at night": {28 * 48, func(w time.Time) bool { return w.Minute()%30 == 0 }},
	"between two channels that are kept apart by 10 min: this one": {28 * 48, func(w time.Time) bool { return w.Minute()%30 == 0 }},
}

func at(times ...string) func(time.Time) bool {
	return func(w time.Time) bool {
		for _, t := range times {
			if w.Format("15:04") == t {
				return true
			}
		}
		return false
	}
}

func on(w time.Time, list ...time.Weekday) bool {
	for _, d := range list {
		if w.Weekday() == d {
			return true
		}
	}
	return false
}

// days counts from the day from which `every` counts.
func days(w time.Time) int { return int(w.Sub(everyStart) / (24 * time.Hour)) }

func TestRecipesDoWhatTheySay(t *testing.T) {
	if len(Recipes()) != len(expected) {
		t.Errorf("%d recipes, %d of them expected", len(Recipes()), len(expected))
	}
	for _, r := range Recipes() {
		want, ok := expected[r.Wish]
		if !ok {
			t.Errorf("nothing is expected of %q", r.Wish)
			continue
		}
		c := planner.Calendar{Schedule: scheduleOf(t, r.Slots).Cron, EveryDays: r.Every}
		if found, _ := cronTrouble(r.Slots); found != "" {
			t.Errorf("%s: %s", r.Wish, found)
		}
		slots := c.Slots(recipeFrom, recipeFrom.AddDate(0, 0, recipeDays))
		if len(slots) != want.slots {
			t.Errorf("%s: %d slots in four weeks, want %d", r.Wish, len(slots), want.slots)
		}
		for _, s := range slots {
			if !want.holds(s.At) {
				t.Errorf("%s: a slot at %s", r.Wish, s.At.Format("Mon 2 Jan 15:04"))
			}
		}
	}
}

// Whatever a recipe's slots are, they carry a day's volume a day: over a span that its pattern fits into.
func TestRecipesCarryTheWholeVolume(t *testing.T) {
	for _, r := range Recipes() {
		c := planner.Calendar{Schedule: scheduleOf(t, r.Slots).Cron, EveryDays: r.Every}
		if r.Night != "" {
			c.Night = planner.Night{From: 20 * 60, To: 8 * 60, Share: 0.7}
		}
		from, sum, night := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC), 0.0, 0.0
		span := from.AddDate(4, 0, 0)
		for _, s := range c.Slots(from, span) {
			sum += s.Days
			if h := s.At.Hour(); h >= 20 || h < 8 {
				night += s.Days
			}
		}
		all := span.Sub(from).Hours() / 24
		if math.Abs(sum-all) > 31 { // a month at the most lies at either end
			t.Errorf("%s: %g days of volume in %g days", r.Wish, sum, all)
		}
		if r.Night != "" && math.Abs(night/sum-0.7) > 1e-9 {
			t.Errorf("%s: %g of it at night", r.Wish, night/sum)
		}
	}
}

// A recipe is taken as it stands in a file.
func TestRecipesAreAccepted(t *testing.T) {
	for _, r := range Recipes() {
		channel := fmt.Sprintf("    slots: %q\n", r.Slots)
		if r.Every > 0 {
			channel += fmt.Sprintf("    every: %dd\n", r.Every)
		}
		if r.Night != "" {
			channel += "    night: " + r.Night + "\n"
		}
		site, problems, warnings := Parse("site.yaml", []byte(strings.Replace(recipeSite, "    slots: HERE\n", channel, 1)))
		if site == nil {
			t.Errorf("%s: %s", r.Wish, problems.String())
		}
		if text := warnings.String(); strings.Contains(text, "cron takes either") {
			t.Errorf("%s: %s", r.Wish, text)
		}
	}
}

// What the page says cannot be said is refused or warned of.
func TestWhatNoExpressionSays(t *testing.T) {
	for _, text := range []string{"15 9 1-7 * MON", "15 9 L * *", "15 9 * 11-3 *"} {
		site, problems, warnings := Parse("site.yaml", []byte(strings.Replace(recipeSite, "HERE", fmt.Sprintf("%q", text), 1)))
		if site != nil && !strings.Contains(warnings.String(), "cron takes either") {
			t.Errorf("%s is taken: %s%s", text, problems.String(), warnings.String())
		}
	}
}

// recipeSite is an invented site of one channel.
const recipeSite = `site: recipes
timezone: Europe/Lisbon
clock: {trust: synced}
mqtt: {broker: "mqtt://127.0.0.1:1883", prefix: aliquot}
http: {listen: "127.0.0.1:0"}
ledger: {path: ledger.db}
plan: {tick: "7 * * * *"}
systems:
  tank:
    kind: coral
    net_volume: 400 L
    salinity: 35 psu
    temperature: 25 degC
    quantities:
      strontium: {target: 8 mg/L, band: 1 mg/L, max_rise: 0.5 mg/L/day, test: {sd: 0.3 mg/L, stale_after: 60d}}
supplements:
  trace: {strength: {strontium: "0.001 mg/L per mL in 100 L"}}
containers:
  jug: {supplement: trace, capacity: 1 L, warn: 7d, stop: 50 mL, top_to_outlet: -20 cm}
nodes:
  board:
    style: bounded-run
    run: recipes/{{.Output}}/run
    stop: recipes/{{.Output}}/stop
    report: recipes/{{.Output}}/report
    online: {topic: recipes/online, up: "1", down: "0"}
channels:
  trace:
    system: tank
    container: jug
    node: board
    output: 1
    nominal_rate: 10 mL/min
    line: {bore: 3 mm, length: 1 m, lift: 0.5 m, outlet: above_water, siphon_break: true}
    fixed: 0.4 mL/day
    slots: HERE
    limits: {smallest_run: 0.3 mL, per_run: 20 mL, per_day: 40 mL, run_time: 2m}
    attended: {per_run: 30 mL, per_day: 100 mL}
`
