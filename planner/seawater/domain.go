package seawater

import "fmt"

// RangeError says that an input lies outside what a formula was made for. Nothing is extrapolated.
type RangeError struct {
	Formula   string // "K1 and K2 of Lueker et al. 2000"
	Name      string // "salinity"
	Got       float64
	Low, High float64
	Unit      string
}

// Error reads as one clause without a full stop.
func (e *RangeError) Error() string {
	return fmt.Sprintf("%s %.6g%s is outside %.6g to %.6g%s, the range of %s", e.Name, e.Got, spaced(e.Unit), e.Low, e.High, spaced(e.Unit), e.Formula)
}

func spaced(unit string) string {
	if unit == "" {
		return ""
	}
	return " " + unit
}

// NoSolutionError says that inputs that are each in range cannot belong to the same water.
type NoSolutionError struct {
	Found string // what contradicts what, with units
	Hint  string // what to do
}

// Error reads as one sentence without a full stop.
func (e *NoSolutionError) Error() string { return e.Found + "; " + e.Hint }

// within refuses NaN, infinities and everything outside low to high.
func within(formula, name, unit string, got, low, high float64) error {
	if got >= low && got <= high {
		return nil
	}
	return &RangeError{Formula: formula, Name: name, Got: got, Low: low, High: high, Unit: unit}
}

// domain is where a formula holds.
type domain struct {
	formula           string
	lowPSU, highPSU   PSU
	lowTemp, highTemp Celsius
}

// Domains of the formulas. IPTS-68 limits are used as if they were ITS-90: they differ by 0.01 °C at most.
var (
	pss78      = domain{formula: "PSS-78 (UNESCO 1981, 1983)", lowPSU: 2, highPSU: 42, lowTemp: -2, highTemp: 35}
	eos80      = domain{formula: "EOS-80 at one atmosphere (Millero & Poisson 1981)", lowPSU: 0, highPSU: 42, lowTemp: -2, highTemp: 40}
	tanaka     = domain{formula: "the density of water of Tanaka et al. 2001", lowTemp: 0, highTemp: 40}
	weiss      = domain{formula: "K0 of Weiss 1974", lowPSU: 0, highPSU: 45, lowTemp: -1, highTemp: 45}
	lueker     = domain{formula: "K1 and K2 of Lueker et al. 2000", lowPSU: 19, highPSU: 43, lowTemp: 2, highTemp: 35}
	dicksonB   = domain{formula: "KB of Dickson 1990", lowPSU: 5, highPSU: 45, lowTemp: 0, highTemp: 45}
	dicksonS   = domain{formula: "KS of Dickson 1990", lowPSU: 5, highPSU: 45, lowTemp: 0, highTemp: 45}
	millero    = domain{formula: "KW, KP and KSi of Millero 1995", lowPSU: 0, highPSU: 45, lowTemp: 0, highTemp: 45}
	mucci      = domain{formula: "Ksp of Mucci 1983", lowPSU: 5, highPSU: 44, lowTemp: 5, highTemp: 40}
	perezFraga = domain{formula: "KF of Perez & Fraga 1987", lowPSU: 10, highPSU: 40, lowTemp: 9, highTemp: 33}
)

func (d *domain) temperature(t Celsius) error {
	return within(d.formula, "temperature", "degC", float64(t), float64(d.lowTemp), float64(d.highTemp))
}

func (d *domain) salinity(s PSU) error {
	return within(d.formula, "salinity", "psu", float64(s), float64(d.lowPSU), float64(d.highPSU))
}

func (d *domain) check(s PSU, t Celsius) error {
	if err := d.salinity(s); err != nil {
		return err
	}
	return d.temperature(t)
}
