package advice

import (
	"fmt"
	"time"

	"aliquot/planner"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

const (
	// soonest after an accepted test another one can be worth its effort: the level has hardly moved, and the kit's
	// scatter is all that it would show. Our own choice.
	soonest = 12 * time.Hour
	// longest without a test where nobody says after which time one is stale. Our own choice.
	longest = 28 * 24 * time.Hour
	// looks bounds how often the estimate is asked for one quantity.
	looks = 10
)

// Next is when the next test of a quantity is worth most. At is zero before the first test.
type Next struct {
	At  time.Time
	Why string
}

// Doses is what a quantity gets in a day: Planned is the told rise of all channels together, Followed whether one of them
// is driven by its tests.
type Doses struct {
	Planned  float64
	Followed bool
}

// steady is the told rise a day that is given from now on. A followed quantity is taken to get just what it uses: the
// plan brings it to its target within a day or so, and the uncertainty hardly depends on which of the two it is.
func (d Doses) steady(e estimate.Estimate) float64 {
	if d.Followed && e.Gain > 0 {
		return max(0, e.Use) / e.Gain
	}
	return d.Planned
}

// NextTest finds the time from which the level is no longer known to within the band (90 %): at least 12 h after the last
// accepted test, at most stale_after after it, never later than due_every, never before now. A held test asks for one at
// once. f stays as it is; now is not before its last event.
func NextTest(now time.Time, f *estimate.Filter, t planner.Target, d Doses) Next {
	e := f.At(now, t.Quantity)
	switch {
	case e.Held != nil:
		return Next{now, "a test waits for a second one"}
	case !e.Known:
		return Next{Why: "there is no test yet"}
	}
	end, why := latestTest(t, e.LastAccepted)
	if !end.After(now) {
		return Next{now, why}
	}
	from := e.LastAccepted.Add(soonest)
	if from.Before(now) {
		from = now
	}
	if !from.Before(end) {
		return Next{end, why}
	}
	w := walk{filter: f.Clone(), target: t, at: now, perDay: d.steady(e)}
	if at, half, ok := w.crossing(from, end); ok {
		since := "from then on "
		if at.Equal(now) {
			since = ""
		}
		return Next{at, fmt.Sprintf("%sthe level is known only within ± %.2g %s, the band is ± %.3g", since, units.Plain(half), t.Quantity.Unit(), units.Plain(t.Band))}
	}
	return Next{end, why}
}

// latestTest is when a test is due however sure the level is.
func latestTest(t planner.Target, last time.Time) (time.Time, string) {
	age, why := longest, "the last test is four weeks old then"
	if s := t.Test.StaleAfter; s > 0 {
		age, why = s, fmt.Sprintf("the last test is %s old then, and the plan stops correcting by it", days(s))
	}
	if due := t.Test.DueEvery; due > 0 && due <= age {
		age, why = due, DueEvery(due)
	}
	return last.Add(age), why
}

// DueEvery says that the configuration asks for a test so often.
func DueEvery(d time.Duration) string { return fmt.Sprintf("a test is due every %s", days(d)) }

func days(d time.Duration) string {
	if d%(24*time.Hour) != 0 {
		return fmt.Sprintf("%.3g h", d.Hours())
	}
	if d == 24*time.Hour {
		return "1 day"
	}
	return fmt.Sprintf("%d days", d/(24*time.Hour))
}

// walk moves a filter into the time to come, with doses.
type walk struct {
	filter *estimate.Filter
	target planner.Target
	at     time.Time
	perDay float64
}

// moveTo tells the filter the doses until t, a day at most at a time.
func (w *walk) moveTo(t time.Time) {
	for w.at.Before(t) {
		step := min(24*time.Hour, t.Sub(w.at))
		if rise := w.perDay * step.Hours() / 24; rise != 0 {
			w.filter.Dose(w.at, []estimate.Rise{{Quantity: w.target.Quantity, Mean: rise, Lo: rise, Hi: rise}})
		}
		w.at = w.at.Add(step)
	}
}

// half is the half width of the level's interval at t, to which the walk moves.
func (w *walk) half(t time.Time) float64 {
	w.moveTo(t)
	return sure * w.filter.At(t, w.target.Quantity).LevelSD
}

// crossing finds the first time in from..to at which the half width exceeds the band, to the next whole hour. The looks
// lie closer together at first, between them the half width goes in a straight line: so a wider band never gives an
// earlier time.
func (w *walk) crossing(from, to time.Time) (at time.Time, half float64, ok bool) {
	band := w.target.Band
	before := w.half(from)
	if before > band {
		return from, before, true
	}
	const steps = looks - 1
	was := from
	for i := 1; i <= steps; i++ {
		part := float64(i*i) / (steps * steps)
		is := from.Add(time.Duration(float64(to.Sub(from)) * part))
		now := w.half(is)
		if now > band {
			along := (band - before) / (now - before)
			at = was.Add(time.Duration(along * float64(is.Sub(was)))).Truncate(time.Hour).Add(time.Hour)
			if at.After(to) {
				at = to
			}
			return at, band, true
		}
		was, before = is, now
	}
	return time.Time{}, 0, false
}
