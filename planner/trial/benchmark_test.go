package trial_test

import (
	"flag"
	"strings"
	"testing"

	"aliquot/planner/trial"
)

var (
	seedsFlag    = flag.Int("seeds", 0, "trials per family; 0 = a few, for every test run")
	fromFlag     = flag.Uint64("from", 1, "first seed; 10000 and above are for judging")
	heldOutFlag  = flag.Bool("held-out", false, "start at seed 10000")
	familyFlag   = flag.String("family", "all", "families, comma separated")
	policiesFlag = flag.String("policies", "never,hand7,hand3,ours", "policies, comma separated")
	noiseFlag    = flag.Float64("noise", 1, "times the noise of kits")
	grossFlag    = flag.Float64("gross", 1, "times the share of tests that are grossly wrong")
	growthFlag   = flag.Float64("growth", 1, "times the growth of corals")
	everyFlag    = flag.Float64("every", 0, "days between tests; 0 = as the family does")
	repeatsFlag  = flag.Bool("repeats", false, "the keeper repeats a test that the policy doubts an hour later")
	lightFlag    = flag.Bool("light", false, "the keeper says when the lights are on")
	probeFlag    = flag.Bool("probe", false, "a probe streams the alkalinity each hour")
	flatFlag     = flag.Bool("flat", false, "no daily cycle of the use")
	volumeFlag   = flag.Float64("volume-off", 0, "true rise above the told one: 0.2 = 20 % more")
)

// few is how many trials of each family a plain test run plays.
const few = 6

func planOfFlags(t *testing.T) trial.Plan {
	p := trial.Plan{Seeds: *seedsFlag, From: *fromFlag, Policies: strings.Split(*policiesFlag, ","), Families: trial.Families(),
		Options: trial.Options{NoiseTimes: *noiseFlag, GrossTimes: *grossFlag, GrowthTimes: *growthFlag, TestEvery: *everyFlag, ToldVolumeOff: *volumeFlag, Repeats: *repeatsFlag, FlatDay: *flatFlag, SaysLight: *lightFlag, Probe: *probeFlag}}
	if p.Seeds == 0 {
		p.Seeds = few
	}
	if *heldOutFlag {
		p.From = trial.HeldOut
	}
	if *familyFlag != "all" {
		p.Families = nil
		for _, name := range strings.Split(*familyFlag, ",") {
			f, err := trial.ParseFamily(name)
			if err != nil {
				t.Fatal(err)
			}
			p.Families = append(p.Families, f)
		}
	}
	return p
}

// TestBenchmark prints the table. With -seeds it plays what the flags ask for.
func TestBenchmark(t *testing.T) {
	rows, err := playedAndKept(planOfFlags(t))
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := trial.Write(&b, append(rows, trial.Overall(rows)...)); err != nil {
		t.Fatal(err)
	}
	t.Log("\n" + b.String())
	if *seedsFlag == 0 {
		checkOursIsBetter(t, trial.Overall(rows))
	}
	for _, r := range rows {
		for i, s := range r.Scores {
			if s.MostADay > 6*(1+1e-9) {
				t.Errorf("%s, %s, trial %d: %.3f dKH dosed within a day, the cap is 6", r.Family, r.Policy, i, s.MostADay)
			}
		}
	}
}

// playedAndKept plays what a plan asks for, keeps it where -keep says so, and puts the rows of -with before it.
func playedAndKept(p trial.Plan) ([]trial.Row, error) {
	var rows []trial.Row
	if *policiesFlag != "kept" {
		var err error
		if rows, err = trial.Play(p); err != nil {
			return nil, err
		}
	}
	if *keepFlag != "" {
		if err := keepRows(*keepFlag, rows); err != nil {
			return nil, err
		}
	}
	if *withFlag == "" {
		return rows, nil
	}
	more, err := keptRows(*withFlag)
	if err != nil {
		return nil, err
	}
	return trial.InOrder(append(more, rows...)), nil
}

// checkOursIsBetter holds the least that the planner must be worth over all families, by median and by mean.
func checkOursIsBetter(t *testing.T, overall []trial.Row) {
	t.Helper()
	by := map[string]trial.Row{}
	for _, r := range overall {
		by[r.Policy] = r
	}
	ours, hand := by["ours"], by["hand3"]
	if got, most := ours.Median(trial.RMS), 0.75*hand.Median(trial.RMS); !(got < most) {
		t.Errorf("median RMS of ours is %.3f dKH, want below %.3f, 0.75 of hand3", got, most)
	}
	if got, most := ours.Mean(trial.LateRMS), hand.Mean(trial.LateRMS); !(got < most) {
		t.Errorf("mean RMS of ours from day 14 is %.3f dKH, want below %.3f, that of hand3", got, most)
	}
}
