package metering

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"aliquot/safety"
)

func TestLiftVerdict(t *testing.T) {
	for _, c := range []struct {
		lift float64
		want Lift
	}{
		{-0.5, LiftOK}, {0, LiftOK}, {1.5, LiftOK}, {1.501, LiftWarned}, {1.8, LiftWarned}, {1.801, LiftRefused},
		{math.NaN(), LiftRefused}, {math.Inf(1), LiftRefused},
	} {
		if got := LiftVerdict(c.lift); got != c.want {
			t.Errorf("LiftVerdict(%v) = %v; want %v", c.lift, got, c.want)
		}
	}
	if s := LiftOK.String() + LiftWarned.String() + LiftRefused.String() + Lift(9).String(); s != "okwarnrefuserefuse" {
		t.Errorf("names are %s", s)
	}
	if Lift(0) != LiftRefused {
		t.Error("the zero verdict must refuse")
	}
}

func TestLineVolumeML(t *testing.T) {
	for _, c := range []struct{ bore, length, want float64 }{
		{3, 1.5, 10.6}, // common practice: 3 mm × 1.5 m holds 10.6 mL
		{2, 1.2, 3.77}, {3, 1.6, 11.31}, {0, 1, 0}, {3, 0, 0}, {-3, 1, 0}, {3, -1, 0},
		{math.NaN(), 1, 0}, {3, math.NaN(), 0}, {math.Inf(1), 1, 0}, {1e200, 1, 0},
	} {
		if got := LineVolumeML(c.bore, c.length); math.Abs(got-c.want) > 0.005 {
			t.Errorf("LineVolumeML(%v, %v) = %v; want %v", c.bore, c.length, got, c.want)
		}
	}
}

func TestPrimeVolume(t *testing.T) {
	got, err := PrimeVolume(3, 1.5)
	if want := safety.Microlitres(17905); err != nil || got != want { // 1.5 × 10.603 mL + 2 mL, rounded up
		t.Errorf("PrimeVolume(3, 1.5) = %v, %v; want %v", got, err, want)
	}
	for _, c := range [][2]float64{{0, 1}, {3, 0}, {math.NaN(), 1}, {-1, 1}, {1e200, 1}, {1e6, 1e6}} {
		if got, err := PrimeVolume(c[0], c[1]); err == nil || got != 0 {
			t.Errorf("PrimeVolume(%v, %v) = %v; want an error", c[0], c[1], got)
		}
	}
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func readRefs(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "refs", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var list []map[string]string
	for _, row := range rows[1:] {
		m := make(map[string]string)
		for i, h := range rows[0] {
			m[h] = row[i]
		}
		if m["source"] == "" {
			t.Fatalf("%s: row without source: %v", name, row)
		}
		list = append(list, m)
	}
	return list
}

// ordinaryAir is the density of room air, kg/L.
const ordinaryAir = 0.0012

// Weighing water gives the Z correction of ISO 8655-6 at ordinary pressure; its air is a little lighter or
// heavier than ours at 960 and 1067 hPa.
func TestVolumeWeighedAgainstZ(t *testing.T) {
	density := map[float64]float64{}
	for _, row := range readRefs(t, "water_density.csv") {
		density[number(t, row["temp_its90_c"])] = number(t, row["density_tanaka_formula_kg_m3"])
	}
	checked := 0
	for _, row := range readRefs(t, "z_factor.csv") {
		celsius := number(t, row["temp_c"])
		rho, ok := density[celsius]
		if !ok || row["pressure_hpa"] == "800" {
			continue
		}
		tolerance := 6e-5 // the printed table's
		if row["pressure_hpa"] != "1013" {
			tolerance = 1.5e-4 // and up to 9e-5 for air that is lighter or heavier than ours
		}
		want := number(t, row["z_ul_per_mg"])
		got, err := volumeWeighed(1000, rho/1000, ordinaryAir)
		if err != nil || math.Abs(got/1000-want) > tolerance {
			t.Errorf("1000 g at %v °C = %v mL, %v; want %v (%s)", celsius, got, err, 1000*want, row["source"])
		}
		checked++
	}
	if checked < 15 {
		t.Errorf("only %d rows compared", checked)
	}
}

func TestVolumeWeighedRefuses(t *testing.T) {
	for _, c := range [][2]float64{
		{0, 1}, {-1, 1}, {math.NaN(), 1}, {100_001, 1}, {1, 0.69}, {1, 2.01}, {1, math.NaN()}, {math.Inf(1), 1},
	} {
		if got, err := volumeWeighed(c[0], c[1], ordinaryAir); err == nil || got != 0 {
			t.Errorf("volumeWeighed(%v, %v) = %v; want an error", c[0], c[1], got)
		}
	}
	for _, c := range [][2]float64{{1e5, 1}, {1, 0.7}, {1, 2}} {
		if got, err := volumeWeighed(c[0], c[1], ordinaryAir); err != nil || !(got > 0) {
			t.Errorf("volumeWeighed(%v, %v) = %v, %v", c[0], c[1], got, err)
		}
	}
}
