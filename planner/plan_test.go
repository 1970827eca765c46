package planner_test

import (
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/planner"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
	"aliquot/safety"
)

// The systems here are invented. 340 L; 1 mL of the carbonate solution raises 1 L by 4.25 dKH, so that 80 mL
// are 1 dKH of the system.
const carbonate = 4.25

func ml(v float64) *safety.Microlitres {
	u, err := safety.MillilitresDown(v)
	if err != nil {
		panic(err)
	}
	return &u
}

var noon = utc("2027-03-10T12:00:00Z")

func alkTarget() planner.Target {
	return planner.Target{Quantity: units.Alkalinity, Target: 8.3, Band: .5, MaxRise: .7, MaxFall: .7,
		Test: planner.TestHabits{SD: .15, StaleAfter: 10 * 24 * time.Hour}}
}

// known is an estimate with a fresh test and hardly any doubt.
func known(level, use float64) estimate.Estimate {
	return estimate.Estimate{Quantity: units.Alkalinity, Known: true, Level: level, LevelCaught: level, LevelSD: .01,
		Consumption: use, UseAtTarget: use, Gain: 1, TestsUsed: 5, LastAccepted: noon.Add(-time.Hour)}
}

// one is a system with one channel that follows alkalinity, 96 mL a day (1.2 dKH) in force.
func one(t testing.TB, e estimate.Estimate) planner.Input {
	cal := calendar(t, "*/30 * * * *", "Europe/Lisbon")
	ch := planner.Channel{ID: "alk", System: "nursery", Mode: planner.Follow, Quantity: units.Alkalinity,
		Strength: map[units.Quantity]float64{units.Alkalinity: carbonate}, Calendar: cal,
		SmallestRun: 300, PerRun: 8000, PerDay: 180_000, Tolerance: 50}
	return planner.Input{At: noon,
		Systems: []planner.SystemState{{System: planner.System{ID: "nursery", Kind: planner.Coral, NetLitres: 340,
			Targets: []planner.Target{alkTarget()}}, Estimates: []estimate.Estimate{e}}},
		Channels: []planner.ChannelState{{Channel: ch, Rate: 166_667, Reference: ml(96),
			Peak: planner.Peak{Days: 51. / 48, Slots: 49}}}}
}

func perDay(in planner.Input) float64 { return planner.DayVolumes(in)[0].PerDay.Millilitres() }

func TestTheVolumeCoversUseAndCorrection(t *testing.T) {
	for _, c := range []struct {
		name       string
		level, use float64
		want       float64 // mL; 80 are 1 dKH
	}{
		{"at target", 8.3, 1.2, 96},
		{"a little below", 8.1, 1.2, 96 + .2*80},
		{"far below: max_rise, in steps", 6, 1.2, 96 + 27},
		{"a little above", 8.5, 1.2, 96 - .2*80},
		{"far above: max_fall", 12, 1.2, 96 - .7*80},
		{"above, small use: nothing", 9.5, .5, 0},
		{"nothing used", 8.3, 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := perDay(one(t, known(c.level, c.use))); math.Abs(got-c.want) > .5 {
				t.Errorf("level %v, use %v: %v mL a day, want %v", c.level, c.use, got, c.want)
			}
		})
	}
}

func TestPartsSumUp(t *testing.T) {
	for _, level := range []float64{7, 8.1, 8.3, 8.5, 9, 12} {
		d := planner.DayVolumes(one(t, known(level, 1)))[0]
		if d.UsePart+d.CorrectionPart != d.PerDay {
			t.Errorf("level %v: %v + %v is not %v", level, d.UsePart, d.CorrectionPart, d.PerDay)
		}
		if (level < 8.3) != (d.CorrectionPart > 0) || (level > 8.3) != (d.CorrectionPart < 0) {
			t.Errorf("level %v: correction part %v has the wrong sign", level, d.CorrectionPart)
		}
	}
}

