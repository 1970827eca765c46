package advice_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"aliquot/planner"
	"aliquot/planner/advice"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
	"aliquot/safety"

	"pgregory.net/rapid"
)

// everyHour is a schedule of the whole hours.
type everyHour struct{}

func (everyHour) Next(t time.Time) time.Time { return t.Truncate(time.Hour).Add(time.Hour) }

// plan is an invented tank of 340 L in which 80 mL are 1 dKH, with 1 dKH used a day and at most 180 mL a day.
func plan() planner.Input {
	t := target(.5, 0, 14*daily)
	t.MaxRise, t.MaxFall = .7, .7
	e := estimate.Estimate{Quantity: units.Alkalinity, Known: true, Level: 8.3, LevelCaught: 8.3, LevelSD: .1, Consumption: 1, Use: 1, UseAtTarget: 1,
		ConsumptionSD: .1, Gain: 1, GainSD: .02, TestsUsed: 9, LastAccepted: start}
	return planner.Input{At: start,
		Systems: []planner.SystemState{{System: planner.System{ID: "reef", Kind: planner.Coral, NetLitres: 340, Targets: []planner.Target{t}}, Estimates: []estimate.Estimate{e}}},
		Channels: []planner.ChannelState{{Channel: planner.Channel{ID: "alk", System: "reef", Mode: planner.Follow, Quantity: units.Alkalinity,
			Strength: map[units.Quantity]float64{units.Alkalinity: 4.25}, Calendar: planner.Calendar{Schedule: everyHour{}, Zone: time.UTC},
			SmallestRun: 300, PerRun: 12_000, PerDay: 180_000, Tolerance: 50}, Rate: 166_667, Peak: planner.Peak{Days: 25. / 24, Slots: 25}}}}
}

func headings(perDay, sd float64) []advice.Heading {
	return []advice.Heading{{System: "reef", Quantity: units.Alkalinity, Trend: advice.Trend{PerDay: perDay, SD: sd}}}
}

// mostPerDay is what per_day of 180 mL leaves: (180 − 0.025)/1.05 less what slots owe, over 25 hours.
const mostPerDay = ((180-.025)/1.05 - .469) / (25. / 24)

func TestCaps(t *testing.T) {
	room := mostPerDay/80 - 1 // dKH a day that may come on top of 1
	for _, c := range []struct {
		name     string
		edit     func(in *planner.Input)
		headings []advice.Heading
		days     int // -1: none
		code     safety.Code
	}{
		{"no trend", nil, nil, -1, ""},
		{"an unsure trend", nil, headings(.1, .07), -1, ""},
		{"a falling use", nil, headings(-.1, .001), -1, ""},
		{"in a month", nil, headings(room/29.5, .001), 30, safety.DayCap},
		{"in 90 days", nil, headings(room/89.5, .001), 90, safety.DayCap},
		{"a little later", nil, headings(room/90.5, .001), -1, ""},
		{"another quantity's trend", nil, []advice.Heading{{System: "reef", Quantity: units.Calcium, Trend: advice.Trend{PerDay: 1, SD: .01}}}, -1, ""},
		{"another system's trend", nil, []advice.Heading{{System: "frag", Quantity: units.Alkalinity, Trend: advice.Trend{PerDay: 1, SD: .01}}}, -1, ""},
		// (1.2 dKH − 0.0065 of a carry and rounding) / (1.05 × 25/24) are 1.091 dKH: reached after 9.1 days.
		{"by max_dose", func(in *planner.Input) { in.Systems[0].Targets[0].MaxDose = 1.2 }, headings(.01, .001), 10, safety.QuantityCap},
		{"already there", func(in *planner.Input) { in.Channels[0].PerDay = 80_000 }, headings(.01, .001), 0, safety.DayCap},
		{"a large correction is not use", func(in *planner.Input) {
			in.Systems[0].Estimates[0].Level, in.Systems[0].Estimates[0].LevelCaught = 5, 5
		}, headings(room/29.5, .001), 30, safety.DayCap},
		{"an old reference is no cap", func(in *planner.Input) { v := safety.Microlitres(1000); in.Channels[0].Reference = &v }, headings(room/29.5, .001), 30, safety.DayCap},
		{"a fixed channel", func(in *planner.Input) { in.Channels[0].Mode, in.Channels[0].FixedPerDay = planner.Fixed, 500 }, headings(.1, .001), -1, ""},
		{"never tested", func(in *planner.Input) {
			b := safety.Microlitres(80_000)
			in.Channels[0].Base, in.Systems[0].Estimates[0].Known = &b, false
		}, headings(.1, .001), -1, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := plan()
			if c.edit != nil {
				c.edit(&in)
			}
			was := planner.DayVolumes(in)[0]
			got := advice.Caps(in, c.headings)
			if now := planner.DayVolumes(in)[0]; now.PerDay != was.PerDay {
				t.Errorf("the input changed: %v a day, before %v", now.PerDay, was.PerDay)
			}
			if c.days < 0 {
				if len(got) > 0 {
					t.Errorf("%+v; want none", got)
				}
				return
			}
			if len(got) != 1 || got[0].Channel != "alk" || got[0].Code != c.code || !got[0].At.Equal(start.AddDate(0, 0, c.days)) {
				t.Errorf("%+v; want alk by %s in %d days", got, c.code, c.days)
			}
		})
	}
}

