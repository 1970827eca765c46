package units

import (
	"regexp"
	"slices"
	"strings"
	"testing"
)

func TestUCUMCodes(t *testing.T) {
	for unit, want := range map[string]string{
		"mmol/L": "mmol/L", "meq/L": "meq/L", "mg/L": "mg/L", "ug/L": "ug/L", "degC": "Cel", "degF": "[degF]", "mS/cm": "mS/cm",
		"US gal": "[gal_us]", "imp gal": "[gal_br]", "mL/day": "mL/d", "dKH": "", "psu": "", "ppm CaCO3": "", "SG 25/25": "", "": "",
	} {
		if got, ok := UCUM(unit); got != want || ok != (want != "") {
			t.Errorf("UCUM(%q) = %q, %v; want %q", unit, got, ok, want)
		}
	}
}

// Every unit that is printed has a code or is one of the few without.
func TestEveryUnitHasACodeOrNone(t *testing.T) {
	without := []string{"dKH", "ppm CaCO3", "psu"}
	var names []string
	for _, q := range Quantities() {
		names = append(names, UnitNames(q)...)
	}
	for _, m := range []measure{volumes, volumesPerDay, rates, lengths, masses, densities, saltConcentrations} {
		for _, d := range m.units {
			names = append(names, d.name)
		}
	}
	for _, name := range names {
		if _, ok := UCUM(name); ok == slices.Contains(without, name) {
			t.Errorf("%q has a code: %v", name, ok)
		}
	}
}

// Codes are made of UCUM's atoms and prefixes alone (The Unified Code for Units of Measure 2.1, tables 1 to 14): a prefix
// stands before metric atoms only, a number behind an atom is its exponent, and braces hold a remark.
func TestUCUMGrammar(t *testing.T) {
	metric := regexp.MustCompile(`^(|u|m|c|k)(mol|eq|L|g|m|S|V|s)([23]?)$`)
	plain := []string{"Cel", "[degF]", "[pH]", "[ppth]", "[gal_us]", "[gal_br]", "[in_i]", "min", "h", "d"}
	remark := regexp.MustCompile(`[{][!-z|~]*[}]`)
	for unit, code := range ucum {
		for part := range strings.SplitSeq(remark.ReplaceAllString(code, ""), "/") {
			if !metric.MatchString(part) && !slices.Contains(plain, part) {
				t.Errorf("%s: %q of %q is no atom of UCUM", unit, part, code)
			}
		}
	}
}
