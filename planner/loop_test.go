package planner_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"aliquot/planner"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

// loop runs planner and estimator against a tank that loses what it uses and gains what is dosed, hour by
// hour. The tank is invented and linear; only the tests, with their noise, tell the planner about it.
type loop struct {
	t       testing.TB
	in      planner.Input
	filter  *estimate.Filter
	level   float64       // true
	use     float64       // true, per day
	factor  float64       // what the tank gets for what is counted
	over    time.Duration // in which what is dosed appears; 0: at once
	hidden  float64       // dosed and not in the level yet
	rng     *rand.Rand
	careful bool // the keeper repeats a held test at once
	hour    int
	volumes []float64 // mL a day, at each hour
	levels  []float64 // true, at each hour
	results []estimate.Result
}

const mlPerDKH = 340 / carbonate

func newLoop(t testing.TB, seed uint64, level, use float64) *loop {
	l := &loop{t: t, in: one(t, estimate.Estimate{}), level: level, use: use, factor: 1, rng: rand.New(rand.NewPCG(seed, 7))}
	l.in.Horizon, l.in.At = time.Hour, utc("2027-03-01")
	// Every half hour; a cron expression would cost most of the time of these tests.
	l.in.Channels[0].Calendar.Schedule = scheduleFunc(func(t time.Time) time.Time { return t.Truncate(30 * time.Minute).Add(30 * time.Minute) })
	l.in.Channels[0].Base, l.in.Channels[0].Reference = ml(60), nil
	target := l.in.Systems[0].Targets[0]
	l.filter = estimate.New(340, []estimate.Spec{{Quantity: units.Alkalinity, TestSD: target.Test.SD, Target: target.Target,
		Upper: target.Target + target.Band, Use: 60 / mlPerDKH, UseSD: 1}})
	return l
}

// test enters a measurement of the true level, or of what somebody typed.
func (l *loop) test(typed float64) {
	if typed == 0 {
		typed = l.level + .15*l.rng.NormFloat64()
	}
	l.results = append(l.results, l.filter.Test(estimate.Test{At: l.in.At, Quantity: units.Alkalinity, Value: typed}))
}

// step plays one hour: plan, give, use.
func (l *loop) step() {
	ch := &l.in.Channels[0]
	if l.hour >= 24 {
		ch.Reference = ml(l.volumes[l.hour-24])
	}
	l.in.Systems[0].Estimates = l.filter.All(l.in.At)
	out := planner.Plan(l.in)
	l.volumes = append(l.volumes, out.Days[0].PerDay.Millilitres())
	ch.CarryNL = carryAfter(out, ch.CarryNL)
	for _, r := range out.Runs {
		v := r.Volume.Millilitres() / mlPerDKH
		l.filter.Dose(r.Slot.At, []estimate.Rise{{Quantity: units.Alkalinity, Mean: v, Lo: .95 * v, Hi: 1.05 * v, Over: l.over}})
		l.hidden += v * l.factor
	}
	appeared := l.hidden
	if l.over > 0 {
		appeared *= -math.Expm1(-3 * float64(time.Hour) / float64(l.over))
	}
	l.level, l.hidden = l.level+appeared, l.hidden-appeared
	l.level = max(0, l.level-l.use/24)
	l.levels = append(l.levels, l.level)
	l.in.At = l.in.At.Add(time.Hour)
	l.hour++
}

// days plays so many days with a test every so many (0 = none). A careful keeper repeats a test that is held an
// hour later.
func (l *loop) days(n, every int) {
	for h := range n * 24 {
		n := len(l.results)
		again := l.careful && n > 0 && l.results[n-1].Verdict == estimate.Held
		if every > 0 && (h%(every*24) == 0 || again) {
			l.test(0)
		}
		l.step()
	}
}

// steepest gives the largest rise and fall of the true level over 24 h from hour `from` on.
func (l *loop) steepest(from int) (rise, fall float64) {
	for h := from + 24; h < len(l.levels); h++ {
		d := l.levels[h] - l.levels[h-24]
		rise, fall = max(rise, d), max(fall, -d)
	}
	return rise, fall
}

