package estimate

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"aliquot/planner/units"
)

var noon = time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC)

func lateRise(mean float64, over time.Duration) Rise {
	return Rise{Quantity: units.Alkalinity, Mean: mean, Lo: .95 * mean, Hi: 1.05 * mean, Over: over}
}

func close1(t *testing.T, what string, got, want float64) {
	t.Helper()
	if !(math.Abs(got-want) <= 1e-9) {
		t.Errorf("%s = %.12g, want %.12g", what, got, want)
	}
}

// After the time that is named 95 % has appeared; before and after it as first order has it.
func TestPoolIsReleasedExponentially(t *testing.T) {
	for _, c := range []struct {
		over, after time.Duration
		appeared    float64
	}{
		{24 * time.Hour, 0, 0},
		{24 * time.Hour, 8 * time.Hour, 1 - math.Exp(-1)},
		{24 * time.Hour, 24 * time.Hour, 1 - math.Exp(-3)},
		{48 * time.Hour, 24 * time.Hour, 1 - math.Exp(-1.5)},
		{time.Hour, time.Hour, 1 - math.Exp(-3)},
		{96 * time.Hour, 30 * 24 * time.Hour, 1},
	} {
		p := pool{}.add(lateRise(0.8, c.over))
		left, a := p.advance(c.after)
		close1(t, c.over.String()+" appeared after "+c.after.String(), a.mean, 0.8*c.appeared)
		close1(t, "left of it", left.sum().mean, 0.8*(1-c.appeared))
	}
	if share := 1 - math.Exp(-constantsPerOver); math.Abs(share-0.95) > 0.001 {
		t.Errorf("after the time named %g has appeared, want 0.95", share)
	}
}

// However time is cut, the same appears, and nothing is made or lost.
func TestPoolDoesNotDependOnSteps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var whole, cut pool
		total := 0.0
		for range rapid.IntRange(1, 4).Draw(t, "rises") {
			r := lateRise(rapid.Float64Range(0, 1).Draw(t, "mean"), rapid.SampledFrom([]time.Duration{time.Hour, 24 * time.Hour, 96 * time.Hour}).Draw(t, "over"))
			r.Unknown = rapid.Bool().Draw(t, "unknown")
			whole, cut = whole.add(r), cut.add(r)
			total += r.Mean
		}
		steps := rapid.SliceOfN(rapid.Int64Range(0, int64(20*time.Hour)), 1, 8).Draw(t, "steps")
		var sum time.Duration
		var seen late
		for _, s := range steps {
			sum += time.Duration(s)
			var a late
			cut, a = cut.advance(time.Duration(s))
			seen.mean, seen.caught, seen.variance = seen.mean+a.mean, seen.caught+a.caught, seen.variance+a.variance
		}
		once, a := whole.advance(sum)
		for _, x := range []struct {
			what      string
			got, want float64
		}{
			{"appeared", seen.mean, a.mean}, {"caught", seen.caught, a.caught}, {"variance", seen.variance, a.variance},
			{"left", cut.sum().mean, once.sum().mean}, {"all", seen.mean + cut.sum().mean, total},
		} {
			// What is negligible is let go at one step or another.
			if !(math.Abs(x.got-x.want) <= 1e-7) {
				t.Fatalf("%s = %g in steps %v, %g at once", x.what, x.got, steps, x.want)
			}
		}
	})
}

func TestPoolLeavesTheOldOneAsItIs(t *testing.T) {
	first := pool{}.add(lateRise(1, 24*time.Hour)).add(lateRise(2, 48*time.Hour))
	first.add(lateRise(4, 24*time.Hour))
	first.advance(100 * time.Hour)
	first.dilute(0.1)
	close1(t, "the old pool", first.sum().mean, 3)
	if n := len(first.add(lateRise(4, 24*time.Hour)).parts); n != 2 {
		t.Errorf("%d parts for two times", n)
	}
}

