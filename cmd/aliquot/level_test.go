package main

import (
	"math"
	"testing"

	"aliquot/config"
)

// 1 kg of a solution of 1.25 kg/L is 800 mL, in whatever unit it is told.
func TestLevelUnits(t *testing.T) {
	for _, c := range []struct {
		level   config.Level
		reading float64
	}{
		{config.Level{Unit: "g", TareG: 250, DensityKgPerL: 1.25}, 1250},
		{config.Level{Unit: "kg", TareG: 250, DensityKgPerL: 1.25}, 1.25},
		{config.Level{Unit: "mL"}, 800},
		{config.Level{Unit: "L"}, .8},
	} {
		in := levelInputs(&config.Site{Containers: []config.Container{{ID: "bare"}, {ID: "can", Level: &c.level}}})
		if len(in) != 1 || in[0].Container != "can" {
			t.Fatalf("levels %+v; want that of can alone", in)
		}
		if got := (c.reading - in[0].Tare) * in[0].Millilitres; math.Abs(got-800) > 1e-9 {
			t.Errorf("%g %s is %g mL; want 800", c.reading, c.level.Unit, got)
		}
	}
}