func TestTheCorrectionNeverExceedsMaxRise(t *testing.T) {
	in := one(t, known(5, 1))
	in.Channels[0].Reference = ml(150) // no step in the way
	if got := perDay(in); math.Abs(got-(80+.7*80)) > .01 {
		t.Errorf("%v mL a day, want use 80 + max_rise 56", got)
	}
}

func TestAnUnsureUseLowersTheLargestRaise(t *testing.T) {
	for _, c := range []struct{ sd, want float64 }{{0, .7}, {.1, .6}, {.21, .49}, {2, .49}} {
		e := known(5, 1)
		e.ConsumptionSD = c.sd
		in := one(t, e)
		in.Channels[0].Reference = ml(150)
		if got := perDay(in); math.Abs(got-(1+c.want)*80) > .01 {
			t.Errorf("use 1 ± %v: %v mL a day, want a raise of %v dKH", c.sd, got, c.want)
		}
	}
}

// The mean already leaves out what of a test is noise: its sd neither softens nor sharpens a correction.
func TestTheMeanIsCorrectedWhateverItsSD(t *testing.T) {
	for _, sd := range []float64{.001, .1, .5, 5} {
		e := known(8.1, 1.2)
		e.LevelSD = sd
		if got := perDay(one(t, e)); math.Abs(got-(1.2+.2)*80) > .01 {
			t.Errorf("sd %v: %v mL, want the use 96 and a correction of 16", sd, got)
		}
	}
}

func TestAGainOtherThanToldMovesTheVolume(t *testing.T) {
	for _, c := range []struct{ gain, want float64 }{{.95, 96 / .95}, {1.1, 96 / 1.1}, {.5, 96 / .8}, {2, 96 / 1.25}, {0, 96}} {
		e := known(8.3, 1.2)
		e.Gain = c.gain
		in := one(t, e)
		in.Channels[0].Reference = ml(110)
		if got := perDay(in); math.Abs(got-c.want) > .01 {
			t.Errorf("gain %v: %v mL, want %v", c.gain, got, c.want)
		}
	}
}

func TestTheUseOfTheComingDayLiesBetweenNowAndTheTarget(t *testing.T) {
	e := known(8.1, 1.1)
	e.UseAtTarget = 1.2
	if got := perDay(one(t, e)); math.Abs(got-(1.15+.2)*80) > .01 {
		t.Errorf("%v mL, want 1.15 dKH of use and 0.2 of correction", got)
	}
}

func TestUnknownRunsCountAtTheirMostForARaise(t *testing.T) {
	e := known(8, 1.2)
	e.LevelCaught = 8.4
	if got := perDay(one(t, e)); math.Abs(got-96) > .01 {
		t.Errorf("%v mL, want the use alone: the level may be 8.4", got)
	}
}

func TestPlanStep(t *testing.T) {
	for _, c := range []struct {
		name            string
		reference, base *safety.Microlitres
		want            float64
	}{
		{"15 % of per_day from little", ml(40), nil, 40 + 27},
		{"25 % of much", ml(120), nil, 150},
		{"from a base", nil, ml(60), 60 + 27},
		{"from nothing", nil, nil, 27},
		{"the reference before the base", ml(10), ml(60), 37},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := one(t, known(8.3, 2)) // asks for 160 mL
			in.Channels[0].Reference, in.Channels[0].Base = c.reference, c.base
			if got := perDay(in); math.Abs(got-c.want) > .01 {
				t.Errorf("%v mL, want %v", got, c.want)
			}
		})
	}
}

func TestCeilingAfterAnUnknownRun(t *testing.T) {
	in := one(t, known(8, 1.2))
	in.Channels[0].Ceiling = ml(96)
	if got := perDay(in); got != 96 {
		t.Errorf("%v mL, want the ceiling 96", got)
	}
	in.Systems[0].Estimates[0] = known(9, 1.2)
	if got := perDay(in); got >= 96 {
		t.Errorf("%v mL: a ceiling must not keep a volume up", got)
	}
}

