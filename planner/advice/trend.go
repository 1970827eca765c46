package advice

import (
	"fmt"
	"math"
	"time"

	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

// What a trend must rest on. Our own choices.
const (
	trendSpan  = 28 * 24 * time.Hour
	trendTests = 4
	trendLeast = 10 * 24 * time.Hour
	// trendMemory: estimates within it rest on the same tests, so that so many days count as one of them.
	trendMemory = 7.0
)

// Trend is how the consumption changes: PerDay is in the canonical unit per day, each day.
type Trend struct{ PerDay, SD float64 }

// Low and High bound the slope.
func (t Trend) Low() float64  { return t.PerDay - sure*t.SD }
func (t Trend) High() float64 { return t.PerDay + sure*t.SD }

// Sure says whether the interval leaves out 0.
func (t Trend) Sure() bool { return t.Low() > 0 || t.High() < 0 }

// Trend fits a line through the uses of the last 28 days, weighted by their variances. The estimates share their errors:
// the slope's variance is that of as many independent ones as there are weeks, each of which counts once. ok is false
// where there are too few.
func (l Log) Trend(at time.Time) (t Trend, ok bool) {
	var recent Log
	for _, u := range l {
		if age := at.Sub(u.At); age >= 0 && age <= trendSpan {
			recent = append(recent, u)
		}
	}
	n := len(recent)
	if n < trendTests {
		return Trend{}, false
	}
	span := recent[n-1].At.Sub(recent[0].At)
	if span < trendLeast {
		return Trend{}, false
	}
	var w, wx, wy, wxx, wxy float64
	for _, u := range recent {
		k, x := 1/(u.SD*u.SD), inDays(u.At.Sub(at))
		w, wx, wy, wxx, wxy = w+k, wx+k*x, wy+k*u.PerDay, wxx+k*x*x, wxy+k*x*u.PerDay
	}
	spread := wxx - wx*wx/w
	if !(spread > 0) {
		return Trend{}, false
	}
	shared := max(1, float64(n)/(1+inDays(span)/trendMemory))
	t.PerDay = (wxy - wx*wy/w) / spread
	t.SD = math.Sqrt(shared / spread)
	return t, !math.IsNaN(t.PerDay) && !math.IsInf(t.SD, 0)
}

func inDays(d time.Duration) float64 { return float64(d) / float64(24*time.Hour) }

// Interval bounds the consumption of an estimate, per day, at least 0.
func Interval(e estimate.Estimate) (low, high float64) {
	return max(0, e.Consumption-sure*e.ConsumptionSD), e.Consumption + sure*e.ConsumptionSD
}

// trendText says where a sure trend leads.
func trendText(e estimate.Estimate, t Trend) string {
	low, high := Interval(e)
	word, rate := "rising", t.PerDay
	if rate < 0 {
		word, rate = "falling", -rate
	}
	return fmt.Sprintf("the consumption is %.3g %s (90 %%: %.3g to %.3g) and %s by about %.2g %% a day",
		units.Plain(e.Consumption), perDay(e.Quantity), units.Plain(low), units.Plain(high), word, units.Plain(100*rate/e.Consumption))
}
