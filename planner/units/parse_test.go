package units

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"
)

type parser struct {
	name  string
	parse func(string) (float64, error)
}

func parsers() []parser {
	return []parser{
		{"number", ParseNumber}, {"volume", ParseVolume}, {"volume per day", ParseVolumePerDay}, {"rate", ParseRate},
		{"length", ParseLength}, {"mass", ParseMass}, {"density", ParseDensity}, {"temperature", ParseTemperature},
		{"salt", ParseSaltConcentration},
		{"alkalinity", func(s string) (float64, error) { return ParseLevel(Alkalinity, s) }},
		{"pH", func(s string) (float64, error) { return ParseLevel(PH, s) }},
		{"nitrate", func(s string) (float64, error) { return ParseLevel(Nitrate, s) }},
		{"alkalinity per day", func(s string) (float64, error) { return ParseLevelPerDay(Alkalinity, s) }},
		{"temperature per day", func(s string) (float64, error) { return ParseLevelPerDay(Temperature, s) }},
	}
}

func parserNamed(t *testing.T, name string) func(string) (float64, error) {
	t.Helper()
	for _, p := range parsers() {
		if p.name == name {
			return p.parse
		}
	}
	t.Fatalf("no parser %q", name)
	return nil
}

func TestParsersAccept(t *testing.T) {
	for _, c := range []struct {
		parser, text string
		want         float64
	}{
		{"number", "8.3", 8.3}, {"number", " -0.5 ", -0.5}, {"number", "+7", 7}, {"number", ".5", 0.5}, {"number", "1e3", 1000},
		{"number", "1.5E-2", 0.015}, {"number", "010", 10}, {"number", "−2", -2}, {"number", "5.", 5},
		{"volume", "340 L", 340000}, {"volume", "500mL", 500}, {"volume", "500 ml", 500}, {"volume", "250 µL", 0.25}, {"volume", "250 uL", 0.25},
		{"volume", "5 litres", 5000}, {"volume", "10 US gal", 37854.11784}, {"volume", "10 us gallons", 37854.11784}, {"volume", "1 imp gal", 4546.09}, {"volume", "0 mL", 0},
		{"volume", "5\u00a0L", 5000},
		{"volume per day", "100 mL/day", 100}, {"volume per day", "100 mL/d", 100}, {"volume per day", "1.2 L/day", 1200}, {"volume per day", "2 mL per day", 2},
		{"rate", "10 mL/min", 10}, {"rate", "1 mL/s", 60}, {"rate", "0.6 L/h", 10}, {"rate", "60 mL/h", 1}, {"rate", "1 L/min", 1000},
		{"length", "3 mm", 3}, {"length", "-20 cm", -200}, {"length", "1.6 m", 1600}, {"length", "2 in", 50.8}, {"length", "-0 m", 0},
		{"mass", "212 g", 212}, {"mass", "1.5 kg", 1500}, {"mass", "300 mg", 0.3},
		{"density", "1.10 kg/L", 1.1}, {"density", "1.1 g/mL", 1.1}, {"density", "1100 kg/m3", 1.1}, {"density", "1100 kg/m³", 1.1}, {"density", "1.1 g/cm3", 1.1},
		{"temperature", "25.5 degC", 25.5}, {"temperature", "77 °F", 25}, {"temperature", "-5 degC", -5}, {"temperature", "-273.15 degC", -273.15},
		{"salt", "80 g/L", 80}, {"salt", "0.08 g/mL", 80}, {"salt", "80 mg/mL", 80},
		{"alkalinity", "8.3 dKH", 8.3}, {"alkalinity", "8.3dKH", 8.3}, {"alkalinity", "2.5 meq/L", 7.009625}, {"alkalinity", "0 dKH", 0},
		{"pH", "8.2", 8.2}, {"pH", "8.2 pH", 8.2}, {"nitrate", "2 mg/L N", 8.85328},
		{"alkalinity per day", "0.7 dKH/day", 0.7}, {"alkalinity per day", "0.25 meq/L/d", 0.7009625}, {"alkalinity per day", "0.7 dKH per day", 0.7},
		{"alkalinity per day", "0 dKH/day", 0}, {"temperature per day", "1.8 degF/day", 1},
	} {
		got, err := parserNamed(t, c.parser)(c.text)
		if err != nil || math.Abs(got-c.want) > 1e-5*math.Max(1, math.Abs(c.want)) || math.Signbit(got) != math.Signbit(c.want) {
			t.Errorf("%s %q = %v, %v; want %v", c.parser, c.text, got, err, c.want)
		}
	}
}