func TestH24NothingRisesWhileTheContainerIsInDoubt(t *testing.T) {
	in := one(t, known(8, 1.2))
	in.Channels[0].Reference = ml(80)
	if got := perDay(in); got <= 80 {
		t.Fatalf("%v mL without a doubt, want more than the 80 of before", got)
	}
	in.Channels[0].DoubtCeiling = ml(80)
	if got := perDay(in); got != 80 {
		t.Errorf("%v mL, want the 80 of before", got)
	}
	if text := planner.Plan(in).Days[0].Text; !strings.Contains(text, "not raised while the level of its container disagrees") {
		t.Errorf("the plan says %q", text)
	}
	in.Systems[0].Estimates[0] = known(9, 1.2)
	if got := perDay(in); got >= 80 {
		t.Errorf("%v mL: a doubt must not keep a volume up", got)
	}
}

func TestH27Overshoot(t *testing.T) {
	for _, c := range []struct {
		name             string
		level, use, fall float64
		want             float64
	}{
		{"half the use", 8.5, 1, .7, 40},
		{"use less max_fall is more", 8.5, 2, .7, 104},
		{"the ordinary correction asks for less", 9.3, 1, .7, 24},
		{"back at the target", 8.3, 1, .7, 80},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := known(c.level, c.use)
			e.Overshoot, e.LevelSD = true, .2
			if c.level == 9.3 {
				e.LevelSD = .01
			}
			in := one(t, e)
			in.Channels[0].Reference = ml(160)
			if got := perDay(in); math.Abs(got-c.want) > .01 {
				t.Errorf("%v mL, want %v", got, c.want)
			}
		})
	}
}

// Whatever tests say, a volume drawn from them does not let the predicted level fall faster than max_fall.
func TestH27NeverFallsFasterThanMaxFall(t *testing.T) {
	for _, use := range []float64{0, .5, .7, .71, 1, 2} {
		for _, level := range []float64{8.3, 8.4, 8.9, 10, 16} {
			for variant := range 4 {
				e := known(level, use)
				e.Overshoot = variant&1 != 0
				if variant&2 != 0 {
					e.Held, e.HeldLevel = &estimate.Test{Value: 80}, 80
				}
				in := one(t, e)
				in.Channels[0].Reference = ml(160)
				if fall := use - perDay(in)/80; fall > .7+1e-4 {
					t.Errorf("level %v, use %v, variant %d: predicted level falls by %v a day, want at most 0.7", level, use, variant, fall)
				}
			}
		}
	}
}

func TestH29HeldTests(t *testing.T) {
	for _, c := range []struct {
		name      string
		level     float64
		held      float64
		reference float64
		want      float64
	}{
		{"8.0 → 5.2 raises nothing", 8.3, 5.2, 96, 96},
		{"8.0 → 80 lowers by a quarter", 8.3, 80, 96, 72},
		{"a little high lowers by what it says", 8.3, 8.5, 96, 80},
		{"no raise while it is held", 7.9, 5.2, 96, 96},
		{"the quarter does not add up", 8.3, 80, 72, 72},
		{"an ordinary fall goes on", 8.6, 5.2, 96, 72},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := known(c.level, 1.2)
			without := one(t, e)
			without.Channels[0].Reference = ml(c.reference)
			e.Held, e.HeldLevel = &estimate.Test{Value: c.held}, c.held
			in := one(t, e)
			in.Channels[0].Reference = ml(c.reference)
			got := planner.DayVolumes(in)[0]
			if math.Abs(got.PerDay.Millilitres()-c.want) > .5 {
				t.Errorf("%v, want %v mL", got.PerDay, c.want)
			}
			if got.PerDay > planner.DayVolumes(without)[0].PerDay {
				t.Errorf("%v is more than without the held test", got.PerDay)
			}
			if !slices.Contains(got.Why, safety.Unconfirmed) {
				t.Errorf("why %v lacks unconfirmed", got.Why)
			}
		})
	}
}