func TestPoolDilutes(t *testing.T) {
	r := lateRise(1, 24*time.Hour)
	r.Unknown = true
	p := pool{}.add(r).dilute(0.7)
	all := p.sum()
	close1(t, "mean", all.mean, 0.7)
	close1(t, "caught", all.caught, 0.7*0.05)
	close1(t, "variance", all.variance, 0.49*0.05*0.05)
	close1(t, "all replaced", p.dilute(0).sum().mean, 0)
}

func TestPoolMeanTime(t *testing.T) {
	p := pool{}.add(lateRise(1, 24*time.Hour)).add(lateRise(3, 48*time.Hour))
	if got := p.sum().over; got != 14*time.Hour { // (1·8 + 3·16)/4
		t.Errorf("mean time constant %v, want 14h", got)
	}
	if got := (pool{}).sum(); got != (late{}) {
		t.Errorf("an empty pool holds %+v", got)
	}
	// What lowers the level has no weight, so that the mean stays between the times there are.
	p = pool{}.add(lateRise(1, 24*time.Hour)).add(lateRise(-0.999, 48*time.Hour))
	if got := p.sum().over; got != 8*time.Hour {
		t.Errorf("mean time constant %v, want 8h", got)
	}
}

// What is negligible is released at once, so that a pool does not live for ever.
func TestPoolEnds(t *testing.T) {
	p := pool{}.add(lateRise(0.5, time.Hour))
	left, a := p.advance(10 * time.Hour)
	if len(left.parts) != 0 {
		t.Errorf("%d parts are left after ten times the time", len(left.parts))
	}
	close1(t, "appeared", a.mean, 0.5)
	if left, a := p.advance(-time.Hour); len(left.parts) != 1 || a.mean != 0 {
		t.Errorf("going back in time releases %g", a.mean)
	}
}

func lateFilter(level float64) *Filter {
	f := New(300, []Spec{{Quantity: units.Alkalinity, TestSD: 0.15, Target: 8.3, Upper: 8.8, Use: 0, UseSD: 1e-6}})
	f.Test(Test{At: noon, Quantity: units.Alkalinity, Value: level})
	return f
}

// Nothing is used here: the level rises by what appears and by nothing else, and level and pending make up the dose.
func TestFilterReleasesWhatIsPending(t *testing.T) {
	f := lateFilter(8)
	f.Dose(noon, []Rise{lateRise(0.6, 24*time.Hour)})
	for _, h := range []int{0, 1, 8, 24, 60, 24 * 14} {
		e := f.At(noon.Add(time.Duration(h)*time.Hour), units.Alkalinity)
		left := 0.6 * math.Exp(-float64(h)/8)
		if math.Abs(e.Level-(8.6-left)) > 1e-4 || math.Abs(e.Pending-left) > 1e-8 {
			t.Errorf("after %d h level %.5f and pending %.5f, want %.5f and %.5f", h, e.Level, e.Pending, 8.6-left, left)
		}
		if want := 8 * time.Hour; e.Pending > 1e-6 && e.PendingOver != want {
			t.Errorf("time constant %v, want %v", e.PendingOver, want)
		}
	}
}

// A rise at once is as it was before there were pools.
func TestFilterRisesAtOnce(t *testing.T) {
	f := lateFilter(8)
	f.Dose(noon, []Rise{lateRise(0.6, 0)})
	if e := f.At(noon, units.Alkalinity); math.Abs(e.Level-8.6) > 1e-9 || e.Pending != 0 || e.PendingOver != 0 {
		t.Errorf("level %g, pending %g over %v", e.Level, e.Pending, e.PendingOver)
	}
}

// What was dosed before the first test appears after it: the test sees only what had appeared.
func TestFilterKeepsWhatWasDosedBeforeTheFirstTest(t *testing.T) {
	f := New(300, []Spec{{Quantity: units.Alkalinity, TestSD: 0.15, Target: 8.3, Upper: 8.8, Use: 0, UseSD: 1e-6}})
	f.Dose(noon, []Rise{lateRise(0.6, 24*time.Hour)})
	if e := f.At(noon, units.Alkalinity); e.Pending != 0 {
		t.Errorf("something is pending in water of which nothing is known: %g", e.Pending)
	}
	f.Test(Test{At: noon.Add(8 * time.Hour), Quantity: units.Alkalinity, Value: 8})
	e := f.At(noon.Add(8*time.Hour), units.Alkalinity)
	close1(t, "pending at the test", e.Pending, 0.6*math.Exp(-1))
	e = f.At(noon.Add(20*24*time.Hour), units.Alkalinity)
	if math.Abs(e.Level-(8+0.6*math.Exp(-1))) > 1e-4 {
		t.Errorf("level %g in the end", e.Level)
	}
}

