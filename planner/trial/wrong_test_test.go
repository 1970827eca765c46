package trial_test

import (
	"fmt"
	"testing"
	"time"

	"aliquot/planner/trial"
)

// slip is a tank without any noise whose keeper tests every so many days and is wrong once, or some times in a row.
type slip struct {
	use, base float64 // dKH/day
	gap       int     // days between tests
	nth       int     // which test is wrong
	off       float64 // by so much, dKH
	good      int     // days until the next test, which is right
	more      int     // so many further wrong tests follow the first
}

// play gives the daily dose when the wrong test came, the largest rise within 24 h, dKH, from then on until the next
// test, and the daily dose then.
func (c slip) play() (before, rise, last float64) {
	var p trial.Ours
	p.Reset(trial.Told{Litres: 300, StrengthDKHLitresPerML: 5, Target: 8.3, Band: 0.5, MaxRise: slipMaxRise, MaxFall: 1, CapPerDay: 6,
		TestSD: 0.15, Base: c.base})
	const first = 8 // hour
	wrong := first + (c.nth-1)*c.gap*24
	level, perDay := 8.3, 0.0
	var levels []float64
	final := wrong + c.more*c.gap*24
	for h := range final + c.good*24 {
		at := trial.Start.Add(time.Duration(h) * time.Hour)
		test := h >= first && (h-first)%(c.gap*24) == 0 && h <= final
		if h == wrong {
			before = perDay
		}
		switch {
		case test && h >= wrong:
			p.Test(at, max(0, level+c.off))
		case test:
			p.Test(at, level)
		}
		if test || h%24 == 0 {
			perDay = p.Daily(at)
		}
		if h >= wrong {
			levels = append(levels, level)
			rise = max(rise, level-levels[max(0, len(levels)-25)])
		}
		p.Dosed(at, perDay/24)
		level += (perDay - c.use) / 24
	}
	return before, rise, perDay
}

const slipMaxRise = 1.0

// However low one early test is, and however late the next one comes: the level rises by no more than max_rise above what
// the doses before it gave.
func TestH29OneWrongEarlyTestRaisesByMaxRiseAtMost(t *testing.T) {
	for _, use := range []float64{0.3, 1, 2} {
		for _, base := range []float64{0, 0.9 * use} {
			for _, gap := range []int{1, 3} {
				for _, nth := range []int{2, 3} {
					for _, off := range []float64{-3, -2, -1.4, -1, 1, 2, 3} {
						for _, good := range []int{2, 4, 7} {
							c := slip{use, base, gap, nth, off, good, 0}
							t.Run(fmt.Sprintf("%+v", c), func(t *testing.T) {
								before, rise, _ := c.play()
								if most := slipMaxRise + max(0, before-use) + 0.05; !(rise <= most) {
									t.Errorf("rises by %.2f dKH in a day, want at most %.2f", rise, most)
								}
							})
						}
					}
				}
			}
		}
	}
}

// What one early test alone raised is followed for a week, not until somebody tests again.
func TestH29WhatOneEarlyTestRaisedIsNotFollowedForLong(t *testing.T) {
	for _, c := range []slip{{use: 0.3, off: -1.4}, {use: 0.3, off: -2}, {use: 1, off: -1.4}} {
		soon, late := slip{c.use, 0, 1, 2, c.off, 4, 0}, slip{c.use, 0, 1, 2, c.off, 10, 0}
		before, _, dose := soon.play()
		if dose < before+0.5 {
			t.Errorf("%+v: %.2f dKH a day before the test and %.2f after it: the slip was not taken, and this shows nothing", soon, before, dose)
		}
		if _, _, dose = late.play(); dose > before+0.2 {
			t.Errorf("%+v: %.2f dKH a day before the test, and still %.2f when nobody tested for %d days", late, before, dose, late.good)
		}
	}
}

// A tank that is known: one wrong test more makes it rise hardly faster than it may, and a kit that is wrong by the same
// from some test on, which nothing can tell from a tank that changed, no faster than twice that.
func TestH29LaterWrongTestsRaiseByTwiceMaxRiseAtMost(t *testing.T) {
	for _, use := range []float64{0.3, 1, 2, 3.5} {
		for _, gap := range []int{1, 3, 5} {
			for _, nth := range []int{4, 5, 6, 8, 12} {
				for _, off := range []float64{-3, -2, -1.4, -1, 1, 2, 3} {
					for more, most := range []float64{1.15, 2.05, 2.05, 2.05} {
						c := slip{use, 0.9 * use, gap, nth, off, 7, more}
						before, rise, _ := c.play()
						if !(rise <= most*slipMaxRise+max(0, before-use)) {
							t.Errorf("%+v: rises by %.2f dKH in a day, want at most %.2f", c, rise, most*slipMaxRise+max(0, before-use))
						}
					}
				}
			}
		}
	}
}