// A faster growth never reaches a cap later, and never before now.
func TestCapsAreMonotoneInGrowth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		slow := rapid.Float64Range(1e-4, .2).Draw(t, "slow")
		fast := slow * rapid.Float64Range(1, 5).Draw(t, "times")
		a, b := advice.Caps(plan(), headings(slow, 1e-6)), advice.Caps(plan(), headings(fast, 1e-6))
		if len(a) > len(b) || len(a) == 1 && (a[0].At.Before(start) || b[0].At.After(a[0].At)) {
			t.Fatalf("a growth of %v: %+v; of %v: %+v", slow, a, fast, b)
		}
	})
}

func TestCapsInWords(t *testing.T) {
	c := advice.Cap{Channel: "alk", At: time.Date(2027, 5, 3, 20, 0, 0, 0, time.UTC), Code: safety.DayCap}
	if got := c.Text(time.FixedZone("far east", 10*3600)); !strings.Contains(got, "channel alk reaches its per_day around 4 May 2027") {
		t.Errorf("%q", got)
	}
	c.Code = safety.QuantityCap
	if got := c.Text(nil); !strings.Contains(got, "max_dose of its quantity around 3 May 2027") {
		t.Errorf("%q", got)
	}
}

// The upper end of the use: 1.645 × 0.1 dKH are 13.16 mL a day more.
func TestMore(t *testing.T) {
	share := func(in *planner.Input) {
		s := in.Channels[0]
		s.ID, s.Mode, s.ShareOf, s.ShareRatio, s.Strength = "ca", planner.Share, "alk", .5, map[units.Quantity]float64{units.Calcium: 30}
		in.Channels = append(in.Channels, s)
	}
	for _, c := range []struct {
		name string
		edit func(in *planner.Input)
		want []float64 // mL
	}{
		{"one channel", func(*planner.Input) {}, []float64{13.16}},
		{"with a share of it", share, []float64{13.16, 6.58}},
		{"two followers", func(in *planner.Input) {
			in.Channels = append(in.Channels, in.Channels[0])
			in.Channels[1].ID = "too"
		}, []float64{6.58, 6.58}},
		{"not beyond per_day", func(in *planner.Input) { in.Systems[0].Estimates[0].ConsumptionSD = 9 }, []float64{100}},
		{"a use that nobody knows", func(in *planner.Input) { in.Systems[0].Estimates[0].ConsumptionSD = math.NaN() }, []float64{0}},
		{"fixed", func(in *planner.Input) { in.Channels[0].Mode, in.Channels[0].FixedPerDay = planner.Fixed, 5 }, []float64{0}},
		{"never tested", func(in *planner.Input) { in.Systems[0].Estimates[0].Known = false }, []float64{0}},
		{"without strength", func(in *planner.Input) { in.Channels[0].Strength = nil }, []float64{0}},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := plan()
			c.edit(&in)
			planned := make([]planner.Day, len(in.Channels))
			for i := range planned {
				planned[i].PerDay = 80_000
			}
			got := advice.More(in, planned)
			for i := range got {
				if math.Abs(got[i].Millilitres()-c.want[i]) > .01 {
					t.Errorf("channel %d: %v more a day, want %v mL", i, got[i], c.want[i])
				}
			}
			if none := advice.More(in, make([]planner.Day, len(in.Channels))); none[0] != 0 {
				t.Errorf("a channel without a plan gives %v more", none[0])
			}
		})
	}
}

func TestDosesOf(t *testing.T) {
	in := plan()
	if d := advice.DosesOf(in, []planner.Day{{PerDay: 80_000}}, "reef", units.Alkalinity); math.Abs(d.Planned-1) > 1e-9 || !d.Followed {
		t.Errorf("%+v; want 1 dKH, followed", d)
	}
	if d := advice.DosesOf(in, []planner.Day{{}}, "reef", units.Alkalinity); d != (advice.Doses{}) {
		t.Errorf("without a plan %+v", d)
	}
	if d := advice.DosesOf(in, []planner.Day{{PerDay: 80_000}}, "frag", units.Alkalinity); d != (advice.Doses{}) {
		t.Errorf("of another system %+v", d)
	}
}
