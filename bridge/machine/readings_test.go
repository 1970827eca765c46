package machine_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// What was weighed is recorded as mL, by density or by the Z factor of water.
func TestCalibrateByMass(t *testing.T) {
	weighed := func(grams float64) []machine.Trial {
		return []machine.Trial{{Seconds: 60, MeasuredG: grams}, {Seconds: 60, MeasuredG: grams}, {Seconds: 60, MeasuredG: grams}}
	}
	for _, c := range []struct {
		name string
		q    machine.Request
		code safety.Code
		ml   float64 // of the first trial
		says string
	}{
		{"water", machine.Request{Trials: weighed(9.8), WaterC: ref(25.0)}, safety.OK, 9.8 * 1.0040, "mL/min"},
		{"a solution", machine.Request{Trials: weighed(10.29), DensityKgL: ref(1.05)}, safety.OK, 9.81, "mL/min"},
		{"nobody says what", machine.Request{Trials: weighed(9.8)}, safety.BadPayload, 0, "water_celsius"},
		{"both said", machine.Request{Trials: weighed(9.8), WaterC: ref(25.0), DensityKgL: ref(1.05)}, safety.BadPayload, 0, "exclude"},
		{"nothing weighed", machine.Request{Trials: line(9.8, 0, 60, 60, 60), DensityKgL: ref(1.05)}, safety.BadPayload, 0, "no trial in g"},
		{"no trials", machine.Request{Seconds: ref(5.0), DensityKgL: ref(1.05)}, safety.BadPayload, 0, "trials in g"},
		{"lighter than any solution", machine.Request{Trials: weighed(9.8), DensityKgL: ref(0.69)}, safety.OutOfRange, 0, "0.7..2"},
		{"kg/m3", machine.Request{Trials: weighed(9.8), DensityKgL: ref(1050.0)}, safety.OutOfRange, 0, "0.7..2"},
		{"frozen", machine.Request{Trials: weighed(9.8), WaterC: ref(-1.0)}, safety.OutOfRange, 0, "0..40"},
		{"kilograms", machine.Request{Trials: weighed(0.0098), WaterC: ref(25.0)}, safety.OutOfRange, 0, "0.01..5000"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, previews, noon)
			r.boot()
			r.commission()
			before := lastBody[machine.Calibration](r.rows)
			c.q.Channel = "alk"
			a := r.ask(machine.VerbCalibrate, c.q)
			if a.Code != c.code || !strings.Contains(a.Text, c.says) {
				t.Fatalf("%s %s; want %s and %q", a.Code, a.Text, c.code, c.says)
			}
			k := lastBody[machine.Calibration](r.rows)
			switch {
			case !a.OK && len(k.Trials) != len(before.Trials):
				t.Errorf("refused and recorded: %+v", k)
			case a.OK && math.Abs(k.Trials[0].MeasuredML-c.ml) > 0.002:
				t.Errorf("recorded %+v; want %g mL", k.Trials[0], c.ml)
			}
		})
	}
}

func TestTestsAtATemperature(t *testing.T) {
	for _, c := range []struct {
		name     string
		quantity string
		value    float64
		unit     string
		at       *machine.Measure
		code     safety.Code
		level    float64
		shows    *float64 // degC in the result
		says     string
		not      string
	}{
		{"compensated", "salinity", 53, "mS/cm", nil, safety.OK, 34.95, ref(25.0), "to which hobby meters compensate", ""},
		{"at 25 degC", "salinity", 53, "mS/cm", &machine.Measure{Value: 77, Unit: "degF"}, safety.OK, 34.95, ref(25.0), "(53 mS/cm at 25 degC)", "compensate"},
		// UNESCO 44: C(35, 15 degC) is 42.914 mS/cm (Culkin & Smith 1980).
		{"cold", "salinity", 42.914, "mS/cm", &machine.Measure{Value: 14.9964, Unit: "degC"}, safety.OK, 35, ref(14.9964), "at 15 degC", "compensate"},
		{"needs none", "alkalinity", 8.2, "dKH", &machine.Measure{Value: 24, Unit: "degC"}, safety.OK, 8.2, nil, "8.2 dKH taken", "degC"},
		{"per kilogram", "alkalinity", 2850, "umol/kg", &machine.Measure{Value: 24, Unit: "degC"}, safety.OK, 8.180, ref(24.0), "at 24 degC", ""},
		{"too hot H-28", "salinity", 53, "mS/cm", &machine.Measure{Value: 77, Unit: "degC"}, safety.OutOfRange, 0, nil, "0..40 degC", ""},
		{"no unit H-28", "salinity", 53, "mS/cm", &machine.Measure{Value: 25}, safety.MissingUnit, 0, nil, "temperature", ""},
		{"no temperature H-28", "salinity", 53, "mS/cm", &machine.Measure{Value: 25, Unit: "psu"}, safety.WrongUnit, 0, nil, "temperature", ""},
		{"beyond the formula", "salinity", 53, "mS/cm", &machine.Measure{Value: 39, Unit: "degC"}, safety.OutOfRange, 0, nil, "mS/cm", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, previews, noon)
			r.boot()
			r.commission()
			rows := len(r.rows)
			a := r.ask(machine.VerbTest, machine.Request{Quantity: c.quantity, Value: &c.value, Unit: c.unit, SampleAt: c.at, Of: "reference"})
			if a.Code != c.code || !strings.Contains(a.Text, c.says) || (c.not != "" && strings.Contains(a.Text, c.not)) {
				t.Fatalf("%s %s; want %s, %q and not %q", a.Code, a.Text, c.code, c.says, c.not)
			}
			if !a.OK {
				if len(r.rows) != rows+1 {
					t.Errorf("refused and %d rows written; want the answer alone", len(r.rows)-rows)
				}
				return
			}
			var got machine.TestResult
			if err := json.Unmarshal([]byte(a.Result), &got); err != nil {
				t.Fatal(err)
			}
			if math.Abs(got.Level-c.level) > 0.01 || (got.TemperatureC == nil) != (c.shows == nil) || (c.shows != nil && math.Abs(*got.TemperatureC-*c.shows) > 1e-9) {
				t.Errorf("result %s; want %g at %v", a.Result, c.level, c.shows)
			}
			row := lastBody[machine.Test](r.rows)
			if (row.SampleC == nil) != (c.at == nil) || row.Value != c.value || row.Unit != c.unit || row.Level != got.Level {
				t.Errorf("recorded %+v", row)
			}
		})
	}
}