// A test corrects the level, not what has not appeared.
func TestFilterTestLeavesPending(t *testing.T) {
	f := lateFilter(8)
	f.Dose(noon, []Rise{lateRise(0.6, 24*time.Hour)})
	at := noon.Add(8 * time.Hour)
	before := f.At(at, units.Alkalinity).Pending
	f.Test(Test{At: at, Quantity: units.Alkalinity, Value: 8.5})
	if after := f.At(at, units.Alkalinity).Pending; after != before {
		t.Errorf("a test changed what is pending from %g to %g", before, after)
	}
}

// A change of 30 % of the water takes 30 % of what has not appeared; the mix brings none.
func TestFilterWaterChangeTakesPending(t *testing.T) {
	f := lateFilter(8)
	f.Dose(noon, []Rise{lateRise(0.6, 24*time.Hour)})
	f.WaterChange(noon, 0.3, []Level{{Quantity: units.Alkalinity, Value: 8}})
	e := f.At(noon, units.Alkalinity)
	close1(t, "pending", e.Pending, 0.42)
	e = f.At(noon.Add(20*24*time.Hour), units.Alkalinity)
	if math.Abs(e.Level-8.42) > 1e-4 {
		t.Errorf("level %g in the end, want 8.42", e.Level)
	}
}

// An unknown run counts against raises at once, and no test before it has appeared takes that away.
func TestFilterCatchesUnknownRunsThatAppearLate(t *testing.T) {
	f := lateFilter(8)
	f.Dose(noon, []Rise{{Quantity: units.Alkalinity, Mean: 0.3, Lo: 0, Hi: 0.6, Unknown: true, Over: 24 * time.Hour}})
	e := f.At(noon, units.Alkalinity)
	close1(t, "caught above the level", e.LevelCaught-e.Level, 0.3)
	f.Test(Test{At: noon, Quantity: units.Alkalinity, Value: 8})
	e = f.At(noon, units.Alkalinity)
	close1(t, "caught above the level after a test", e.LevelCaught-e.Level, 0.3)
	e = f.At(noon.Add(24*time.Hour), units.Alkalinity)
	if e.LevelCaught-e.Level < 0.29 {
		t.Errorf("caught falls to %g without a test", e.LevelCaught-e.Level)
	}
	if e.LevelSD < 0.28 {
		t.Errorf("sd of the level is %g although an unknown 0..0.6 has appeared", e.LevelSD)
	}
}

// A held test's model and a clone have pools of their own.
func TestFilterCopiesShareNoPool(t *testing.T) {
	f := lateFilter(8)
	f.Dose(noon, []Rise{lateRise(0.2, 24*time.Hour)})
	c := f.Clone()
	c.Dose(noon, []Rise{lateRise(5, 24*time.Hour)})
	c.WaterChange(noon, 0.9, nil)
	close1(t, "pending of the original", f.At(noon, units.Alkalinity).Pending, 0.2)
	if r := f.Test(Test{At: noon, Quantity: units.Alkalinity, Value: 11}); r.Verdict != Held {
		t.Fatalf("a test of 11 dKH is %v", r.Verdict)
	}
	f.Dose(noon, []Rise{lateRise(0.2, 24*time.Hour)})
	later := noon.Add(20 * 24 * time.Hour)
	e := f.At(later, units.Alkalinity)
	if math.Abs(e.Level-8.4) > 1e-4 || math.Abs(e.HeldLevel-f.find(units.Alkalinity).doubt.believer.level()-0.4) > 0.01 {
		t.Errorf("level %g and, if the held test were true, %g", e.Level, e.HeldLevel)
	}
}
