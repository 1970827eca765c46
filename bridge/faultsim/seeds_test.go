package faultsim

import (
	"flag"
	"fmt"
	"runtime"
	"testing"
	"time"
)

// go test ./bridge/faultsim -run TestSeeds -args -seeds 200 -from 1 -days 30
var (
	seedsWanted = flag.Int("seeds", 20, "how many seeds")
	seedsFrom   = flag.Uint64("from", 1, "the first seed")
	seedDays    = flag.Int("days", 5, "simulated days of each")
	shrinkMost  = flag.Int("shrink", 2, "how many failing seeds are shrunk")
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

// Every seed is one trace; one in twenty is run twice, the second time with whole folds, and must give the same hash.
func TestSeeds_INV1_INV2_INV3_INV4_INV5_INV6_INV7_INV8_INV10_INV11_INV12_INV13_INV14(t *testing.T) {
	zones := zonesOf(t)
	s := sums{began: time.Now()}
	var failed []Scenario
	each(*seedsWanted, func(i int) outcome {
		if *seedTime > 0 && time.Since(s.began) > *seedTime {
			return outcome{}
		}
		o := outcome{scenario: FromSeed(*seedsFrom+uint64(i), *seedDays, zones), ran: true}
		o.result = Run(o.scenario, Options{})
		if o.twice = i%20 == 0; o.twice {
			o.again = Run(o.scenario, Options{Whole: true}).Hash
		}
		return o
	}, func(o outcome) {
		if !o.ran {
			return
		}
		s.add(o.result)
		if o.twice {
			s.twice++
			if o.again != o.result.Hash {
				t.Errorf("seed %d: the trace has the hash %x, and %x the second time", o.scenario.Seed, o.result.Hash, o.again)
			}
		}
		if o.result.Violation != nil {
			t.Errorf("seed %d: %s", o.scenario.Seed, o.result.Violation)
			failed = append(failed, o.scenario)
		}
	})
	fmt.Println(s.String())
	for _, f := range failed[:min(len(failed), *shrinkMost)] {
		report(t, f, Options{})
	}
	if s.seeds >= 20 && *seedDays >= 4 && s.lived == 0 {
		t.Error("no seed was judged for liveness")
	}
	if s.seeds > 0 && (s.runs == 0 || s.faults == 0) {
		t.Error("nothing ran, or nothing failed: the simulator tests nothing")
	}
}

// outcome is what became of one seed.
type outcome struct {
	scenario   Scenario
	result     Result
	ran, twice bool
	again      uint64
}

// each does n things on all cores and takes what comes of them in their order.
func each(n int, do func(int) outcome, take func(outcome)) {
	out := make([]chan outcome, n)
	next := make(chan int, n)
	for i := range n {
		out[i] = make(chan outcome, 1)
		next <- i
	}
	close(next)
	for range runtime.GOMAXPROCS(0) {
		go func() {
			for i := range next {
				out[i] <- do(i)
			}
		}()
	}
	for i := range n {
		take(<-out[i])
	}
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
