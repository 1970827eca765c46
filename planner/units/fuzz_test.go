package units

import (
	"errors"
	"math"
	"testing"
	"time"
)

// Accepted values are finite, refused ones come with nothing but an *Error.
func FuzzParsers(f *testing.F) {
	for _, s := range []string{
		"8.3 dKH", "340 L", "1e308 L", "-20 cm", "nan", "0x1p3 mL", "8,3", "5 gal", "1e999", "−1 m", "0.7 dKH/day", "77 °F", ".e5 g", "+ 5", "5\x00mL",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, p := range parsers() {
			checkParsed(t, p.name, s, p.parse)
		}
		for _, q := range Quantities() {
			checkParsed(t, string(q), s, func(s string) (float64, error) { return ParseLevel(q, s) })
			checkParsed(t, string(q)+" per day", s, func(s string) (float64, error) { return ParseLevelPerDay(q, s) })
		}
	})
}

func checkParsed(t *testing.T, name, text string, parse func(string) (float64, error)) {
	t.Helper()
	v, err := parse(text)
	var e *Error
	switch {
	case err != nil && (v != 0 || !errors.As(err, &e) || e.Reason == "" || e.Error() == ""):
		t.Errorf("%s %q = %v, %v; want nothing and an Error with a reason", name, text, v, err)
	case math.IsNaN(v) || math.IsInf(v, 0):
		t.Errorf("%s %q = %v", name, text, v)
	}
	if w, again := parse(text); w != v || (again == nil) != (err == nil) {
		t.Errorf("%s %q read twice: %v, %v", name, text, v, w)
	}
}

func FuzzParseDuration(f *testing.F) {
	for _, s := range []string{"90s", "2h30m", "4d", "1e300w", "2h30", "-5s", "5m5m", "1.5 h", "s", "5é5s", "1d 2h 3min 4s 5ms"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := ParseDuration(s)
		if err != nil {
			if d != 0 {
				t.Errorf("ParseDuration(%q) = %v with error %v", s, d, err)
			}
			return
		}
		if d < 0 || d > durationMost {
			t.Fatalf("ParseDuration(%q) = %v", s, d)
		}
		// Written out by the standard library, it reads the same; below 1 s that may use units not accepted here.
		if whole := d.Truncate(time.Second); whole > 0 {
			if again, err := ParseDuration(whole.String()); err != nil || again != whole {
				t.Errorf("ParseDuration(%q) = %v, %v", whole.String(), again, err)
			}
		}
	})
}

func FuzzCheckEntry(f *testing.F) {
	f.Add("alkalinity", 143.0, "dKH")
	f.Add("nitrate", 1.0, "NO3-N")
	f.Add("pH", math.NaN(), "")
	f.Fuzz(func(t *testing.T, q string, value float64, unit string) {
		v, verdict, hint := CheckEntry(Quantity(q), value, unit)
		if math.IsNaN(v) || math.IsInf(v, 0) || (hint == nil) != (verdict == Accepted) || verdict == Refused && v != 0 {
			t.Errorf("CheckEntry(%q, %v, %q) = %v, %v, %v", q, value, unit, v, verdict, hint)
		}
	})
}