func TestClosedLoopEndsInTheBand(t *testing.T) {
	for _, c := range []struct {
		name       string
		level, use float64
		factor     float64
		settled    int // days; what was given too much goes away no faster than it is used
	}{
		{"as expected", 8.3, .75, 1, 6}, {"uses more than the base", 8.3, 1.3, 1, 15}, {"starts low", 7, 1, 1, 10},
		{"starts high", 9.6, 1, 1, 10}, {"uses little", 8.3, .2, 1, 24},
		{"gets 8 % more than counted", 8.2, 1.1, 1.08, 15}, {"gets 8 % less than counted", 8.2, 1.1, .92, 15},
	} {
		t.Run(c.name, func(t *testing.T) {
			for seed := range uint64(4) {
				l := newLoop(t, seed, c.level, c.use)
				l.factor = c.factor
				l.days(30, 3)
				if math.Abs(l.level-8.3) > .5 {
					t.Errorf("seed %d: ends at %.2f dKH, want 8.3 ± 0.5", seed, l.level)
				}
				if rise, _ := l.steepest(0); rise > .7*max(1, c.factor)+.02 {
					t.Errorf("seed %d: rises by %.2f dKH in 24 h, max_rise is 0.7 and the use is known to a few hundredths", seed, rise)
				}
				for h, v := range l.levels[24*c.settled:] {
					if math.Abs(v-8.3) > .75 {
						t.Fatalf("seed %d: %.2f dKH on day %d, want 8.3 ± 0.75 by then", seed, v, c.settled+h/24)
					}
				}
			}
		})
	}
}

func TestClosedLoopPlansHoldSteady(t *testing.T) {
	l := newLoop(t, 3, 8.3, .9)
	l.days(60, 3)
	lo, hi := math.Inf(1), 0.
	for _, v := range l.volumes[24*30:] {
		lo, hi = min(lo, v), max(hi, v)
	}
	if lo < .6*.9*mlPerDKH || hi > 1.4*.9*mlPerDKH {
		t.Errorf("volumes of the second month lie in %.1f..%.1f mL, want 72 mL within 40 %%", lo, hi)
	}
}

func TestH27UptakeStopsInTheLoop(t *testing.T) {
	for seed := range uint64(8) {
		l := newLoop(t, seed/2, 8.3, 1.2)
		l.days(24, 3)
		before := l.hour
		l.use, l.careful = 0, seed%2 == 0
		l.days(30, 3)
		highest := 0.
		for _, v := range l.levels[before:] {
			highest = max(highest, v)
		}
		// Three days of 1.2 dKH until the next test, and what its noise hides. It is held: a keeper who does not
		// repeat it waits three days more, with three quarters of the volume.
		limit := 8.8 + 3*1.2 + .5
		if !l.careful {
			limit += 3 * .75 * 1.2
		}
		if highest > limit {
			t.Errorf("seed %d, careful %v: rises to %.2f dKH, want at most %.2f", seed, l.careful, highest, limit)
		}
		if v := l.volumes[len(l.volumes)-1]; v > 12 {
			t.Errorf("seed %d: still %.1f mL a day, 30 days after the uptake stopped", seed, v)
		}
		if _, fall := l.steepest(before); fall > .7+.05 {
			t.Errorf("seed %d: falls by %.2f dKH in 24 h", seed, fall)
		}
	}
}

// With some uptake left the level comes back into the band, and not faster than max_fall.
func TestH27UptakeHalvesInTheLoop(t *testing.T) {
	for seed := range uint64(4) {
		l := newLoop(t, seed, 8.3, 1.4)
		l.days(24, 3)
		before := l.hour
		l.use = .5
		l.days(30, 3)
		if math.Abs(l.level-8.3) > .5 {
			t.Errorf("seed %d: ends at %.2f dKH, want the band", seed, l.level)
		}
		if _, fall := l.steepest(before); fall > .7+.05 {
			t.Errorf("seed %d: falls by %.2f dKH in 24 h, max_fall is 0.7", seed, fall)
		}
	}
}

