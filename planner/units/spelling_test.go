package units

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestFold(t *testing.T) {
	for unit, want := range map[string]string{
		"":                 "",
		"  ":               "",
		"dKH":              "dkh",
		"°dKH":             "degdkh",
		"° C":              "degc",
		"℃":                "degc",
		"℉":                "degf",
		"deg F":            "degf",
		"µL":               "ul", // micro sign
		"μL":               "ul", // Greek mu
		"Microlitres":      "ul",
		"millilitre":       "ml",
		"Liters":           "l",
		"mg / L":           "mg/l",
		"mg /L":            "mg/l",
		"mg per litre":     "mg/l",
		"ppm   CaCO₃":      "ppm caco3",
		"mg/L PO₄":         "mg/l po4",
		"kg/m³":            "kg/m3",
		"US\u00a0Gal":      "us gal",
		"mL per day":       "ml/day",
		"mg per L per day": "mg/l/day",
	} {
		if got := fold(unit); got != want {
			t.Errorf("fold(%q) = %q; want %q", unit, got, want)
		}
	}
}

// Folding twice changes nothing, so that a folded text can be looked up again.
func TestFoldIsStable(t *testing.T) {
	pieces := []string{"m", "L", "µ", "/", " ", "per", "deg", "°", "C", "litres", "₃", "gal", "US", "\u00a0", "g"}
	rapid.Check(t, func(t *rapid.T) {
		unit := strings.Join(rapid.SliceOfN(rapid.SampledFrom(pieces), 0, 4).Draw(t, "pieces"), "")
		once := fold(unit)
		if strings.ContainsAny(once, "µ°₃\u00a0") || strings.ToLower(once) != once {
			t.Fatalf("fold(%q) = %q", unit, once)
		}
	})
}

func TestAmbiguousCase(t *testing.T) {
	for unit, want := range map[string]bool{
		"ML": true, "ML/min": true, "ML /day": true, "M": true, "MS": true, "Ms": true,
		"mL": false, "ml": false, "Ml": false, "m": false, "ms": false, "MEQ/L": false, "MM": false, "": false, "MG/L": false,
	} {
		hint, got := ambiguousCase(unit)
		if got != want || got != (hint != "") {
			t.Errorf("ambiguousCase(%q) = %q, %v; want %v", unit, hint, got, want)
		}
	}
}

func TestClip(t *testing.T) {
	exact := strings.Repeat("ä", 60)
	if got := clip(exact); got != exact {
		t.Errorf("60 characters were cut to %q", got)
	}
	if got := clip(exact + "x"); got != exact+"…" {
		t.Errorf("61 characters became %q", got)
	}
}

func TestErrorSentence(t *testing.T) {
	for want, e := range map[string]Error{
		"found":                     {Found: "found"},
		"found (allowed: a)":        {Found: "found", Allowed: "a"},
		"found; do this":            {Found: "found", Hint: "do this"},
		"found (allowed: a); do it": {Found: "found", Allowed: "a", Hint: "do it"},
	} {
		if got := e.Error(); got != want {
			t.Errorf("Error() = %q; want %q", got, want)
		}
	}
}

func TestKindHint(t *testing.T) {
	for folded, want := range map[string]string{
		"kg": "kg is a unit of mass", "ml": "mL is a unit of volume", "l/d": "L/day is a unit of volume per day",
		"inch": "in is a unit of length", "weeks": "w is a unit of time", "dkh/day": "dKH is a unit of alkalinity",
		"psu": "psu is a unit of salinity", "ppb p": "ug/L P is a unit of phosphate", "no3-n": "mg/L N is a unit of nitrate",
		"mg/l sr": "mg/L is a unit of dissolved substances", "mv": "mV is a unit of ORP", "": "", "/day": "", "furlong": "",
	} {
		if got := kindHint(folded); got != want {
			t.Errorf("kindHint(%q) = %q; want %q", folded, got, want)
		}
	}
}
