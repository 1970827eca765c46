package main

import (
	"math"
	"testing"

	"aliquot/config"
	"aliquot/planner/acidity"
	"aliquot/planner/seawater"
	"aliquot/planner/units"
)

// What the machine is told of a supplement is what the static bound was worked out from: the same formula with the same
// parts gives the same bound at the usual pH.
func TestAlkalineEffectIsThatOfTheStaticBound(t *testing.T) {
	y := config.System{NetLitres: 100, SalinityPSU: 35, TemperatureC: 25}
	p := config.Supplement{ID: "s", Solution: []config.Salt{{Name: "sodium carbonate", GPerL: 50}}}
	p.Strength = map[units.Quantity]float64{units.Alkalinity: 2.65}
	a, ok := acidityOf(y, p)
	if !ok {
		t.Fatal("its pH is not known")
	}
	e := alkaline(a)
	if e.Salt != seawater.Carbonates || math.Abs(e.AtOnce-2.65) > .01 {
		t.Errorf("the machine is told %+v; want carbonate, all of 2.65 dKH at once", e)
	}
	water := seawater.Water{Salinity: 35, Temperature: 25}
	alkalinity, err := water.AlkalinityFromDKH(acidity.UsualDKH)
	if err != nil {
		t.Fatal(err)
	}
	system, err := seawater.NewSystem(water)
	if err != nil {
		t.Fatal(err)
	}
	before, err := system.AlkalinityPH(alkalinity, acidity.UsualPH)
	if err != nil {
		t.Fatal(err)
	}
	dkh, bounded, err := system.LargestRiseDKH(before, e.Salt, seawater.DefaultStep)
	if err != nil || !bounded {
		t.Fatalf("no bound: %v", err)
	}
	if got, want := dkh*y.NetLitres/e.AtOnce, gentle(a).Millilitres(); math.Abs(got-want) > 1e-3 {
		t.Errorf("by the machine's parts %g mL; want the static %g mL", got, want)
	}
}
