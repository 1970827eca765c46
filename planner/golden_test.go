package planner_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"aliquot/planner"
	"aliquot/planner/units"
)

var rewrite = flag.Bool("rewrite", false, "write the golden files anew")

// Each story is a plan for a day; -rewrite writes them anew.
func TestGoldenPlans(t *testing.T) {
	stories := []struct {
		file, story string
		in          planner.Input
	}{
		{"gathered.txt", "A fixed channel of 2 mL a day with a slot every half hour gathers its demand into runs of 0.3 mL and more.", fixed(t, "*/30 * * * *", 0, 2)},
		{"below-target.txt", "Alkalinity 0.2 dKH below its target: use and a correction, every two hours; an equal share of calcium beside it.", shared(t)},
		{"spring-night.txt", "The night on which the clock goes forward: 01:00 to 02:00 do not exist, their demand is given at 02:00.", spring(t)},
	}
	for _, s := range stories {
		t.Run(s.file, func(t *testing.T) {
			got := render(s.story, planner.Plan(s.in))
			path := filepath.Join("testdata", s.file)
			if *rewrite {
				if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("plan differs from %s:\n%s", path, got)
			}
		})
	}
}

func shared(t testing.TB) planner.Input {
	in := one(t, known(8.1, 1.2))
	in.Channels[0].Calendar = calendar(t, "0 */2 * * *", "Europe/Lisbon")
	in.Channels[0].PerRun = 20_000
	in = two(t, in, func(c *planner.ChannelState) {
		c.ID, c.Mode, c.ShareOf, c.ShareRatio = "ca", planner.Share, "alk", 1
		c.Strength = map[units.Quantity]float64{units.Calcium: 30}
		c.Calendar = calendar(t, "30 1-23/2 * * *", "Europe/Lisbon")
	})
	for i := range in.Channels {
		in.Channels[i].Peak = planner.Peak{}
	}
	return in
}

func spring(t testing.TB) planner.Input {
	in := fixed(t, "*/30 * * * *", 0, 48)
	in.At, in.Horizon = utc("2027-03-27T23:30:00Z"), 3*time.Hour
	return in
}

func render(story string, out planner.Output) string {
	var b strings.Builder
	fmt.Fprintf(&b, "# %s\n# An invented scenario.\n", story)
	for _, d := range out.Days {
		fmt.Fprintf(&b, "day %s: %d uL = %d use %+d correction %v: %s\n", d.Channel, d.PerDay, d.UsePart, d.CorrectionPart, d.Why, d.Text)
	}
	for _, r := range out.Runs {
		fmt.Fprintf(&b, "run %s %s (%s) %d uL %d ms, owes %d nL\n", r.Slot.At.Format(time.RFC3339), r.Channel, r.Slot.Key, r.Volume, r.Duration, r.CarryAfterNL)
	}
	for _, c := range out.Carried {
		fmt.Fprintf(&b, "carried %s %s, owes %d nL\n", c.Slot.At.Format(time.RFC3339), c.Channel, c.CarryAfterNL)
	}
	for _, w := range out.Withheld {
		fmt.Fprintf(&b, "withheld %s %s: %s\n", w.Channel, w.Code, w.Text)
	}
	for _, n := range out.Notes {
		fmt.Fprintf(&b, "note %s\n", n)
	}
	return b.String()
}
