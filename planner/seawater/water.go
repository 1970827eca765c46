package seawater

import "math"

// Water is what the equilibria depend on.
type Water struct {
	Salinity    PSU
	Temperature Celsius
	// Phosphate and Silicate are totals, 0 to 500 µmol/kg. 0: none.
	Phosphate, Silicate MicromolPerKg
	// Calcium and Boron are totals where they were measured, 0 to 30000 and 0 to 2000 µmol/kg. 0: in the ratio
	// to salinity that seawater has (Riley & Tongudai 1967; Uppström 1974). Calcium moves only the saturations.
	Calcium, Boron MicromolPerKg
}

// Totals are the total concentrations in a water.
type Totals struct {
	Borate, Sulfate, Fluoride, Calcium, Phosphate, Silicate MicromolPerKg
}

// salinityPerChlorinity is S/Cl in 1/‰ (Wooster, Lee & Dietrich 1969, Limnol. Oceanogr. 14:437).
const salinityPerChlorinity = 1.80655

// Totals gives the totals of w: borate by Uppström 1974, Deep-Sea Res. 21:161 (0.000232 g B per g Cl, B 10.811);
// sulfate by Morris & Riley 1966, Deep-Sea Res. 13:699 (0.1400, SO4 96.062); fluoride by Riley 1965, Deep-Sea Res.
// 12:219 (6.7e-5, F 18.998); calcium by Riley & Tongudai 1967, Chem. Geol. 2:263 (0.02128, Ca 40.087 as CO2SYS has
// it; 40.078 would give 0.02 % more).
func (w Water) Totals() Totals {
	cl := float64(w.Salinity) / salinityPerChlorinity
	t := Totals{
		Borate:    MicromolPerKg(0.000232 / 10.811 * cl * 1e6),
		Sulfate:   MicromolPerKg(0.1400 / 96.062 * cl * 1e6),
		Fluoride:  MicromolPerKg(6.7e-5 / 18.998 * cl * 1e6),
		Calcium:   MicromolPerKg(0.02128 / 40.087 * cl * 1e6),
		Phosphate: w.Phosphate,
		Silicate:  w.Silicate,
	}
	if w.Boron > 0 {
		t.Borate = w.Boron
	}
	if w.Calcium > 0 {
		t.Calcium = w.Calcium
	}
	return t
}

func (w Water) checkTotals() error {
	const reason = "waters that the constants were made for"
	for _, c := range [...]struct {
		name  string
		value MicromolPerKg
		high  float64
	}{{"phosphate", w.Phosphate, 500}, {"silicate", w.Silicate, 500}, {"calcium", w.Calcium, 30000}, {"boron", w.Boron, 2000}} {
		if err := within(reason, c.name, "umol/kg", float64(c.value), 0, c.high); err != nil {
			return err
		}
	}
	return nil
}

// micromolPerDKH is µeq in 1 L for 1 dKH. One German degree is 10 mg/L CaO by definition (DIN 38409-6), CaO weighs
// 40.078 + 15.999 (CIAAW 2021) and neutralizes two equivalents.
const micromolPerDKH = 2 * 10 * 1000 / (40.078 + 15.999)

// AlkalinityFromDKH converts an alkalinity by volume to one by mass with the density of w. The sample is taken to
// have been measured out at w's temperature; 5 degrees change the result by 0.2 % at most.
func (w Water) AlkalinityFromDKH(dkh float64) (MicromolPerKg, error) {
	rho, err := DensityOf(w.Salinity, w.Temperature)
	if err != nil {
		return 0, err
	}
	return MicromolPerKg(dkh * micromolPerDKH * 1000 / float64(rho)), nil
}

// DKHFromAlkalinity is the inverse of AlkalinityFromDKH.
func (w Water) DKHFromAlkalinity(a MicromolPerKg) (float64, error) {
	rho, err := DensityOf(w.Salinity, w.Temperature)
	if err != nil {
		return 0, err
	}
	return float64(a) * float64(rho) / 1000 / micromolPerDKH, nil
}

// ionicStrength in mol per kg of water (DOE 1994 Handbook, ch. 5, eq. 7.2.4; the Guide has the same).
func ionicStrength(s float64) float64 { return 19.924 * s / (1000 - 1.005*s) }

// FugacityFactor is fCO2/pCO2 in air at one atmosphere: Weiss 1974, Mar. Chem. 2:203-215. The range
// of K0 applies.
func FugacityFactor(t Celsius) (float64, error) {
	if err := weiss.temperature(t); err != nil {
		return 0, err
	}
	return fugacityFactor(t.kelvin()), nil
}

func fugacityFactor(k float64) float64 {
	const (
		gas        = 83.14472 // cm³ bar/(mol K), the Guide's value
		atmosphere = 1.01325  // bar
	)
	b := -1636.75 + k*(12.0408+k*(-0.0327957+k*3.16528e-5)) // cm³/mol
	delta := 57.7 - 0.118*k
	return math.Exp((b + 2*delta) * atmosphere / (gas * k))
}
