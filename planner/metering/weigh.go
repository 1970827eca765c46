package metering

import "fmt"

// Air and steel weights at room conditions, kg/L: weighing in air reads low by the buoyancy of the liquid. Method:
// ISO 8655-6:2002, ISO/TR 20461:2000, Z = 1/(rho - air) · (1 - air/8).
const (
	airDensity    = 0.0012
	weightDensity = 8.0
)

// VolumeOfMass converts grams read on a scale to mL of a liquid of the given density in kg/L (0.7..2).
func VolumeOfMass(grams, densityKgPerL float64) (ml float64, err error) {
	if !(grams > 0 && grams <= 1e5) {
		return 0, fmt.Errorf("a mass of %g g is not above 0 and at most 100000 g", grams)
	}
	if !(densityKgPerL >= 0.7 && densityKgPerL <= 2) {
		return 0, fmt.Errorf("a density of %g kg/L is outside 0.7..2 kg/L", densityKgPerL)
	}
	return grams * (1 - airDensity/weightDensity) / (densityKgPerL - airDensity), nil
}
