package main

import (
	"math"
	"slices"
	"testing"

	"aliquot/bridge"
	"aliquot/config"
	"aliquot/safety"
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
		{config.Level{Unit: "%"}, 40},
	} {
		in := levelInputs(&config.Site{Containers: []config.Container{{ID: "bare"}, {ID: "can", Capacity: 2000 * safety.Millilitre, Level: &c.level}}})
		if len(in) != 1 || in[0].Container != "can" {
			t.Fatalf("levels %+v; want that of can alone", in)
		}
		if got := (c.reading - in[0].Tare) * in[0].Millilitres; math.Abs(got-800) > 1e-9 {
			t.Errorf("%g %s is %g mL; want 800", c.reading, c.level.Unit, got)
		}
	}
}

// A table is told in the unit of the readings, and a float switch by its words.
func TestLevelTablesAndSwitches(t *testing.T) {
	table := []config.LevelAt{{MM: 20, Holds: 2000 * safety.Millilitre}, {MM: 210, Holds: 0}}
	in := levelInputs(&config.Site{Containers: []config.Container{
		{ID: "mm", Level: &config.Level{Unit: "mm", Table: table}},
		{ID: "cm", Level: &config.Level{Unit: "cm", Table: table}},
		{ID: "float", Capacity: 2000 * safety.Millilitre, Level: &config.Level{Unit: "switch", Low: "wet", Enough: "dry", Mark: 300 * safety.Millilitre}},
	}})
	for i, want := range [][]bridge.LevelPoint{{{Reading: 20, Millilitres: 2000}, {Reading: 210}}, {{Reading: 2, Millilitres: 2000}, {Reading: 21}}, nil} {
		if !slices.Equal(in[i].Table, want) {
			t.Errorf("%s: table %v, want %v", in[i].Container, in[i].Table, want)
		}
	}
	if f := in[2]; f.Reading.On != "wet" || f.Reading.Off != "dry" || f.Low != 300 || f.Full != 2000 {
		t.Errorf("the float switch is %+v", f)
	}
}
