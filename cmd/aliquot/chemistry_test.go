package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"aliquot/config"
	"aliquot/planner/seawater"
	"aliquot/planner/units"
)

func chemistry(args ...string) (out, errs string, code int) {
	var o, e bytes.Buffer
	code = run(context.Background(), args, stream{strings.NewReader(""), &o, &e})
	return o.String(), e.String(), code
}

// The chemistry commands need no configuration and say what they rest on.
func TestChemistryCommands(t *testing.T) {
	for _, c := range []struct {
		name string
		args string
		code int
		says []string
	}{
		{"alkalinity", "convert|alkalinity|143|ppm|CaCO3|--to|dKH", exitOK, []string{"8.01212"}},
		{"gravity", "convert|salinity|1.0264|SG|25/25|--to|psu|--method", exitOK, []string{"35.03", "EOS-80"}},
		{"gravity without temperatures", "convert|salinity|1.026|SG", exitFailed, []string{"25/25"}},
		{"wrong family", "convert|calcium|8|dKH", exitFailed, []string{"dKH is a unit of alkalinity"}},
		{"comma", "convert|alkalinity|8,3|dKH", exitUsage, []string{"use a point"}},
		{"phosphorus", "convert|phosphate|30|ppb P|--to|mg/L", exitOK, []string{"0.09198"}},
		{"forward", "mix|sodium carbonate=80 g/L|--batch|5 L", exitOK, []string{"400 g", "4.233 dKH", "take care", "38 % of saturation"}},
		{"by formula", "mix|CaCl2.2H2O|--for|calcium|--strength|30 mg/L", exitOK, []string{"110 g", "heats strongly", "hexahydrate"}},
		{"open water", "mix|calcium chloride|--for|calcium|--strength|30 mg/L", exitFailed, []string{"dihydrate (1.325 g)"}},
		{"does not dissolve", "mix|NaHCO3|--for|alkalinity|--rise|1 dKH/day|--in|60 mL/day|--system|340 L", exitFailed, []string{"194 % of saturation"}},
		{"precipitates", "mix|sodium carbonate=50 g/L|calcium chloride dihydrate=50 g/L", exitFailed, []string{"precipitate"}},
		{"water", "water|--alkalinity|8.3 dKH|--ph|8.2|--method", exitOK, []string{"SG 25/25", "1.02637", "aragonite", "Lueker"}},
		{"pH alone", "water|--ph|8.2", exitUsage, []string{"--alkalinity"}},
		{"outside the formulas", "water|--salinity|10 psu|--alkalinity|8 dKH|--ph|8.2", exitFailed, []string{"salinity"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			out, errs, code := chemistry(strings.Split(c.args, "|")...)
			if code != c.code {
				t.Errorf("code %d, want %d: %s", code, c.code, errs)
			}
			for _, want := range c.says {
				if !strings.Contains(out+errs, want) {
					t.Errorf("it does not say %q:\n%s%s", want, out, errs)
				}
			}
		})
	}
}

// pH 8.1 (total) and 2300 umol/kg at 35 psu and 25 degC: a row of the carbonate table made with PyCO2SYS 1.8.3.4.
func TestWaterAgreesWithTheReferenceTable(t *testing.T) {
	out, errs, code := chemistry("water", "--alkalinity", "2300 umol/kg", "--ph", "8.1", "--ph-scale", "total", "--format", "json")
	if code != exitOK {
		t.Fatal(errs)
	}
	var v waterView
	if err := json.Unmarshal([]byte(out), &v); err != nil {
		t.Fatal(err)
	}
	if got := v.Carbonate.Alkalinity; math.Abs(got-2300) > 1e-6 {
		t.Errorf("2300 umol/kg came back as %g", got)
	}
	if got := v.Carbonate.PHTotal; got != 8.1 {
		t.Errorf("pH %g", got)
	}
}

