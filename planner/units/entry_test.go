package units

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestCheckEntryLimits(t *testing.T) {
	for _, c := range []struct {
		q     Quantity
		value float64
		unit  string
		want  EntryVerdict
	}{
		{Alkalinity, 0.99, "dKH", Refused}, {Alkalinity, 1, "dKH", NeedsConfirm}, {Alkalinity, 3.99, "dKH", NeedsConfirm},
		{Alkalinity, 4, "dKH", Accepted}, {Alkalinity, 16, "dKH", Accepted}, {Alkalinity, 16.01, "dKH", NeedsConfirm},
		{Alkalinity, 25, "dKH", NeedsConfirm}, {Alkalinity, 25.01, "dKH", Refused},
		{Alkalinity, 71, "ppm CaCO3", NeedsConfirm}, {Alkalinity, 71.5, "ppm CaCO3", Accepted}, {Alkalinity, 285, "ppm CaCO3", Accepted},
		{Alkalinity, 1.43, "meq/L", Accepted}, {Alkalinity, 5.7, "meq/L", Accepted}, {Alkalinity, 1.42, "meq/L", NeedsConfirm}, {Alkalinity, 5.71, "meq/L", NeedsConfirm},
		{Calcium, 249.9, "mg/L", Refused}, {Calcium, 250, "mg/L", Accepted}, {Calcium, 650, "mg/L", Accepted}, {Calcium, 650.1, "mg/L", Refused},
		{Magnesium, 799, "mg/L", Refused}, {Magnesium, 800, "mg/L", Accepted}, {Magnesium, 1800, "mg/L", Accepted}, {Magnesium, 1801, "mg/L", Refused},
		{Nitrate, -0.1, "mg/L", Refused}, {Nitrate, 0, "mg/L", Accepted}, {Nitrate, 200, "mg/L", Accepted}, {Nitrate, 200.1, "mg/L", Refused},
		{Phosphate, 0, "mg/L", Accepted}, {Phosphate, 5, "mg/L", Accepted}, {Phosphate, 5.01, "mg/L", Refused},
		{Potassium, 199, "mg/L", Refused}, {Potassium, 200, "mg/L", Accepted}, {Potassium, 600, "mg/L", Accepted}, {Potassium, 601, "mg/L", Refused},
		{Strontium, 30, "mg/L", Accepted}, {Strontium, 30.1, "mg/L", Refused},
		{PH, 6.99, "", Refused}, {PH, 7.0, "", Accepted}, {PH, 9.2, "pH", Accepted}, {PH, 9.21, "pH", Refused},
		{Salinity, 4.9, "psu", Refused}, {Salinity, 5, "psu", Accepted}, {Salinity, 45, "psu", Accepted}, {Salinity, 45.1, "psu", Refused},
		{Temperature, 9.9, "degC", Refused}, {Temperature, 10, "degC", Accepted}, {Temperature, 35, "degC", Accepted}, {Temperature, 35.1, "degC", Refused},
		{Temperature, 77, "degF", Accepted},
		{Switch, 1, "", Refused}, {"unknown", 1, "mg/L", Refused},
		{Alkalinity, math.NaN(), "dKH", Refused}, {Alkalinity, math.Inf(1), "dKH", Refused}, {Alkalinity, 8, "", Refused}, {Alkalinity, 8, "mg/L", Refused},
	} {
		v, got, hint := CheckEntry(c.q, c.value, c.unit)
		if got != c.want {
			t.Errorf("CheckEntry(%s, %v, %q) = %v (%v); want %v", c.q, c.value, c.unit, got, hint, c.want)
		}
		if (hint == nil) != (got == Accepted) {
			t.Errorf("CheckEntry(%s, %v, %q) = %v with hint %v", c.q, c.value, c.unit, got, hint)
		}
		if got == Refused && v != 0 {
			t.Errorf("CheckEntry(%s, %v, %q) refused but gave %v", c.q, c.value, c.unit, v)
		}
	}
}

