package rehearse

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

func contains(text, part string) bool { return strings.Contains(text, part) }

func rowsText(rows []machine.Row) string {
	var b strings.Builder
	for _, r := range rows {
		fmt.Fprintf(&b, "%d %s %s %d %s %+v\n", r.Seq, r.ID, r.At, r.Elapsed, r.By, r.Body)
	}
	return b.String()
}

// The whole chain works: the site is set up by its keeper, doses, and stays within its caps.
func TestAnUntroubledWeek(t *testing.T) {
	r := rehearsed(t, bayOptions(t, 7, 1))
	if r.Commissioned == nil || r.Commissioned.Sub(start) > 2*time.Hour {
		t.Fatalf("the channels were ready at %v; want within two hours of %s\n%+v", r.Commissioned, start, r.Happened)
	}
	if len(r.Exceeded) > 0 {
		t.Errorf("caps were exceeded: %v", r.Exceeded)
	}
	for _, c := range r.Channels {
		if c.Runs == 0 || !(c.VolumeML > 0) || c.OddRuns != 0 || !(c.LargestML > 0 && c.LargestML <= c.PerDayML) {
			t.Errorf("channel %s: %+v; want runs that all finished, within the cap", c.Channel, c)
		}
		sum := 0.0
		for _, d := range c.Days {
			sum += d.ML
		}
		if math.Abs(sum-c.VolumeML) > 1e-3 || len(c.Days) != 8 {
			t.Errorf("channel %s gave %g mL on %d days; want %g mL on 8 dates", c.Channel, sum, len(c.Days), c.VolumeML)
		}
	}
	alk := r.Quantities[0]
	if alk.Start != 7.8 || alk.Entered < 4 || alk.Covered == nil || !(alk.InBandPercent > 0 && alk.InBandPercent <= 100) || !(alk.DaySwing > 0) {
		t.Errorf("alkalinity: %+v", alk)
	}
	if got := len(alk.Series); got != 7*24+1 {
		t.Errorf("%d samples in 7 days; want one an hour and one at the start", got)
	}
	proofs := 0
	for _, row := range r.Rows {
		if _, ok := row.Body.(machine.Proof); ok {
			proofs++
		}
	}
	if proofs != 1 {
		t.Errorf("%d proofs of a relay with a time of its own; want 1", proofs)
	}
}

// The same seed gives the same bytes, another one another tank.
func TestSameSeedSameBytes(t *testing.T) {
	run := func(seed uint64) (string, string) {
		o := bayOptions(t, 3, seed)
		o.Scenario.MissTests = 0.4
		r := rehearsed(t, o)
		return asJSON(t, r), rowsText(r.Rows)
	}
	result, rows := run(5)
	for range 1 {
		if again, more := run(5); again != result || more != rows {
			t.Fatal("the same seed gave other bytes")
		}
	}
	if _, other := run(6); other == rows {
		t.Error("another seed gave the same rows")
	}
}

// scenario draws some trouble for a few days.
func scenario(chance *rand.Rand, days int) Scenario {
	s := Scenario{Start: start, Days: days, Seed: chance.Uint64(), MissTests: chance.Float64()}
	span := func(most time.Duration) Span {
		from := time.Duration(chance.Int64N(int64(days) * int64(day)))
		return Span{from, from + time.Duration(chance.Int64N(int64(most)))}
	}
	for _, node := range []string{"board", "plug", Broker} {
		if chance.IntN(2) == 0 {
			s.Outages = append(s.Outages, Outage{node, span(8 * time.Hour)})
		}
	}
	if chance.IntN(2) == 0 {
		s.Holidays = append(s.Holidays, span(2*day))
	}
	if chance.IntN(2) == 0 {
		s.Drifts = append(s.Drifts, Drift{"alk", -0.3 * chance.Float64()})
	}
	if chance.IntN(2) == 0 {
		s.WrongTests = append(s.WrongTests, WrongTest{"bay", units.Alkalinity, 3 * chance.NormFloat64(), 1 + chance.IntN(days)})
	}
	if chance.IntN(2) == 0 {
		s.Changes = WaterChanges{Share: 0.1, Every: 2 * day}
	}
	return s
}

