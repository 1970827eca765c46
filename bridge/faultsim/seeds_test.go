package faultsim

import (
	"flag"
	"fmt"
	"testing"
	"time"
)

// go test ./bridge/faultsim -run TestSeeds -args -seeds 200 -from 1 -days 30
var (
	seedsWanted = flag.Int("seeds", 20, "how many seeds")
	seedsFrom   = flag.Uint64("from", 1, "the first seed")
	seedDays    = flag.Int("days", 5, "simulated days of each")
	seedTime    = flag.Duration("for", 0, "stop after so long; 0: never")
)

func zonesOf(t testing.TB) []*time.Location {
	t.Helper()
	var out []*time.Location
	for _, name := range []string{"UTC", "Europe/Berlin", "Australia/Lord_Howe", "America/New_York"} {
		zone, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, zone)
	}
	return out
}

// sums adds traces up.
type sums struct {
	seeds, runs, faults, processes, twice, lived, violations int
	steps                                                    int
	days, ml                                                 float64
	began                                                    time.Time
}

func (s *sums) add(r Result) {
	s.seeds++
	s.runs, s.faults, s.steps, s.processes = s.runs+r.Runs, s.faults+r.Faults, s.steps+r.Steps, s.processes+r.Processes
	s.days, s.ml = s.days+r.Simulated.Hours()/24, s.ml+r.Delivered
	if r.Lives {
		s.lived++
	}
	if r.Violation != nil {
		s.violations++
	}
}

func (s *sums) String() string {
	took := time.Since(s.began).Seconds()
	return fmt.Sprintf("%d seeds (%d run twice, %d judged for liveness), %.1f simulated days, %d processes, %d steps, %d runs (%.0f mL), %d faults, %d violations, %.1f simulated days per second",
		s.seeds, s.twice, s.lived, s.days, s.processes, s.steps, s.runs, s.ml, s.faults, s.violations, s.days/took)
}

// Every seed is one trace; one in twenty is run twice and must give the same hash.
func TestSeeds_INV1_INV2_INV3_INV4_INV5_INV6_INV7_INV8_INV10_INV11_INV12_INV13_INV14(t *testing.T) {
	zones := zonesOf(t)
	s := sums{began: time.Now()}
	for i := range *seedsWanted {
		if *seedTime > 0 && time.Since(s.began) > *seedTime {
			break
		}
		scenario := FromSeed(*seedsFrom+uint64(i), *seedDays, zones)
		r := Run(scenario, Options{})
		s.add(r)
		if r.Violation != nil {
			t.Errorf("seed %d: %s", scenario.Seed, r.Violation)
			if s.violations <= 3 {
				report(t, scenario, Options{})
			}
		}
		if i%20 == 0 && r.Violation == nil {
			s.twice++
			if again := Run(scenario, Options{}); again.Hash != r.Hash {
				t.Errorf("seed %d: the trace has the hash %x, and %x the second time", scenario.Seed, r.Hash, again.Hash)
			}
		}
	}
	t.Log(s.String())
	fmt.Println(s.String())
}

// report shows the smallest scenario that fails alike, and the end of its trace.
func report(t *testing.T, s Scenario, o Options) {
	t.Helper()
	s = Shrink(s, o, 200)
	o.Keep = 40
	r := Run(s, o)
	text := fmt.Sprintf("the smallest scenario that fails so; keep it in testdata/regressions:\n# %s\n%s", r.Violation, s)
	for _, line := range r.Lines {
		text += "  " + line + "\n"
	}
	t.Log(text)
}