// What was in force when the test came bounds the hold, not what was in force a day before: a volume that was rising must
// not fall back.
func TestH29HeldTestsAgainstTheVolumeInForce(t *testing.T) {
	for _, c := range []struct {
		name      string
		level     float64
		held      float64
		inForce   float64
		reference float64
		want      float64
	}{
		{"yesterday's volume does not pull it lower", 8.3, 5.2, 96, 80, 96},
		{"a quarter of what is in force", 8.3, 80, 96, 80, 72},
		{"nor does yesterday's lift it", 8.3, 5.2, 80, 96, 80},
		{"a quarter, though more is wanted", 8.3, 80, 80, 96, 60},
		{"the quarter does not add up", 8.3, 80, 96, 72, 72},
		{"the quarter and an ordinary fall together", 8.6, 80, 96, 96, 72},
		{"an ordinary fall alone goes as far as it would", 8.8, 80, 96, 96, 56},
		{"what the held test says, if that is less of a fall", 8.3, 8.5, 96, 60, 80},
		{"the step still bounds", 8.3, 5.2, 96, 40, 67},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := known(c.level, 1.2)
			e.Held, e.HeldLevel = &estimate.Test{Value: c.held}, c.held
			in := one(t, e)
			in.Channels[0].Reference, in.Channels[0].InForce = ml(c.reference), ml(c.inForce)
			got := planner.DayVolumes(in)[0]
			if math.Abs(got.PerDay.Millilitres()-c.want) > .5 {
				t.Errorf("%v, want %v mL", got.PerDay, c.want)
			}
			e.Held = nil
			free := one(t, e)
			free.Channels[0].Reference = ml(c.reference)
			if most := planner.DayVolumes(free)[0].PerDay; got.PerDay > most {
				t.Errorf("%v is more than %v without the held test", got.PerDay, most)
			}
		})
	}
}

func TestH30StaleTests(t *testing.T) {
	const d = 24 * time.Hour
	for _, c := range []struct {
		name      string
		level     float64
		age       time.Duration
		reference float64
		base      *safety.Microlitres
		want      float64
		stale     bool
	}{
		{"just fresh", 8.1, 10 * d, 96, nil, 112, false},
		{"just stale: no correction", 8.1, 10*d + 1, 96, nil, 96, true},
		{"stale above target: no correction either", 9, 20 * d, 96, nil, 96, true},
		{"twice: nine tenths of the use", 8.3, 20*d + 1, 96, nil, 86.4, true},
		{"twice: a tenth a day", 8.3, 21 * d, 140, nil, 126, true},
		{"there it stays", 8.3, 40 * d, 86.4, nil, 86.4, true},
		{"never rises to the use", 8.3, 40 * d, 50, nil, 50, true},
		{"towards a base below", 8.3, 40 * d, 96, ml(60), 86.4, true},
		{"at the base", 8.3, 40 * d, 60, ml(60), 60, true},
		{"never rises to the base", 8.3, 40 * d, 50, ml(60), 50, true},
		{"age alone never stops", 8.3, 4000 * d, 86.4, nil, 86.4, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := known(c.level, 1.2)
			e.LastAccepted = noon.Add(-c.age)
			in := one(t, e)
			in.Channels[0].Reference, in.Channels[0].Base = ml(c.reference), c.base
			got := planner.DayVolumes(in)[0]
			if math.Abs(got.PerDay.Millilitres()-c.want) > .1 {
				t.Errorf("%v, want %v mL", got.PerDay, c.want)
			}
			if slices.Contains(got.Why, safety.StaleTest) != c.stale {
				t.Errorf("why %v, want stale %v", got.Why, c.stale)
			}
		})
	}
}