// Whatever happens, no cap is exceeded in truth, and the rows folded anew give the state that lived through it: the
// same plan, the same books.
func TestFoldGivesTheLiveState(t *testing.T) {
	worlds := 6
	if testing.Short() {
		worlds = 3
	}
	for n := range worlds {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			chance := rand.New(rand.NewPCG(uint64(n), 99))
			o := bayOptions(t, 3, 0)
			o.Scenario = scenario(chance, 3)
			w, err := newWorld(o)
			if err != nil {
				t.Fatal(err)
			}
			w.begin()
			for w.mono < w.end {
				w.turn()
			}
			if w.trouble != nil {
				t.Fatal(w.trouble)
			}
			if r := w.result(); len(r.Exceeded) > 0 {
				t.Errorf("%+v\nexceeded %v", o.Scenario, r.Exceeded)
			}
			fold := machine.NewFold(w.o.Site)
			for i, row := range w.rec.rows {
				if row.Seq != int64(i+1) {
					t.Fatalf("row %d has number %d", i+1, row.Seq)
				}
				fold.Add(row)
			}
			folded := fold.State()
			if live, again := asJSON(t, machine.Preview(&w.state, w.wall())), asJSON(t, machine.Preview(&folded, w.wall())); live != again {
				t.Errorf("the live state plans\n%s\nthe fold of its rows\n%s", live, again)
			}
			liveView, foldedView := machine.Snapshot(&w.state), machine.Snapshot(&folded)
			for i := range liveView.Containers {
				if a, b := liveView.Containers[i], foldedView.Containers[i]; a.RemainingMinML != b.RemainingMinML || a.RemainingMaxML != b.RemainingMaxML {
					t.Errorf("container live %+v\nfolded %+v", a, b)
				}
			}
			for i := range liveView.Channels {
				a, b := liveView.Channels[i], foldedView.Channels[i]
				if a.TotalHiML != b.TotalHiML || a.TotalLoML != b.TotalLoML || a.Primed != b.Primed || asJSON(t, a.RateMLPerMin) != asJSON(t, b.RateMLPerMin) {
					t.Errorf("channel live %+v\nfolded %+v", a, b)
				}
			}
		})
	}
}

// A pump that gives far more than it was calibrated to goes over its cap unseen. The rehearsal must shout.
func TestTruthAboveTheCapIsLoud(t *testing.T) {
	o := bayOptions(t, 6, 1)
	o.Site.Channels[0].Limits.PerDay, o.Site.Channels[0].PerDay = ml(45), ml(45)
	o.Waters[0].Uptake.PerDay = 1.5
	o.Scenario.Drifts = []Drift{{"alk", 2}}
	r := rehearsed(t, o)
	if len(r.Exceeded) == 0 || !contains(r.Exceeded[0], "channel alk delivered") || !contains(r.Exceeded[0], "per_day") {
		t.Fatalf("exceeded = %v with %g mL of %g mL; want a word about alk", r.Exceeded, r.Channels[0].LargestML, r.Channels[0].PerDayML)
	}
}

func TestCheckerWindow(t *testing.T) {
	site := bay(t) // alk: 110 mL with 5 % is 115.5 mL
	for _, c := range []struct {
		name  string
		gives []weighed // µL
		loud  bool
	}{
		{"nothing", nil, false},
		{"at the cap with its tolerance", []weighed{{0, 60_000}, {time.Hour, 55_500}}, false},
		{"just above it", []weighed{{0, 60_000}, {time.Hour, 55_500.1}}, true},
		{"just within 24 h", []weighed{{0, 60_000}, {day - 1, 60_000}}, true},
		{"24 h apart", []weighed{{0, 60_000}, {day, 60_000}}, false},
		{"not a number", []weighed{{0, math.Inf(1)}}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			k := newChecker(site)
			for _, g := range c.gives {
				k.given(0, g.at, g.amount)
			}
			got := k.exceeded()
			loud := false
			for _, text := range got {
				loud = loud || contains(text, "channel alk")
			}
			if loud != c.loud {
				t.Errorf("exceeded = %v; want loud %v", got, c.loud)
			}
		})
	}
}

// max_dose counts all channels of a system at its declared volume: 2 dKH in 120 L by 2.0 dKH per mL and litre is 120 mL.
func TestCheckerDose(t *testing.T) {
	site := bay(t)
	site.Channels[0].Limits.PerDay = ml(1000)
	for _, c := range []struct {
		ml   float64
		loud bool
	}{{125.9, false}, {126.1, true}} {
		k := newChecker(site)
		k.given(0, time.Hour, c.ml*1000)
		if got := k.exceeded(); (len(got) > 0) != c.loud {
			t.Errorf("%g mL: exceeded = %v; want loud %v", c.ml, got, c.loud)
		}
	}
}

func TestOptionsThatDoNotFit(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Options)
		want   string
	}{
		{"no days", func(o *Options) { o.Scenario.Days = 0 }, "0 days"},
		{"too many days", func(o *Options) { o.Scenario.Days = 367 }, "367 days"},
		{"no water", func(o *Options) { o.Waters = nil }, "needs its water"},
		{"an impossible tank", func(o *Options) { o.Waters[0].NetLitres = 0 }, "system bay"},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := bayOptions(t, 1, 1)
			c.change(&o)
			if r, err := Run(o); err == nil || !contains(err.Error(), c.want) {
				t.Errorf("Run = %+v, %v; want an error with %q", r.Site, err, c.want)
			}
		})
	}
}

// Whoever watches may leave: the rehearsal ends with the day.
func TestProgressMayEndIt(t *testing.T) {
	o := bayOptions(t, 5, 1)
	var told []int
	o.Progress = func(done, all int) bool {
		told = append(told, done)
		return done < 2
	}
	r := rehearsed(t, o)
	if fmt.Sprint(told) != "[1 2]" || r.To.Sub(r.From) != 2*day {
		t.Errorf("told %v, ended after %s; want two days", told, r.To.Sub(r.From))
	}
}