// A planned run of carbonate is held to the default pH step, and of bicarbonate to none (H-26).
func TestH26PlannedRunsAreHeldToAPHStep(t *testing.T) {
	y := config.System{NetLitres: 100, SalinityPSU: 35, TemperatureC: 25}
	supplement := func(salt string, strength float64) config.Supplement {
		p := config.Supplement{ID: "s", Solution: []config.Salt{{Name: salt, GPerL: 50}}}
		p.Strength = map[units.Quantity]float64{units.Alkalinity: strength}
		return p
	}
	for _, c := range []struct {
		salt        string
		strength    float64
		least, most float64 // dKH that the largest planned run brings; 0: not bounded
	}{
		{"sodium carbonate", 2.65, 0.25, 0.32},
		{"sodium hydroxide", 3.5, 0.10, 0.15},
		{"sodium bicarbonate", 1.67, 0.5, 3},
	} {
		t.Run(c.salt, func(t *testing.T) {
			a, ok := acidityOf(y, supplement(c.salt, c.strength))
			if !ok {
				t.Fatal("its pH is not known")
			}
			dkh := gentle(a).Millilitres() * c.strength / y.NetLitres
			if !(dkh >= c.least && dkh <= c.most) {
				t.Errorf("the largest planned run brings %.3f dKH; want %g to %g", dkh, c.least, c.most)
			}
			step, err := a.Step(gentle(a).Millilitres())
			if err != nil || math.Abs(math.Abs(step)-seawater.DefaultStep) > 1e-3 {
				t.Errorf("its pH step is %.4f, want %.2f", step, seawater.DefaultStep)
			}
		})
	}
	if _, ok := acidityOf(y, config.Supplement{ID: "label"}); ok {
		t.Error("a label's claim has a pH step")
	}
	if a, ok := acidityOf(config.System{NetLitres: 100, SalinityPSU: 5, TemperatureC: 25}, supplement("sodium carbonate", 2.65)); ok {
		t.Errorf("water outside the formulas has a bound of %s", gentle(a))
	}
}

// Units are named by their UCUM codes too, each beside a number that is there.
func TestChemistryNamesUCUMCodes(t *testing.T) {
	out, errs, code := chemistry("convert", "alkalinity", "8", "dKH", "--format", "json")
	if code != exitOK {
		t.Fatal(errs)
	}
	var list []converted
	if err := json.Unmarshal([]byte(out), &list); err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for _, c := range list {
		got[c.Unit] = c.UCUM
	}
	for unit, want := range map[string]string{"dKH": "", "meq/L": "meq/L", "mmol/L": "mmol/L", "mg/L CaCO3": "mg{CaCO3}/L", "umol/kg": "umol/kg"} {
		if c, there := got[unit]; !there || c != want {
			t.Errorf("%s has the code %q (%v); want %q", unit, c, there, want)
		}
	}
	for _, c := range []struct {
		args []string
		want int
	}{{nil, len(waterUnits)}, {[]string{"--alkalinity", "8 dKH", "--ph", "8.2"}, len(waterUnits) + len(carbonateUnits)}} {
		out, errs, code := chemistry(append([]string{"water", "--format", "json"}, c.args...)...)
		if code != exitOK {
			t.Fatal(errs)
		}
		var v map[string]any
		if err := json.Unmarshal([]byte(out), &v); err != nil {
			t.Fatal(err)
		}
		codes := v["ucum"].(map[string]any)
		if len(codes) != c.want || codes["temperature_degc"] != "Cel" {
			t.Errorf("water %v: %d codes, want %d: %v", c.args, len(codes), c.want, codes)
		}
		for field := range codes {
			if !hasField(v, strings.Split(field, ".")) {
				t.Errorf("water %v: a code for %s, which is not there", c.args, field)
			}
		}
	}
}

func hasField(v any, path []string) bool {
	if list, ok := v.([]any); ok && len(list) > 0 {
		v = list[0]
	}
	m, ok := v.(map[string]any)
	if !ok || len(path) == 0 {
		return false
	}
	inner, there := m[path[0]]
	return there && (len(path) == 1 || hasField(inner, path[1:]))
}
