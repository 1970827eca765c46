package units

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

type measureParser struct {
	m     measure
	parse func(string) (float64, error)
}

func measureParsers() []measureParser {
	return []measureParser{
		{volumes, ParseVolume}, {volumesPerDay, ParseVolumePerDay}, {rates, ParseRate}, {lengths, ParseLength},
		{masses, ParseMass}, {densities, ParseDensity}, {saltConcentrations, ParseSaltConcentration}, {percents, ParsePercent},
	}
}

// The size of every unit in the parser's base unit, from their definitions and apart from the tables.
func TestUnitSizes(t *testing.T) {
	want := map[string]map[string]float64{
		"volume":             {"mL": 1, "L": 1000, "uL": 0.001, "US gal": 231 * 2.54 * 2.54 * 2.54, "imp gal": 4546.09},
		"volume per day":     {"mL/day": 1, "L/day": 1000},
		"pump rate":          {"mL/min": 1, "mL/s": 60, "L/h": 1000.0 / 60, "mL/h": 1.0 / 60, "L/min": 1000},
		"length":             {"mm": 1, "cm": 10, "m": 1000, "in": 25.4},
		"mass":               {"g": 1, "kg": 1000, "mg": 0.001},
		"density":            {"kg/L": 1, "g/mL": 1, "kg/m3": 0.001},
		"salt concentration": {"g/L": 1, "g/mL": 1000, "mg/mL": 1},
		"share":              {"%": 1},
	}
	for _, p := range measureParsers() {
		if len(p.m.units) != len(want[p.m.name]) {
			t.Errorf("%s has %d units; want %d", p.m.name, len(p.m.units), len(want[p.m.name]))
		}
		for _, d := range p.m.units {
			got, err := p.parse("1 " + d.name)
			size, ok := want[p.m.name][d.name]
			if err != nil || !ok || !near(got, size, 1e-12) {
				t.Errorf("%s: 1 %s = %v, %v; want %v", p.m.name, d.name, got, err, size)
			}
		}
	}
}

// No parser takes a unit of another kind of measure, and each such refusal names the kind that it is.
func TestUnitsOfOtherKindsAreRefused(t *testing.T) {
	for _, p := range measureParsers() {
		for _, other := range measureParsers() {
			if other.m.name == p.m.name {
				continue
			}
			for _, d := range other.m.units {
				if d.name == "g/mL" {
					continue // the one unit of two kinds: density, and salt in a solution
				}
				got, err := p.parse("5 " + d.name)
				if err == nil {
					t.Errorf("%s took 5 %s as %v", p.m.name, d.name, got)
					continue
				}
				if want := d.name + " is a unit of " + other.m.name; !strings.HasSuffix(err.Error(), want) {
					t.Errorf("%s: %v; want it to end in %q", p.m.name, err, want)
				}
			}
		}
		for _, text := range []string{"5 dKH", "5 psu", "5 degC", "5 mV", "5 h", "5 week"} {
			if got, err := p.parse(text); err == nil {
				t.Errorf("%s took %s as %v", p.m.name, text, got)
			}
		}
	}
}

// Reading is linear and does not depend on case, spacing or the sign of a zero.
func TestMeasuresAreLinear(t *testing.T) {
	for _, p := range measureParsers() {
		for _, d := range p.m.units {
			rapid.Check(t, func(t *rapid.T) {
				v := rapid.Float64Range(0, 1e6).Draw(t, "value")
				text := strconv.FormatFloat(v, 'g', -1, 64)
				got, err := p.parse(text + " " + d.name)
				if err != nil || got != v*d.factor {
					t.Fatalf("%s %s = %v, %v; want %v", text, d.name, got, err, v*d.factor)
				}
				same := rapid.SampledFrom([]string{
					text + d.name, "  " + text + "\t" + d.name + " ", text + " " + strings.ToLower(d.name), "+" + text + " " + d.name,
				}).Draw(t, "spelling")
				if again, err := p.parse(same); err != nil || again != got {
					t.Fatalf("%q = %v, %v; %q gave %v", same, again, err, text+" "+d.name, got)
				}
				negative, err := p.parse("-" + text + " " + d.name)
				switch {
				case p.m.negative && (err != nil || negative != -got):
					t.Fatalf("-%s %s = %v, %v; want %v", text, d.name, negative, err, -got)
				case !p.m.negative && v > 0 && err == nil:
					t.Fatalf("-%s %s = %v; want an error", text, d.name, negative)
				}
			})
		}
	}
}

// Plain decimals read as the standard library reads them.
func TestParseNumberAgreesWithStandardLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64().Draw(t, "value")
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return
		}
		format := rapid.SampledFrom([]byte{'g', 'e', 'f', 'E'}).Draw(t, "format")
		text := strconv.FormatFloat(v, format, -1, 64)
		got, err := ParseNumber(text)
		if err != nil || got != v {
			t.Fatalf("ParseNumber(%q) = %v, %v; want %v", text, got, err, v)
		}
		for _, broken := range []string{strings.Replace(text, ".", ",", 1), text + ".1.1", text + "_0", text + " 1", "0x" + text, text + " mL"} {
			if broken == text {
				continue
			}
			if got, err := ParseNumber(broken); err == nil {
				t.Fatalf("ParseNumber(%q) = %v; want an error", broken, got)
			}
		}
	})
}

// A change per day is the difference of two levels a day apart, also where the unit has an offset.
func TestChangesAreDifferencesOfLevels(t *testing.T) {
	for _, q := range Quantities() {
		for _, d := range unitsOf(q) {
			rapid.Check(t, func(t *rapid.T) {
				from := rapid.Float64Range(0, 1000).Draw(t, "from")
				step := rapid.Float64Range(0, 100).Draw(t, "step")
				a, errA := ParseLevel(q, fmt.Sprintf("%v %s", from, d.name))
				b, errB := ParseLevel(q, fmt.Sprintf("%v %s", from+step, d.name))
				got, err := ParseLevelPerDay(q, fmt.Sprintf("%v %s/day", step, d.name))
				if errA != nil || errB != nil || err != nil {
					t.Fatal(errA, errB, err)
				}
				if math.Abs(got-(b-a)) > 1e-9*math.Max(1, b) {
					t.Fatalf("%v %s/day = %v; levels differ by %v", step, d.name, got, b-a)
				}
			})
		}
	}
}

func TestDurationsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		days := rapid.IntRange(0, 1000).Draw(t, "d")
		hours := rapid.IntRange(0, 100).Draw(t, "h")
		minutes := rapid.IntRange(0, 100).Draw(t, "m")
		seconds := rapid.IntRange(0, 1000).Draw(t, "s")
		want := time.Duration(days)*day + time.Duration(hours)*time.Hour + time.Duration(minutes)*time.Minute + time.Duration(seconds)*time.Second
		for _, layout := range []string{"%dd%dh%dm%ds", "%d d %d h %d min %d s", "%d days %d hours %d minutes %d seconds"} {
			text := fmt.Sprintf(layout, days, hours, minutes, seconds)
			if got, err := ParseDuration(text); err != nil || got != want {
				t.Fatalf("ParseDuration(%q) = %v, %v; want %v", text, got, err, want)
			}
		}
		reversed := fmt.Sprintf("%ds%dm", seconds, minutes)
		if got, err := ParseDuration(reversed); err == nil {
			t.Fatalf("ParseDuration(%q) = %v; want an error", reversed, got)
		}
	})
}