func TestParsersRefuse(t *testing.T) {
	const levels = "dKH, meq/L, mmol/L, ppm CaCO3, mg/L CaCO3"
	for _, c := range []struct {
		parser, text string
		reason       Reason
		want         string
	}{
		{"number", "", NotANumber, "the value is empty; write a number with its unit"},
		{"number", "8,3", NotANumber, `"8,3" does not begin with a usable number; use a point as decimal mark and no thousands separator`},
		{"number", "1,200", NotANumber, `"1,200" does not begin with a usable number; use a point as decimal mark and no thousands separator`},
		{"number", "1_000", NotANumber, `"1_000" does not begin with a usable number; write the number with at most one point and without separators`},
		{"number", "1.2.3", NotANumber, `"1.2.3" does not begin with a usable number; write the number with at most one point and without separators`},
		{"number", "1 200", NotANumber, `"1 200" does not begin with a usable number; write the number without spaces inside`},
		{"number", "0x10", NotANumber, `"0x10" does not begin with a usable number; write the number in decimal digits`},
		{"number", "nan", NotANumber, `"nan" does not begin with a usable number; write a number with its unit`},
		{"number", "-inf", NotANumber, `"-inf" does not begin with a usable number; write a number with its unit`},
		{"number", "Infinity", NotANumber, `"Infinity" does not begin with a usable number; write a number with its unit`},
		{"number", "1e999", NotANumber, `"1e999" does not begin with a usable number; the number is too large`},
		{"number", ".", NotANumber, `"." does not begin with a usable number; write a number with its unit`},
		{"number", "5 mL", NotANumber, `"5 mL" is no plain number; leave out "mL"`},
		{"number", "--5", NotANumber, `"--5" does not begin with a usable number; write a number with its unit`},
		{"volume", "5", MissingUnit, `"5" has no unit (allowed: mL, L, uL, US gal, imp gal); write the unit behind the number, as in 5 mL`},
		{"volume", "5 kg", WrongUnit, `"5 kg" is no volume (allowed: mL, L, uL, US gal, imp gal); kg is a unit of mass`},
		{"volume", "143 dKH", WrongUnit, `"143 dKH" is no volume (allowed: mL, L, uL, US gal, imp gal); dKH is a unit of alkalinity`},
		{"volume", "5 mL/day", WrongUnit, `"5 mL/day" is no volume (allowed: mL, L, uL, US gal, imp gal); mL/day is a unit of volume per day`},
		{"volume", "5 h", WrongUnit, `"5 h" is no volume (allowed: mL, L, uL, US gal, imp gal); h is a unit of time`},
		{"volume", "5 gal", WrongUnit, `"5 gal" is no volume (allowed: mL, L, uL, US gal, imp gal); gallons differ by a fifth: say US gal or imp gal`},
		{"volume", "5 ML", WrongUnit, `"5 ML" is no volume (allowed: mL, L, uL, US gal, imp gal); ML reads as megalitres: write mL`},
		{"volume", "5 cups", WrongUnit, `"5 cups" is no volume (allowed: mL, L, uL, US gal, imp gal)`},
		{"volume", "-5 mL", OutOfRange, `"-5 mL" is below zero (allowed: 0 or more)`},
		{"volume", "5,5 L", NotANumber, `"5,5 L" does not begin with a usable number; use a point as decimal mark and no thousands separator`},
		{"volume", "1e308 L", NotANumber, `"1e308 L" is not a finite number`},
		{"volume per day", "5 mL", WrongUnit, `"5 mL" is no volume per day (allowed: mL/day, L/day); mL is a unit of volume`},
		{"volume per day", "5 gal/day", WrongUnit, `"5 gal/day" is no volume per day (allowed: mL/day, L/day); gallons differ by a fifth: say US gal or imp gal`},
		{"rate", "10 ML/min", WrongUnit, `"10 ML/min" is no pump rate (allowed: mL/min, mL/s, L/h, mL/h, L/min); ML reads as megalitres: write mL`},
		{"rate", "10 mL", WrongUnit, `"10 mL" is no pump rate (allowed: mL/min, mL/s, L/h, mL/h, L/min); mL is a unit of volume`},
		{"length", "2 M", WrongUnit, `"2 M" is no length (allowed: mm, cm, m, in); M may be metres, minutes or months: write m, min or d`},
		{"density", "1.1 SG", WrongUnit, `"1.1 SG" is no density (allowed: kg/L, g/mL, kg/m3); write kg/L: specific gravity depends on two temperatures`},
		{"temperature", "-300 degC", OutOfRange, `"-300 degC" is no level of temperature (allowed: -273.15 degC or more)`},
		{"salt", "80 g", WrongUnit, `"80 g" is no salt concentration (allowed: g/L, g/mL, mg/mL); g is a unit of mass`},
		{"alkalinity", "8.3", MissingUnit, `"8.3" has no unit (allowed: ` + levels + `); write the unit behind the number, as in 8.3 dKH`},
		{"alkalinity", "-1 dKH", OutOfRange, `"-1 dKH" is no level of alkalinity (allowed: 0 dKH or more)`},
		{"alkalinity", "8.3 dKH/day", WrongUnit, `"dKH/day" is no unit of alkalinity (allowed: ` + levels + `); dKH is a unit of alkalinity`},
		{"alkalinity per day", "0.7 dKH", WrongUnit, `"0.7 dKH" is no change per day (allowed: dKH/day); write /day behind the unit`},
		{"alkalinity per day", "0.7 mg/L/day", WrongUnit, `"mg/l" is no unit of alkalinity (allowed: ` + levels + `); say of what: ppm CaCO3, if calcium carbonate is meant`},
		{"alkalinity per day", "-0.7 dKH/day", OutOfRange, `"-0.7 dKH/day" is below zero (allowed: 0 or more)`},
	} {
		got, err := parserNamed(t, c.parser)(c.text)
		var e *Error
		if !errors.As(err, &e) || e.Reason != c.reason || err.Error() != c.want || got != 0 {
			t.Errorf("%s %q = %v, %v;\n want %s: %s", c.parser, c.text, got, err, c.reason, c.want)
		}
	}
}

