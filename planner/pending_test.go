package planner_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"aliquot/planner"
)

// What is in the water and has not appeared yet is not dosed again.
func TestARaiseLooksAtWhatIsPending(t *testing.T) {
	const over = 8 * time.Hour // the time constant: a third of a day
	for _, c := range []struct {
		name                       string
		level, use, useSD, pending float64
		want                       float64 // mL; 80 are 1 dKH
		stillSaid                  bool
	}{
		{"nothing pending", 8.1, 0, 0, 0, .2 * 80, false},
		{"half of the way", 8.1, 0, 0, .1, .1 * 80, true},
		{"all of the way", 8.1, 0, 0, .2, 0, true},
		{"more than the way", 8.1, 0, 0, 2, 0, true},
		{"at target", 8.3, 1.2, 0, 2, 96, true},
		{"above: only the level lowers", 8.5, 1.2, 0, 2, 96 - .2*80, true},
		// Use 1.2 a day keeps 0.4 on its way: that part is no surplus.
		{"what the use keeps on its way", 8.1, 1.2, 0, .4, 96 + .2*80, true},
		{"beyond what the use keeps on its way", 8.1, 1.2, 0, .5, 96 + .1*80, true},
		{"less on its way than the use keeps", 8.1, 1.2, 0, .1, 96 + .2*80, true},
		{"a use that is a guess", 8.1, 1.2, .6, .4, 96, true},
		{"a use that is half a guess", 8.1, 1.2, .15, .4, 96 + .1*80, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := known(c.level, c.use)
			e.Pending, e.PendingOver, e.ConsumptionSD = c.pending, over, c.useSD
			in := one(t, e)
			if got := perDay(in); math.Abs(got-c.want) > .7 {
				t.Errorf("%v mL a day, want %v", got, c.want)
			}
			if text := planner.Plan(in).Days[0].Text; strings.Contains(text, "still to appear") != c.stillSaid {
				t.Errorf("pending %g: %q", c.pending, text)
			}
		})
	}
	in := one(t, known(8.1, 1.2))
	in.Systems[0].Estimates[0].Pending = math.NaN()
	if w := planner.Plan(in).Withheld; len(w) != 1 || w[0].Code != "bad_volume" {
		t.Errorf("a pending amount that is no number gives %+v", w)
	}
}

// A tank in which everything that is dosed appears late ends at its target all the same, and is not driven above it on
// the way there.
func TestClosedLoopWithLateAlkalinity(t *testing.T) {
	for _, c := range []struct {
		name       string
		level, use float64
		over       time.Duration
	}{
		{"a day", 8.3, .75, 24 * time.Hour}, {"two days", 8.3, 1, 48 * time.Hour}, {"starts low", 7.3, 1, 48 * time.Hour},
		{"four days", 7.6, .75, 96 * time.Hour},
	} {
		t.Run(c.name, func(t *testing.T) {
			const seeds = 10
			tops, ends := 0.0, 0.0
			for seed := range uint64(seeds) {
				l := newLoop(t, seed, c.level, c.use)
				l.over = c.over
				l.days(40, 3)
				mean, highest := 0.0, 0.0
				for _, v := range l.levels[30*24:] {
					mean += v / (10 * 24)
				}
				for _, v := range l.levels {
					highest = max(highest, v)
				}
				if !(math.Abs(mean-8.3) <= .4) {
					t.Errorf("seed %d: ends at %.2f dKH, target 8.3", seed, mean)
				}
				ends += mean / seeds
				tops += highest / seeds
				if highest > 8.3+.9 {
					t.Errorf("seed %d: was at %.2f dKH, want at most 9.2", seed, highest)
				}
			}
			if !(math.Abs(ends-8.3) <= .12) {
				t.Errorf("ends at %.2f dKH in the mean, target 8.3", ends)
			}
			if tops > 8.3+.5 {
				t.Errorf("was at %.2f dKH at most in the mean, want 8.8", tops)
			}
		})
	}
}
