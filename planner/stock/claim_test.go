package stock

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"aliquot/planner/units"

	"pgregory.net/rapid"
)

func TestParseClaim(t *testing.T) {
	for _, c := range []struct {
		q    units.Quantity
		text string
		want float64
	}{
		{units.Strontium, "0.4 mg/L per mL in 100 L", 40},
		{units.Strontium, "0.4 mg/L per 1 mL in 100 L", 40},
		{units.Strontium, "  0.4  mg/L per   mL in 100 L ", 40},
		{units.Strontium, "400 ug/L per mL in 100 L", 40},
		{units.Strontium, "0.4 mg/L in 100 L per mL", 40},
		{units.Alkalinity, "1 dKH per 5 mL in 50 L", 10},
		{units.Alkalinity, "1 meq/L per 100 mL in 100 L", 2.80385},
		{units.Calcium, "20 ppm per 10 mL in 25 US gal", 189.27059},
		{units.Magnesium, "1 mg/L per 1 L in 100 L", 0.1},
		{units.Nitrate, "1 mg/L N per mL in 10 L", 44.2664},
		{units.Magnesium, "2000 mg/L per mL in 1 L", 2000},
		{units.Alkalinity, "60 dKH per mL in L", 60},
	} {
		got, err := ParseClaim(c.q, c.text)
		if err != nil || math.Abs(got-c.want) > 1e-5*c.want {
			t.Errorf("ParseClaim(%s, %q) = %v, %v; want %v", c.q, c.text, got, err, c.want)
		}
	}
}

func TestParseClaimRefuses(t *testing.T) {
	for _, c := range []struct {
		q    units.Quantity
		text string
		want string
	}{
		{units.Strontium, "", `"" is no claim; write it as "0.4 mg/L per mL in 100 L"`},
		{units.Strontium, "0.4 mg/L", `"0.4 mg/L" is no claim; write it as "0.4 mg/L per mL in 100 L"`},
		{units.Strontium, "0.4 mg/L per mL", `"0.4 mg/L per mL" is no claim; write it as "0.4 mg/L per mL in 100 L"`},
		{units.Strontium, "0.4 per mL in 100 L", `claim "0.4 per mL in 100 L": "0.4" has no unit (allowed: mg/L, ug/L, mmol/L, umol/L); write the unit behind the number, as in 0.4 mg/L`},
		{units.Strontium, "0,4 mg/L per mL in 100 L", `claim "0,4 mg/L per mL in 100 L": "0,4 mg/L" does not begin with a usable number; use a point as decimal mark and no thousands separator`},
		{units.Strontium, "0.4 mg/L per drop in 100 L", `claim "0.4 mg/L per drop in 100 L": dose: "drop" does not begin with a usable number; write a number with its unit`},
		{units.Strontium, "0.4 mg/L per mL in 100 gal", `claim "0.4 mg/L per mL in 100 gal": water: "100 gal" is no volume (allowed: mL, L, uL, US gal, imp gal); gallons differ by a fifth: say US gal or imp gal`},
		{units.Strontium, "0.4 mg/L per 0 mL in 100 L", `claim "0.4 mg/L per 0 mL in 100 L": dose: "0 mL" is not above 0 mL`},
		{units.Strontium, "0 mg/L per mL in 100 L", `claim "0 mg/L per mL in 100 L": 1 mL would change 1 L by 0 mg/L, possible is above 0 and at most 2000 mg/L; check the units`},
		{units.Calcium, "20.1 mg/L per mL in 100 L", `claim "20.1 mg/L per mL in 100 L": 1 mL would change 1 L by 2010 mg/L, possible is above 0 and at most 2000 mg/L; check the units`},
		{units.Alkalinity, "6.1 dKH per mL in 10 L", `claim "6.1 dKH per mL in 10 L": 1 mL would change 1 L by 61 dKH, possible is above 0 and at most 60 dKH; check the units`},
		{units.PH, "0.1 per mL in 100 L", `"pH" cannot be raised by a supplement; claim alkalinity or a dissolved substance`},
		{units.Salinity, "1 psu per mL in 100 L", `"salinity" cannot be raised by a supplement; claim alkalinity or a dissolved substance`},
	} {
		got, err := ParseClaim(c.q, c.text)
		if err == nil || err.Error() != c.want || got != 0 {
			t.Errorf("ParseClaim(%s, %q) = %v, %v;\n want %s", c.q, c.text, got, err, c.want)
		}
	}
	var e *units.Error
	if _, err := ParseClaim(units.Strontium, "0.4 per mL in 100 L"); !errors.As(err, &e) || e.Reason != units.MissingUnit {
		t.Errorf("the cause is lost: %v", err)
	}
}

// A claim gives level × litres / millilitres, whatever the sizes.
func TestParseClaimScales(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		level := rapid.Float64Range(0.001, 10).Draw(t, "level")
		ml := rapid.Float64Range(1, 1000).Draw(t, "mL")
		litres := rapid.Float64Range(1, 200).Draw(t, "L")
		text := fmt.Sprintf("%g mg/L per %g mL in %g L", level, ml, litres)
		got, err := ParseClaim(units.Calcium, text)
		if want := level * litres / ml; err != nil || math.Abs(got-want) > 1e-9*want {
			t.Fatalf("%s = %v, %v; want %v", text, got, err, want)
		}
	})
}

func FuzzParseClaim(f *testing.F) {
	for _, s := range []string{"0.4 mg/L per mL in 100 L", "1 dKH in 50 L per 5 mL", " per  in ", "1 mg/L per 1e-300 mL in 1e300 L", "1 in per in L in mL"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, q := range units.Quantities() {
			got, err := ParseClaim(q, s)
			if err == nil && !(got > 0 && got <= strengthMostIon) || err != nil && got != 0 {
				t.Errorf("ParseClaim(%s, %q) = %v, %v", q, s, got, err)
			}
		}
	})
}
