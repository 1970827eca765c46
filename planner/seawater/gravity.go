package seawater

// SGScale is what a specific gravity refers to: sample/water as in "25/25" or "60F/60F". It is the density of
// the sample at Sample divided by the density of pure water at Water. The scales that are all called SG differ by up
// to 0.0035 for the same water, as much as 4.6 psu do.
type SGScale struct{ Sample, Water Celsius }

// fahrenheit60 is 60 °F.
const fahrenheit60 Celsius = 140.0 / 9

// SGScaleNamed gives a scale by its label: 60F/60F, 20/20, 25/25, 20/4, 25/4, 25/20, 25/60F or 26/20.
func SGScaleNamed(label string) (SGScale, bool) {
	switch label {
	case "60F/60F":
		return SGScale{Sample: fahrenheit60, Water: fahrenheit60}, true
	case "20/20":
		return SGScale{Sample: 20, Water: 20}, true
	case "25/25":
		return SGScale{Sample: 25, Water: 25}, true
	case "20/4":
		return SGScale{Sample: 20, Water: 4}, true
	case "25/4":
		return SGScale{Sample: 25, Water: 4}, true
	case "25/20":
		return SGScale{Sample: 25, Water: 20}, true
	case "25/60F":
		return SGScale{Sample: 25, Water: fahrenheit60}, true
	case "26/20":
		return SGScale{Sample: 26, Water: 20}, true
	}
	return SGScale{}, false
}

// SpecificGravity gives the specific gravity of water of salinity s on a scale, EOS-80 for both waters.
func SpecificGravity(s PSU, scale SGScale) (float64, error) {
	rho, err := DensityOf(s, scale.Sample)
	if err != nil {
		return 0, err
	}
	ref, err := DensityOf(0, scale.Water)
	if err != nil {
		return 0, err
	}
	return float64(rho / ref), nil
}

// SalinityFromSpecificGravity is the inverse of SpecificGravity: for a sample at the scale's own temperature, or
// an instrument that corrects to it.
func SalinityFromSpecificGravity(sg float64, scale SGScale) (PSU, error) {
	return Hydrometer{Scale: scale}.Salinity(sg, scale.Sample)
}

// ExpansionSodaLime is the usual cubic expansion of hydrometer glass, 1/K. From memory of ISO 387; a maker's own
// number goes first.
const ExpansionSodaLime = 25e-6

// Hydrometer is a floating hydrometer.
type Hydrometer struct {
	Scale SGScale
	// Expansion is the cubic expansion of the float, 1/K, 0 to 1e-3. 0 leaves it out, as the pure definition
	// of a density ratio does; ExpansionSodaLime moves a reading 5 degrees off by 0.17 psu.
	Expansion float64
}

// Salinity gives the salinity of a sample in which the hydrometer reads sg while the sample has temperature t.
// The sample's density at t is what it floats on; a float that is warmer than Scale.Sample is larger
// and reads high.
func (h Hydrometer) Salinity(sg float64, t Celsius) (PSU, error) {
	ref, err := DensityOf(0, h.Scale.Water)
	if err != nil {
		return 0, err
	}
	if err := eos80.temperature(h.Scale.Sample); err != nil {
		return 0, err
	}
	if err := within("glass and plastics", "cubic expansion", "1/K", h.Expansion, 0, 1e-3); err != nil {
		return 0, err
	}
	if err := within("seawater hydrometers", "specific gravity", "", sg, 0.98, 1.05); err != nil {
		return 0, err
	}
	return SalinityFromDensity(Density(sg*float64(ref)/(1+h.Expansion*float64(t-h.Scale.Sample))), t)
}
