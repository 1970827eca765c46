package machine_test

import (
	"testing"
	"time"

	"aliquot/bridge/machine"
)

func TestH24TestsFarBelowAskToLookAtTheOutlet(t *testing.T) {
	const name = "outlet-reef-alkalinity"
	for _, c := range []struct {
		name  string
		tests []float64 // sd below the prediction, one a day
		want  bool
	}{
		{"one", []float64{3.5}, false},
		{"two", []float64{3.5, 3.5}, true},
		{"two, the first one held", []float64{8, 5}, true},
		{"two, a little nearer", []float64{3.5, 2.5}, false},
		{"two with an ordinary one between", []float64{3.5, 0, 3.5}, false},
		{"above", []float64{-3.5, -3.5}, false},
		{"two, then an ordinary one", []float64{3.5, 3.5, 0}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, previews, noon)
			r.boot()
			r.commission()
			r.coarse = 5 * time.Minute
			for range 6 { // the estimate settles
				r.advance(24 * time.Hour)
				r.test("alkalinity", r.expected(), "dKH")
			}
			for _, sd := range c.tests {
				r.advance(24 * time.Hour)
				level, one := r.prediction()
				a := r.ask(machine.VerbTest, machine.Request{Quantity: "alkalinity", Value: ref(level - sd*one), Unit: "dKH"})
				if !a.OK {
					t.Fatalf("%+v", a)
				}
			}
			r.advance(time.Minute)
			if _, got := r.alerts[name]; got != c.want {
				t.Errorf("the alert stands %v; want %v", got, c.want)
			}
			r.check.refolds(r)
		})
	}
}

func (r *rig) expected() float64 {
	level, _ := r.prediction()
	return level
}

// prediction is what a test of alkalinity would be compared with now: the level, and the sd of a test of it.
func (r *rig) prediction() (level, sd float64) {
	v := machine.Predicted(&r.state, "reef", "alkalinity", r.trueTime(), .15)
	return v.Predicted, v.PredictedSD
}