func TestNoTestEver(t *testing.T) {
	in := one(t, estimate.Estimate{Quantity: units.Alkalinity})
	out := planner.Plan(in)
	if len(out.Runs) != 0 || len(out.Withheld) != 1 || out.Withheld[0].Code != safety.NoTest || out.Days[0].PerDay != 0 {
		t.Errorf("without a test or a base: %+v", out)
	}
	in.Systems[0].Estimates = nil
	if out := planner.Plan(in); len(out.Withheld) != 1 || out.Withheld[0].Code != safety.NoTest {
		t.Errorf("without an estimate: %+v", out)
	}
	in.Channels[0].Base, in.Channels[0].Reference = ml(60), nil
	out = planner.Plan(in)
	if len(out.Withheld) != 0 || out.Days[0].PerDay != 60_000 || len(out.Runs) != 48 || !slices.Contains(out.Days[0].Why, safety.NoTest) {
		t.Errorf("without a test, base 60 mL: %+v", out.Days)
	}
}

func TestTreatmentRaisesNothing(t *testing.T) {
	for _, c := range []struct {
		name            string
		reference, base *safety.Microlitres
		level, want     float64
	}{
		{"not above what is given", ml(50), nil, 8.3, 50},
		{"not above the base", ml(50), ml(40), 8.3, 40},
		{"not above the base when nothing is given yet", nil, ml(40), 8.3, 40},
		{"nothing without either", nil, nil, 8.3, 0},
		{"falls all the same", ml(96), nil, 8.6, 72},
		{"no upward correction", ml(96), nil, 8, 96},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := one(t, known(c.level, 1.2))
			in.Systems[0].Kind = planner.Treatment
			in.Channels[0].Reference, in.Channels[0].Base = c.reference, c.base
			if got := perDay(in); math.Abs(got-c.want) > .1 {
				t.Errorf("%v mL, want %v", got, c.want)
			}
		})
	}
}

func TestSentences(t *testing.T) {
	in := two(t, one(t, known(8.1, 1.2)), func(c *planner.ChannelState) { c.Mode, c.FixedPerDay, c.Strength = planner.Fixed, 2, nil })
	out := planner.Plan(in)
	for i, want := range []string{
		"alkalinity about 8.1 dKH, target 8.3, use 1.2 a day, correction 0.2 a day; 112 mL a day",
		"fixed 2 mL a day; 2 mL a day",
	} {
		if out.Days[i].Text != want {
			t.Errorf("text %q, want %q", out.Days[i].Text, want)
		}
	}
	e := known(10, 1.2)
	e.LastAccepted, e.Held = noon.Add(-15*24*time.Hour), &estimate.Test{}
	in = one(t, e)
	in.Channels[0].Ceiling, in.Channels[0].PerDay = ml(10), 12_000
	for _, want := range []string{"too old", "above the band", "waits for confirmation", "unknown run", "rises in steps"} {
		in.Channels[0].Reference = ml(20)
		if got := planner.Plan(in).Days[0].Text; !strings.Contains(got, want) {
			t.Errorf("text %q lacks %q", got, want)
		}
	}
}

func TestPlanAndDayVolumesAgreeAndRepeat(t *testing.T) {
	in := two(t, one(t, known(8.1, 1.2)), func(c *planner.ChannelState) { c.Mode, c.FixedPerDay = planner.Fixed, 20 })
	a, b := planner.Plan(in), planner.Plan(in)
	if !reflect.DeepEqual(a, b) {
		t.Error("the same input gave two plans")
	}
	for i, d := range planner.DayVolumes(in) {
		if d.PerDay != a.Days[i].PerDay || d.UsePart != a.Days[i].UsePart || d.Text != "" {
			t.Errorf("DayVolumes gives %+v, Plan %+v", d, a.Days[i])
		}
	}
}

func BenchmarkDayVolumes(b *testing.B) {
	in := one(b, known(8.1, 1.2))
	for i := range 9 {
		c := in.Channels[0]
		c.ID = string(rune('b' + i))
		if i > 2 {
			c.Mode, c.FixedPerDay = planner.Fixed, 2
		}
		in.Channels = append(in.Channels, c)
	}
	b.ReportAllocs()
	for b.Loop() {
		planner.DayVolumes(in)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/10, "ns/channel")
}