func TestH30NoTestsForAMonthInTheLoop(t *testing.T) {
	for seed := range uint64(5) {
		l := newLoop(t, seed, 8.3, 1.2)
		l.days(24, 3)
		from := l.hour + 24 // the last test may still correct for a day or two
		l.days(34, 0)
		stale := l.hour - 24*(34-11+3) // 10 days after the last test, and some
		for h := stale + 1; h < l.hour; h++ {
			// The use itself comes back to the usual one, and follows the level: a thousandth in an hour, a fortieth in all is no rise.
			if l.volumes[h] > 1.001*l.volumes[h-1] || l.volumes[h] > 1.01*l.volumes[stale] {
				t.Fatalf("seed %d: rises from %.2f to %.2f mL at hour %d without a test", seed, l.volumes[h-1], l.volumes[h], h)
			}
			if h >= 24 && l.volumes[h] < .9*l.volumes[h-24]-.01 && h > stale+24 {
				t.Fatalf("seed %d: falls from %.2f to %.2f mL in a day", seed, l.volumes[h-24], l.volumes[h])
			}
		}
		if last := l.volumes[l.hour-1]; math.Abs(last-60) > .1 {
			t.Errorf("seed %d: %.2f mL after a month, want the base 60 (or on the way: started from %.2f)", seed, last, l.volumes[from])
		}
	}
}

func TestH29OutliersInTheLoop(t *testing.T) {
	for _, typed := range []float64{5.2, 80, 2.9, 14} {
		for seed := range uint64(2) {
			t.Run(fmt.Sprint(typed, " seed ", seed), func(t *testing.T) {
				l, clean := newLoop(t, seed, 8, 1.1), newLoop(t, seed, 8, 1.1)
				l.days(21, 3)
				clean.days(21, 3)
				l.test(typed)
				if r := l.results[len(l.results)-1]; r.Verdict != estimate.Held {
					t.Fatalf("8 → %v is %v: %+v", typed, r.Verdict, r)
				}
				from, before := l.hour, l.volumes[l.hour-24:]
				for range 72 {
					l.step()
					clean.step()
				}
				for h := from; h < l.hour; h++ {
					if l.volumes[h] > before[(h-from)%24]+.01 {
						t.Fatalf("hour %d: %.2f mL, a day before the mistake %.2f", h-from, l.volumes[h], before[(h-from)%24])
					}
					if l.volumes[h] > clean.volumes[h]+.5 && h < from+24 {
						t.Fatalf("hour %d: %.2f mL, without the mistake %.2f", h-from, l.volumes[h], clean.volumes[h])
					}
				}
				l.test(0)
				if r := l.results[len(l.results)-1]; r.Verdict != estimate.Accepted || r.Resolved != estimate.Refuted {
					t.Errorf("the next good test: %+v, want accepted, the typo refuted", r)
				}
			})
		}
	}
}

// An unknown run: the volume does not rise above the ceiling until the next test, whatever happens meanwhile.
func TestUnknownRunInTheLoop(t *testing.T) {
	l := newLoop(t, 1, 7.8, 1.2)
	l.days(12, 3)
	l.filter.Dose(l.in.At, []estimate.Rise{{Quantity: units.Alkalinity, Mean: .025, Lo: 0, Hi: .05, Unknown: true}})
	ceiling := *ml(l.volumes[l.hour-1])
	l.in.Channels[0].Ceiling = &ceiling
	from := l.hour
	for range 48 {
		l.step()
	}
	for h := from; h < l.hour; h++ {
		if *ml(l.volumes[h]) > ceiling {
			t.Fatalf("hour %d: %.2f mL, above the ceiling %v", h-from, l.volumes[h], ceiling)
		}
	}
}
