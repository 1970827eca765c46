package units

import (
	"testing"
	"time"
)

func TestQuantities(t *testing.T) {
	want := map[Quantity]string{
		Alkalinity: "dKH", Calcium: "mg/L", Magnesium: "mg/L", Potassium: "mg/L", Strontium: "mg/L", Nitrate: "mg/L",
		Phosphate: "mg/L", Iodide: "mg/L", Iodine: "mg/L", Boron: "mg/L", Fluoride: "mg/L", Bromide: "mg/L", Iron: "mg/L",
		Salinity: "psu", PH: "pH", Temperature: "degC", ORP: "mV", Switch: "",
	}
	if len(Quantities()) != len(want) {
		t.Errorf("%d quantities; want %d", len(Quantities()), len(want))
	}
	for _, q := range Quantities() {
		unit, ok := want[q]
		if !ok || q.Unit() != unit || !q.Known() {
			t.Errorf("%s: unit %q, known %v; want %q, true", q, q.Unit(), q.Known(), unit)
		}
	}
	for _, q := range []Quantity{"", "Calcium", "ph", "silver"} {
		if q.Known() || q.Unit() != "" {
			t.Errorf("%q is known with unit %q", q, q.Unit())
		}
	}
}

// A caller that changes its copy must not change ours.
func TestQuantitiesAreACopy(t *testing.T) {
	Quantities()[0] = "changed"
	if Quantities()[0] != Alkalinity {
		t.Error("Quantities hands out its own memory")
	}
}

func TestMaxChangePerDay(t *testing.T) {
	want := map[Quantity]float64{
		Alkalinity: 1.0, Calcium: 25, Magnesium: 100, Nitrate: 2, Phosphate: 0.02, Potassium: 10, Strontium: 0.5,
		Boron: 0.3, Fluoride: 0.1, Iodide: 0.01, Iodine: 0.01,
	}
	for _, q := range append(Quantities(), "unknown") {
		got, ok := MaxChangePerDay(q)
		if w, known := want[q]; ok != known || got != w {
			t.Errorf("MaxChangePerDay(%s) = %v, %v; want %v, %v", q, got, ok, w, known)
		}
	}
}

func TestDefaultBand(t *testing.T) {
	want := map[Quantity]float64{Alkalinity: 0.5, Calcium: 20, Magnesium: 50}
	for _, q := range Quantities() {
		got, ok := DefaultBand(q)
		if w, known := want[q]; ok != known || got != w {
			t.Errorf("DefaultBand(%s) = %v, %v; want %v, %v", q, got, ok, w, known)
		}
	}
}

func TestStaleLimits(t *testing.T) {
	const d = 24 * time.Hour
	want := map[Quantity][2]time.Duration{Alkalinity: {10 * d, 21 * d}, Calcium: {21 * d, 42 * d}, Magnesium: {42 * d, 60 * d}}
	for _, q := range Quantities() {
		def, most, ok := StaleLimits(q)
		if w, known := want[q]; ok != known || def != w[0] || most != w[1] {
			t.Errorf("StaleLimits(%s) = %v, %v, %v; want %v, %v", q, def, most, ok, w, known)
		}
	}
}

func TestOutlierDistance(t *testing.T) {
	for q, want := range map[Quantity]float64{Alkalinity: 1.0, Calcium: 40, Magnesium: 80} {
		if got, ok := OutlierDistance(q); !ok || got != want {
			t.Errorf("OutlierDistance(%s) = %v, %v; want %v", q, got, ok, want)
		}
	}
	for _, q := range Quantities() {
		got, ok := OutlierDistance(q)
		if q == Switch || q == ORP {
			if ok {
				t.Errorf("OutlierDistance(%s) = %v; want none", q, got)
			}
			continue
		}
		// A distance below what may be changed in a day would hold back every honest test.
		if change, _ := MaxChangePerDay(q); !ok || got <= 0 || got < change && q != Magnesium {
			t.Errorf("OutlierDistance(%s) = %v, %v; a day's change is %v", q, got, ok, change)
		}
	}
}

// Every unit that each quantity accepts, as it is shown to people.
func TestUnitsOfEveryQuantity(t *testing.T) {
	const ions = "mg/L, ug/L, mmol/L, umol/L"
	want := map[Quantity]string{
		Alkalinity:  "dKH, meq/L, mmol/L, ppm CaCO3, mg/L CaCO3",
		Nitrate:     ions + ", mg/L N, ug/L N",
		Phosphate:   ions + ", mg/L P, ug/L P",
		Salinity:    "psu, ppt",
		PH:          "pH",
		Temperature: "degC, degF",
		ORP:         "mV",
		Switch:      "",
	}
	for _, q := range Quantities() {
		w, ok := want[q]
		if !ok {
			w = ions
		}
		if got := names(unitsOf(q)); got != w {
			t.Errorf("%s accepts %s; want %s", q, got, w)
		}
	}
}

func TestIonMass(t *testing.T) {
	for _, q := range Quantities() {
		mass, ok := IonMass(q)
		switch q {
		case Alkalinity, Salinity, PH, Temperature, ORP, Switch:
			if ok || mass != 0 {
				t.Errorf("IonMass(%s) = %v; want none", q, mass)
			}
		default:
			// The lightest is boron with 10.81, the heaviest iodine with 126.9 g/mol.
			if !ok || !(mass > 10 && mass < 127) {
				t.Errorf("IonMass(%s) = %v, %v", q, mass, ok)
			}
		}
	}
}

// Every quantity that may be followed by default has all of its bounds, and its band is not narrower than what
// may change in half a day.
func TestFollowedQuantitiesHaveAllBounds(t *testing.T) {
	for _, q := range []Quantity{Alkalinity, Calcium, Magnesium} {
		change, hasChange := MaxChangePerDay(q)
		band, hasBand := DefaultBand(q)
		def, most, hasStale := StaleLimits(q)
		outlier, hasOutlier := OutlierDistance(q)
		if !hasChange || !hasBand || !hasStale || !hasOutlier {
			t.Errorf("%s lacks a bound: %v %v %v %v", q, hasChange, hasBand, hasStale, hasOutlier)
		}
		if band < change/2 || outlier < band || def >= most {
			t.Errorf("%s: change %v, band %v, outlier %v, stale %v..%v", q, change, band, outlier, def, most)
		}
	}
}
