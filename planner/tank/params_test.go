package tank

import (
	"math"
	"strings"
	"testing"
	"time"

	"aliquot/planner/units"
)

func TestParamsAreChecked(t *testing.T) {
	one := func(q units.Quantity, v float64) map[units.Quantity]float64 { return map[units.Quantity]float64{q: v} }
	tests := []struct {
		name   string
		change func(*Params)
		want   string // part of the error; empty: accepted
	}{
		{"least volume", func(p *Params) { p.NetLitres = 1 }, ""},
		{"too little volume", func(p *Params) { p.NetLitres = 0.99 }, "net volume"},
		{"volume NaN", func(p *Params) { p.NetLitres = math.NaN() }, "net volume"},
		{"volume infinite", func(p *Params) { p.NetLitres = math.Inf(1) }, "net volume"},
		{"most uptake", func(p *Params) { p.Uptake.PerDay = 20 }, ""},
		{"too much uptake", func(p *Params) { p.Uptake.PerDay = 20.1 }, "uptake, dKH/day is 20.1"},
		{"uptake NaN", func(p *Params) { p.Uptake.PerDay = math.NaN() }, "uptake, dKH/day"},
		{"negative reference", func(p *Params) { p.Uptake.Reference = -1 }, "reference level"},
		{"negative half level", func(p *Params) { p.Uptake.HalfLevel = -1 }, "half level"},
		{"slope", func(p *Params) { p.Uptake.Slope = 11 }, "slope"},
		{"shrinking", func(p *Params) { p.Uptake.GrowthPerDay = -0.5 }, ""},
		{"shrinking too fast", func(p *Params) { p.Uptake.GrowthPerDay = -0.51 }, "growth"},
		{"full day swing", func(p *Params) { p.Uptake.DaySwing = 1 }, ""},
		{"more than full day swing", func(p *Params) { p.Uptake.DaySwing = 1.01 }, "day swing"},
		{"wander", func(p *Params) { p.Uptake.WanderSD, p.Uptake.WanderTime = 0.1, time.Hour }, ""},
		{"wander too fast", func(p *Params) { p.Uptake.WanderSD, p.Uptake.WanderTime = 0.1, time.Hour-1 }, "correlation time"},
		{"wander too large", func(p *Params) { p.Uptake.WanderSD, p.Uptake.WanderTime = 1.1, time.Hour }, "wander is 1.1"},
		{"negative step", func(p *Params) { p.Uptake.StepFactor = -1 }, "step factor"},
		{"unknown law", func(p *Params) { p.Uptake.Law = 4 }, "law of uptake"},
		{"negative nitrification", func(p *Params) { p.NitrateFormedPerDay = -1 }, "nitrate formed"},
		{"nitrate uptake", func(p *Params) { p.NitrateUptakePerDay = 11 }, "nitrate taken up"},
		{"all water evaporates", func(p *Params) { p.EvaporationLitresPerDay = 300 }, ""},
		{"more water evaporates", func(p *Params) { p.EvaporationLitresPerDay = 300.1 }, "evaporation"},
		{"top-off above 1", func(p *Params) { p.TopOffShare = 1.1 }, "topped off"},
		{"photosynthesis", func(p *Params) { p.Life.PhotosynthesisPerDay = 10001 }, "photosynthesis"},
		{"respiration", func(p *Params) { p.Life.RespirationPerDay = -1 }, "respiration"},
		{"longest light", func(p *Params) { p.Life.LightHours = 24 }, ""},
		{"light too long", func(p *Params) { p.Life.LightHours = 24.1 }, "light period"},
		{"light NaN", func(p *Params) { p.Life.LightHours = math.NaN() }, "light period"},
		{"most gas exchange", func(p *Params) { p.GasExchangePerHour = 10 }, ""},
		{"too much gas exchange", func(p *Params) { p.GasExchangePerHour = 10.1 }, "gas exchange"},
		{"least CO2", func(p *Params) { p.RoomPCO2 = 100 }, ""},
		{"too little CO2", func(p *Params) { p.RoomPCO2 = 99 }, "CO2 in the room"},
		{"pH and alkalinity that do not go together", func(p *Params) { p.Start = map[units.Quantity]float64{units.Alkalinity: 0.7, units.PH: 9.4} }, "at the start"},
		{"pH at the start", func(p *Params) { p.Start = one(units.PH, 5) }, "at the start"},
		{"saturation", func(p *Params) { p.Uptake.Law = Saturation }, ""},
		{"undersaturated", func(p *Params) { p.Uptake.Law, p.Start = Saturation, one(units.PH, 7.2) }, "aragonite saturation"},
		{"saturation of no reference", func(p *Params) { p.Uptake = Uptake{Law: Saturation, Reference: 50} }, "reference level 50"},
		{"offset of a probe", func(p *Params) { p.ProbeOffset = one(units.PH, -0.05) }, ""},
		{"drift of a probe NaN", func(p *Params) { p.ProbeDriftPerDay = one(units.PH, math.NaN()) }, "drift of a probe"},
		{"drift of ORP", func(p *Params) { p.ProbeDriftPerDay = one(units.ORP, 1) }, "drift of a probe"},
		{"temperature swing", func(p *Params) { p.TemperatureSwing = -1 }, "temperature swing"},
		{"middle of the light", func(p *Params) { p.MidLight = 13 * time.Hour }, "middle of the light"},
		{"negative start", func(p *Params) { p.Start = one(units.Calcium, -1) }, "level at the start of calcium is -1 mg/L"},
		{"start of ORP", func(p *Params) { p.Start = one(units.ORP, 300) }, "level at the start"},
		{"start without alkalinity", func(p *Params) { p.Start = one(units.Alkalinity, 0) }, "must be above 0"},
		{"start NaN", func(p *Params) { p.Start = one(units.Alkalinity, math.NaN()) }, "alkalinity"},
		{"probe noise negative", func(p *Params) { p.ProbeSD = one(units.PH, -0.1) }, "noise of a probe"},
		{"other uptake", func(p *Params) { p.OtherPerDay = one(units.Potassium, 2) }, ""},
		{"other uptake of calcium", func(p *Params) { p.OtherPerDay = one(units.Calcium, 2) }, "equation of its own"},
		{"other uptake of pH", func(p *Params) { p.OtherPerDay = one(units.PH, 0.1) }, "equation of its own"},
		{"other uptake negative", func(p *Params) { p.OtherPerDay = one(units.Potassium, -2) }, "uptake per day"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := Params{NetLitres: 300}
			tt.change(&p)
			tank, err := New(p, start)
			if tt.want == "" {
				if err != nil {
					t.Fatalf("New = %v; want a tank", err)
				}
				return
			}
			if err == nil || tank != nil || !strings.Contains(err.Error(), tt.want) {
				t.Fatalf("New = %v, %v; want an error with %q", tank, err, tt.want)
			}
		})
	}
}