func TestParseLevelOfOtherQuantities(t *testing.T) {
	if v, err := ParseLevel(ORP, "-50 mV"); err != nil || v != -50 {
		t.Errorf("ORP -50 mV = %v, %v", v, err)
	}
	for _, q := range []Quantity{Switch, "unknown"} {
		if v, err := ParseLevel(q, "1"); err == nil {
			t.Errorf("ParseLevel(%s) = %v; want an error", q, v)
		}
		if v, err := ParseLevelPerDay(q, "1/day"); err == nil {
			t.Errorf("ParseLevelPerDay(%s) = %v; want an error", q, v)
		}
	}
	if v, err := ParseLevelPerDay(PH, "0.1/day"); err != nil || v != 0.1 {
		t.Errorf("pH 0.1/day = %v, %v", v, err)
	}
}

func TestParseSplit(t *testing.T) {
	for _, c := range []struct {
		text, unit string
		value      float64
	}{
		{"8.3 dKH", "dKH", 8.3}, {"8.3dKH", "dKH", 8.3}, {"  5   mg/L  ", "mg/L", 5}, {"7", "", 7}, {"5 each", "each", 5},
		{"5e", "e", 5}, {"5e3x", "x", 5000}, {"-2 in", "in", -2},
	} {
		value, unit, err := ParseSplit(c.text)
		if err != nil || value != c.value || unit != c.unit {
			t.Errorf("ParseSplit(%q) = %v, %q, %v; want %v, %q", c.text, value, unit, err, c.value, c.unit)
		}
	}
	if _, _, err := ParseSplit("dKH 8.3"); err == nil {
		t.Error("a unit before its number was accepted")
	}
}

