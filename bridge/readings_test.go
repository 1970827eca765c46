package bridge

import (
	"testing"
	"testing/synctest"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/topics"
	"aliquot/planner/units"
	"aliquot/safety"
)

// One payload may hold several readings, and a node's word about itself beside them.
func TestReadingsShareATopic(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		at := func(path string) topics.ReadingSpec { return topics.ReadingSpec{Path: path} }
		r := startRig(t, func(o *Options) {
			o.Probes = []ProbeInput{{ID: "ph", Topic: "shed/sump", Reading: at("ph"), Quantity: units.PH},
				{ID: "warm", Topic: "shed/sump", Reading: at("t"), Quantity: units.Temperature, Unit: "degC"}}
			o.Levels = []LevelInput{{Container: "can", Topic: "shed/sump", Reading: at("can"), Millilitres: 1}}
		})
		in := r.b.in
		seen := map[string]int{}
		for _, f := range r.b.Subscriptions() {
			seen[f.Topic]++
		}
		if seen["shed/sump"] != 1 {
			t.Errorf("the topic is subscribed to %d times; want once", seen["shed/sump"])
		}
		if from := in.sources["shed/sump"]; len(from.probes)+len(from.levels) != 3 {
			t.Errorf("%d readings are taken from the topic; want 3", len(from.probes)+len(from.levels))
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}

func TestH21LevelsReachTheMachine(t *testing.T) {
	for _, c := range []struct {
		name    string
		level   LevelInput
		payload string
		want    float64 // mL; -1: no good reading, -2: a good one without a volume
	}{
		{"millilitres", LevelInput{Millilitres: 1}, "1234.5", 1234.5},
		{"litres at a path", LevelInput{Millilitres: 1000, Reading: topics.ReadingSpec{Path: "scale.l"}}, `{"scale":{"l":1.5}}`, 1500},
		{"a mass less the tare, by the density", LevelInput{Tare: 212, Millilitres: 1 / 1.1}, "1312", 1000},
		{"nothing in it", LevelInput{Tare: 212, Millilitres: 1}, "212", 0},
		{"a zero that drifted", LevelInput{Tare: 212, Millilitres: 1}, "211", 0},
		{"lifted off", LevelInput{Tare: 212, Millilitres: 1}, "0", -1},
		{"more than it holds", LevelInput{Millilitres: 1}, "5600", -1},
		{"no number", LevelInput{Millilitres: 1}, "NaN", -1},
		{"a height, by its table", LevelInput{Table: tall}, "55", 1250},
		{"at the lower end", LevelInput{Table: tall}, "10", 0},
		{"a little below the table", LevelInput{Table: tall}, "8.3", 0},
		{"below the table", LevelInput{Table: tall}, "8.1", -1},
		{"above the table", LevelInput{Table: tall}, "102", -1},
		{"a distance, by its table", LevelInput{Table: deep}, "20", 4500},
		{"at the far end", LevelInput{Table: deep}, "110", 0},
		{"a float switch says how little there may be, not how much", LevelInput{Reading: topics.ReadingSpec{On: "low", Off: "ok"}, Low: 300, Full: 5000}, "low", -2},
		{"a float switch with another word", LevelInput{Reading: topics.ReadingSpec{On: "low", Off: "ok"}, Low: 300, Full: 5000}, "LOW", -1},
		{"beyond all numbers", LevelInput{Millilitres: 1}, "1e300", -1},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				c.level.Container, c.level.Topic = "can", "shed/scale"
				site := testSite(t)
				site.Containers[0].Level = true
				r := startRig(t, func(o *Options) {
					o.Site, o.Levels = site, []LevelInput{c.level}
					f := machine.NewFold(site)
					for _, row := range commissioned(site, time.Now().Add(-time.Minute)) {
						f.Add(row)
					}
					o.State = f.State()
				})
				r.connect()
				r.b.Deliver(Message{Topic: "shed/scale", Payload: []byte(c.payload)})
				time.Sleep(2 * time.Second)
				synctest.Wait()
				v, _ := r.b.View()
				k := v.Containers[0]
				if c.want == -2 {
					if k.LevelML != nil || k.LevelWhy == nil || *k.LevelWhy != "" {
						t.Errorf("%q is taken as %v (%v); want a good reading without a volume", c.payload, k.LevelML, k.LevelWhy)
					}
				} else if c.want < 0 {
					if k.LevelML != nil || k.LevelWhy == nil || *k.LevelWhy == "" || k.LevelSeen == nil {
						t.Errorf("%q is taken as %v (%v); want no reading and why", c.payload, k.LevelML, k.LevelWhy)
					}
				} else if k.LevelML == nil || *k.LevelML > c.want || *k.LevelML < c.want-.001 {
					t.Errorf("%q is taken as %v mL; want %g", c.payload, k.LevelML, c.want)
				}
				if err := r.stop(); err != nil {
					t.Error(err)
				}
			})
		})
	}
}

var (
	tall = []LevelPoint{{10, 0}, {40, 500}, {100, 3500}}
	deep = []LevelPoint{{10, 5000}, {110, 0}}
)

// What the zero of a scale may drift below nothing is kept as that, rounded towards less.
func TestLevelVolume(t *testing.T) {
	for ml, want := range map[float64]safety.Microlitres{0: 0, 1.0005: 1000, -1.0005: -1001, 1000: 1_000_000} {
		if got, err := levelVolume(ml); err != nil || got != want {
			t.Errorf("levelVolume(%g) = %d, %v; want %d", ml, got, err, want)
		}
	}
}
