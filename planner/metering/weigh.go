package metering

import (
	"fmt"
	"math"
)

// Air and steel weights at room conditions, kg/L: weighing in air reads low by the buoyancy of the liquid. Method:
// ISO 8655-6:2002, ISO/TR 20461:2000, Z = 1/(rho - air) · (1 - air/8).
const (
	airDensity    = 0.0012
	weightDensity = 8.0
)

// VolumeOfMass converts grams read on a scale to mL of a liquid of the given density in kg/L (0.7..2).
func VolumeOfMass(grams, densityKgPerL float64) (ml float64, err error) {
	return volumeWeighed(grams, densityKgPerL, airDensity)
}

// volumeWeighed is VolumeOfMass in air of the given density, kg/L.
func volumeWeighed(grams, densityKgPerL, airKgPerL float64) (ml float64, err error) {
	if !(grams > 0 && grams <= 1e5) {
		return 0, fmt.Errorf("a mass of %g g is not above 0 and at most 100000 g", grams)
	}
	if !(densityKgPerL >= 0.7 && densityKgPerL <= 2) {
		return 0, fmt.Errorf("a density of %g kg/L is outside 0.7..2 kg/L", densityKgPerL)
	}
	return grams * (1 - airKgPerL/weightDensity) / (densityKgPerL - airKgPerL), nil
}

// Air is the air around the scale.
type Air struct {
	Celsius     float64 // 0..40
	HectoPascal float64 // 600..1100, at the place, not reduced to sea level
	Humidity    float64 // relative, 0..1; 0.5 serves indoors
}

// RoomAir is ordinary air at this temperature: 1013.25 hPa, half saturated.
func RoomAir(celsius float64) Air { return Air{celsius, 1013.25, 0.5} }

// Density gives the density of the air in kg/L by the approximation of OIML R 111-1:2004, E.3:
// (0.34848 p − 0.9 h·exp(0.061 t)) / (273.15 + t) kg/m³ with p in hPa and h as a fraction. It is good to 2e-4 of
// itself from 900 to 1100 hPa and 10 to 30 °C; further away, a thousandth of it still moves Z by 1e-6 only.
func (a Air) Density() (kgPerL float64, err error) {
	switch {
	case !(a.Celsius >= 0 && a.Celsius <= 40):
		return 0, fmt.Errorf("air of %g degC is outside 0..40 degC", a.Celsius)
	case !(a.HectoPascal >= 600 && a.HectoPascal <= 1100):
		return 0, fmt.Errorf("an air pressure of %g hPa is outside 600..1100 hPa", a.HectoPascal)
	case !(a.Humidity >= 0 && a.Humidity <= 1):
		return 0, fmt.Errorf("a relative humidity of %g is outside 0..1", a.Humidity)
	}
	return (0.34848*a.HectoPascal - 0.9*a.Humidity*math.Exp(0.061*a.Celsius)) / (273.15 + a.Celsius) / 1000, nil
}

// WaterDensity is the density of pure, air-free water at 101325 Pa in kg/L, 0..40 °C: M. Tanaka, G. Girard, R. Davis, A.
// Peuto, N. Bignell 2001, Metrologia 38:301-309. Tap water and water from reverse osmosis are within 0.0003 of it.
func WaterDensity(celsius float64) (kgPerL float64, err error) {
	if !(celsius >= 0 && celsius <= 40) {
		return 0, fmt.Errorf("water of %g degC is outside 0..40 degC", celsius)
	}
	d := celsius - 3.983035
	return 0.999974950 * (1 - d*d*(celsius+301.797)/(522528.9*(celsius+69.34881))), nil
}

// ZFactor is how many µL one mg of water read on a scale is, by ISO 8655-6 and ISO/TR 20461. Water and air are
// taken to have the same temperature.
func ZFactor(a Air) (microlitresPerMilligram float64, err error) {
	water, err := WaterDensity(a.Celsius)
	if err != nil {
		return 0, err
	}
	air, err := a.Density()
	if err != nil {
		return 0, err
	}
	return volumeWeighed(1, water, air)
}

// WeighedTrial is a measured run on a scale: so many seconds, so many grams.
type WeighedTrial struct {
	Seconds float64
	Grams   float64
}

// TrialsOfWater converts weighed runs of plain water, which has the temperature of the air.
func TrialsOfWater(runs []WeighedTrial, a Air) ([]Trial, error) {
	density, err := WaterDensity(a.Celsius)
	if err != nil {
		return nil, err
	}
	return TrialsOfLiquid(runs, density, a)
}

// TrialsOfLiquid converts weighed runs of a solution whose density is known, in kg/L (0.7..2). A density that is
// 1 % wrong makes the rate 1 % wrong.
func TrialsOfLiquid(runs []WeighedTrial, densityKgPerL float64, a Air) ([]Trial, error) {
	air, err := a.Density()
	if err != nil {
		return nil, fmt.Errorf("calibration: %w", err)
	}
	list := make([]Trial, len(runs))
	for i, r := range runs {
		ml, err := volumeWeighed(r.Grams, densityKgPerL, air)
		if err != nil {
			return nil, fmt.Errorf("calibration: trial %d: %w", i+1, err)
		}
		list[i] = Trial{r.Seconds, ml}
	}
	return list, nil
}