func TestHostileTextIsClipped(t *testing.T) {
	long := "5 " + strings.Repeat("ß", 5000)
	for _, p := range parsers() {
		if _, err := p.parse(long); err == nil || len(err.Error()) > 600 {
			t.Errorf("%s: error %v; want a short one", p.name, err)
		}
	}
	if _, err := ParseDuration(long); err == nil || len(err.Error()) > 600 {
		t.Errorf("duration: error %v; want a short one", err)
	}
}

func TestParseDuration(t *testing.T) {
	for text, want := range map[string]time.Duration{
		"90s": 90 * time.Second, "2h30m": 150 * time.Minute, "4d": 96 * time.Hour, "1.5 h": 90 * time.Minute, "10m": 10 * time.Minute,
		"10 min": 10 * time.Minute, "2 h 30 min": 150 * time.Minute, "250ms": 250 * time.Millisecond, "1w": 168 * time.Hour,
		"1w2d": 216 * time.Hour, "0s": 0, "500 h": 500 * time.Hour, "1e2 s": 100 * time.Second, "0.1 s": 100 * time.Millisecond,
		"2 days": 48 * time.Hour, "1 hour": time.Hour, "36500d": 36500 * 24 * time.Hour, "1m30.5s": 90*time.Second + 500*time.Millisecond,
	} {
		if got, err := ParseDuration(text); err != nil || got != want {
			t.Errorf("ParseDuration(%q) = %v, %v; want %v", text, got, err, want)
		}
	}
}

func TestParseDurationRefuses(t *testing.T) {
	const allowed = " (allowed: w, d, h, min, s, ms)"
	for text, want := range map[string]string{
		"":        "the value is empty; write a number with its unit",
		"90":      `"90" has no unit` + allowed + "; write the unit behind the number, as in 90s",
		"2h30":    `"2h30" has no unit` + allowed + "; write the unit behind the number, as in 2h30s",
		"30m2h":   `"30m2h" is no duration` + allowed + "; name each unit once and larger ones first, as in 2h30m",
		"5m5m":    `"5m5m" is no duration` + allowed + "; name each unit once and larger ones first, as in 2h30m",
		"2 M":     `"2 M" is no duration` + allowed + "; M may be metres, minutes or months: write m, min or d",
		"3 month": `"3 month" is no duration` + allowed + "; months and years differ in length: write days",
		"5 L":     `"5 L" is no duration` + allowed + "; L is a unit of volume",
		"5 Ms":    `"5 Ms" is no duration` + allowed + "; a capital M reads as mega: write ms",
		"-5s":     `"-5s" is below zero (allowed: 0 s or more)`,
		"5h-3m":   `"5h-3m" is below zero (allowed: 0 s or more)`,
		"2,5h":    `"2,5h" does not begin with a usable number; use a point as decimal mark and no thousands separator`,
		"36501d":  `"36501d" is longer than anything here can last (allowed: 36500 d or less)`,
		"1e300w":  `"1e300w" is longer than anything here can last (allowed: 36500 d or less)`,
		"inf":     `"inf" does not begin with a usable number; write a number with its unit`,
		"soon":    `"soon" does not begin with a usable number; write a number with its unit`,
	} {
		got, err := ParseDuration(text)
		if err == nil || err.Error() != want || got != 0 {
			t.Errorf("ParseDuration(%q) = %v, %v;\n want %s", text, got, err, want)
		}
	}
}
