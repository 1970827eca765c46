package machine_test

import (
	"math"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

// answering is the water of a lagoon that answers to each dose by gain times what was told, and uses so much a day.
type answering struct {
	gain  float64
	use   func(day float64) float64 // dKH a day
	noise float64                   // of a test
	every int                       // days between tests
}

// life is what a month of tests met, the first week left out.
type life struct {
	low, high float64
	alertAt   int // after so many tests the alert stood; 0: never
	outAt     int // after so many the first one lay outside the band; 0: none did
}

func (a answering) live(t *testing.T) life {
	t.Helper()
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	r.coarse = time.Hour
	told := func() float64 {
		v := r.channel("alk")
		return (v.TotalHiML + v.TotalLoML) / 2 * carbonate[units.Alkalinity] / previews.Systems[0].NetLitres
	}
	level, before, tests := 8.1, told(), 0
	out := life{low: math.Inf(1), high: math.Inf(-1)}
	for day := 0; day < 32; day += a.every {
		r.advance(time.Duration(a.every) * 24 * time.Hour)
		now := told()
		level += a.gain*(now-before) - a.use(float64(day))*float64(a.every)
		before = now
		tests++
		value := level + a.noise*math.Sqrt2*math.Sin(float64(tests)*2.4) // spread, and the same each time
		if answer := r.ask(machine.VerbTest, machine.Request{Quantity: "alkalinity", Value: ref(math.Round(value*100) / 100), Unit: "dKH"}); !answer.OK {
			t.Fatalf("day %d: %+v", day, answer)
		}
		r.advance(time.Minute)
		if r.alerts["response-reef-alkalinity"].Raised && out.alertAt == 0 {
			out.alertAt = tests
		}
		if math.Abs(value-8.3) > .5 && out.outAt == 0 {
			out.outAt = tests
		}
		if day >= 7 {
			out.low, out.high = min(out.low, level), max(out.high, level)
		}
	}
	r.check.refolds(r)
	return out
}

func steady(use float64) func(float64) float64 { return func(float64) float64 { return use } }

// A volume that is told twice too large: tested often the level stays in its band, and nobody need be called. Tested seldom it
// swings further each time, and within three tests of the first that shows it the alert stands. What is told rightly raises none, whether the
// use is steady, grows or falls; nor does a volume that is told too small.
func TestH33_AVolumeThatTheTestsContradict(t *testing.T) {
	for _, c := range []struct {
		name  string
		a     answering
		alert bool
		may   bool // it is true, and need not be found
	}{
		{"half the volume, seldom tested", answering{gain: 2, use: steady(.8), noise: .1, every: 5}, true, false},
		{"half the volume, often tested", answering{gain: 2, use: steady(.8), noise: .1, every: 2}, false, true},
		{"as declared, seldom tested", answering{gain: 1, use: steady(.8), noise: .1, every: 5}, false, false},
		{"a tenth off", answering{gain: 1.1, use: steady(.8), noise: .1, every: 5}, false, false},
		{"twice the volume", answering{gain: .5, use: steady(.4), noise: .1, every: 5}, false, false},
		{"growing", answering{gain: 1, use: func(d float64) float64 { return .6 * (1 + d/60) }, noise: .1, every: 5}, false, false},
		{"falling", answering{gain: 1, use: func(d float64) float64 { return .9 * (1 - d/60) }, noise: .1, every: 5}, false, false},
		{"stops at once", answering{gain: 1, use: func(d float64) float64 { return max(0, math.Copysign(.8, 20-d)) }, noise: .1, every: 4}, false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			switch l := c.a.live(t); {
			case !c.may && (l.alertAt > 0) != c.alert:
				t.Errorf("%+v; want an alert: %v", l, c.alert)
			case c.alert && l.alertAt > max(l.outAt, responseTests)+3:
				t.Errorf("%+v: the alert is late", l)
			}
		})
	}
}

const responseTests = 4