func TestCheckEntryHints(t *testing.T) {
	for _, c := range []struct {
		q     Quantity
		value float64
		unit  string
		want  string
	}{
		{Alkalinity, 143, "dKH", "143 dKH is no seawater alkalinity; 143 ppm CaCO3 would be 8.0 dKH: enter it with that unit"},
		{Alkalinity, 8, "ppm CaCO3", "8 ppm CaCO3 is no seawater alkalinity; 8 dKH would be 8.0 dKH: enter it with that unit"},
		{Alkalinity, 2.9, "mg/L CaCO3", "2.9 mg/L CaCO3 is no seawater alkalinity; 2.9 meq/L would be 8.1 dKH: enter it with that unit"},
		{Alkalinity, 2.9, "dKH", "2.9 dKH is an unusual alkalinity (allowed: 4..16 dKH); 2.9 meq/L would be 8.1 dKH: enter it with that unit, or confirm it as it is"},
		{Alkalinity, 8.3, "meq/L", "8.3 meq/L (23.3 dKH) is an unusual alkalinity (allowed: 4..16 dKH); 8.3 dKH would be 8.3 dKH: enter it with that unit, or confirm it as it is"},
		{Alkalinity, 20, "dKH", "20 dKH is an unusual alkalinity (allowed: 4..16 dKH); measure again, or confirm it"},
		{Alkalinity, 50, "dKH", "50 dKH is no seawater alkalinity (allowed: 1..25 dKH); check the number and its unit"},
		{Calcium, 10.5, "mg/L", "10.5 mg/L is no seawater calcium; 10.5 mmol/L would be 420.8 mg/L: enter it with that unit"},
		{Calcium, 4300, "mg/L", "4300 mg/L is no seawater calcium (allowed: 250..650 mg/L); check the number and its unit"},
		{Nitrate, 100, "mg/L N", "100 mg/L N is no seawater nitrate; 100 mg/L would be 100 mg/L or 100 ug/L would be 0.1 mg/L: enter it with that unit"},
		{Phosphate, 30, "mg/L", "30 mg/L is no seawater phosphate; 30 ug/L would be 0.03 mg/L or 30 ug/L P would be 0.09198 mg/L: enter it with that unit"},
		{Iodide, 60, "mg/L", "60 mg/L is no seawater iodide; 60 ug/L would be 0.06 mg/L: enter it with that unit"},
		{Temperature, 77, "degC", "77 degC is no seawater temperature; 77 degF would be 25 degC: enter it with that unit"},
		{Salinity, 1.026, "psu", "1.026 psu is no seawater salinity (allowed: 5..45 psu); it looks like a specific gravity: enter it with its reference temperatures, such as SG 25/25"},
		{Salinity, 53, "psu", "53 psu is no seawater salinity (allowed: 5..45 psu); it looks like a conductivity: enter it in mS/cm"},
		{Salinity, 200, "psu", "200 psu is no seawater salinity (allowed: 5..45 psu); check the number and its unit"},
		{PH, 82, "", "82 is no seawater pH (allowed: 7..9.2 pH); check the number and its unit"},
	} {
		_, verdict, hint := CheckEntry(c.q, c.value, c.unit)
		if hint == nil || hint.Error() != c.want {
			t.Errorf("CheckEntry(%s, %v, %q) = %v, %v;\n want %s", c.q, c.value, c.unit, verdict, hint, c.want)
		}
	}
}

// Whatever is accepted is finite, inside the sure range, and was converted with the unit that was named.
func TestCheckEntryNeverGuesses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := rapid.SampledFrom(Quantities()).Draw(t, "quantity")
		unit := rapid.SampledFrom([]string{"dKH", "meq/L", "ppm CaCO3", "mg/L", "mg/L N", "ug/L P", "psu", "pH", "", "degF", "SG"}).Draw(t, "unit")
		value := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-10, 2000)).Draw(t, "value")
		v, verdict, hint := CheckEntry(q, value, unit)
		if verdict == Refused {
			var e *Error
			if v != 0 || !errors.As(hint, &e) || e.Reason == "" {
				t.Fatalf("refused with %v, %v", v, hint)
			}
			return
		}
		want, err := ToCanonical(q, value, unit)
		r, _ := rangeOf(q)
		if err != nil || v != want || !(v >= r.least && v <= r.most) {
			t.Fatalf("CheckEntry(%s, %v, %q) = %v, %v; conversion is %v, %v", q, value, unit, v, verdict, want, err)
		}
	})
}

func TestEveryLevelHasAnEntryRange(t *testing.T) {
	for _, q := range Quantities() {
		r, ok := rangeOf(q)
		if ok != (q != Switch) {
			t.Errorf("rangeOf(%s) = %v, %v", q, r, ok)
		}
		if ok && !(r.least <= r.sureLeast && r.sureLeast < r.sureMost && r.sureMost <= r.most) {
			t.Errorf("rangeOf(%s) = %v is out of order", q, r)
		}
	}
}

func TestVerdictNames(t *testing.T) {
	got := []string{Accepted.String(), NeedsConfirm.String(), Refused.String(), EntryVerdict(99).String()}
	if s := strings.Join(got, ","); s != "accepted,needs confirmation,refused,refused" {
		t.Errorf("names are %s", s)
	}
	if EntryVerdict(0) != Refused {
		t.Error("the zero verdict must refuse")
	}
}
