package seawater

import "math"

// NBSUncertainty is how far a total pH from a probe calibrated in NBS buffers may be off at best, pH. The junction of
// such a probe gives another voltage in seawater than in a thin buffer, and no two probes the same one. Common
// practice: 0.05 for a clean, freshly calibrated probe, 0.1 and more for the rest.
const NBSUncertainty = 0.05

// PHScales converts between pH scales for one water.
type PHScales struct {
	toFree, toSeawater, toNBS float64 // added to a pH on the total scale
}

// PHScales prepares the conversions: the Guide for free, total and seawater scale. They need KF, so they
// hold from 10 to 40 psu and 9 to 33 °C. The NBS scale is reached from the seawater scale with the activity
// coefficient fH of Takahashi et al. 1982 (GEOSECS Pacific Expedition 3, ch. 3, p. 80), as CO2SYS does.
func (w Water) PHScales() (PHScales, error) {
	if err := perezFraga.check(w.Salinity, w.Temperature); err != nil {
		return PHScales{}, err
	}
	p, t := powersOf(w), w.Totals()
	bySulfate := float64(t.Sulfate) * micro / math.Exp(p.lnKS())
	freeKF := math.Exp(p.lnKF()) / (1 + bySulfate)
	byFluoride := float64(t.Fluoride) * micro / freeKF
	free := math.Log10(1 + bySulfate)
	sea := -math.Log10((1 + bySulfate + byFluoride) / (1 + bySulfate))
	return PHScales{toFree: free, toSeawater: sea, toNBS: sea - math.Log10(activity(p.t, p.s))}, nil
}

// activity is fH, the apparent activity coefficient of hydrogen ions on the seawater scale: 10^-pH(NBS) = fH·[H].
func activity(k, s float64) float64 {
	return 1.2948 - 0.002036*k + (0.0004607-0.000001475*k)*s*s
}

// Free converts from total to free scale.
func (c PHScales) Free(ph TotalPH) FreePH { return FreePH(float64(ph) + c.toFree) }

// FromFree converts from free to total scale.
func (c PHScales) FromFree(ph FreePH) TotalPH { return TotalPH(float64(ph) - c.toFree) }

// Seawater converts from total to seawater scale.
func (c PHScales) Seawater(ph TotalPH) SeawaterPH { return SeawaterPH(float64(ph) + c.toSeawater) }

// FromSeawater converts from seawater to total scale.
func (c PHScales) FromSeawater(ph SeawaterPH) TotalPH { return TotalPH(float64(ph) - c.toSeawater) }

// NBS gives what an ideal probe calibrated in NBS buffers would read.
func (c PHScales) NBS(ph TotalPH) NBSPH { return NBSPH(float64(ph) + c.toNBS) }

// FromNBS converts a probe's reading to the total scale. The second number is the least uncertainty of the result,
// pH: NBSUncertainty, whatever the probe's own repeatability.
func (c PHScales) FromNBS(ph NBSPH) (TotalPH, float64) {
	return TotalPH(float64(ph) - c.toNBS), NBSUncertainty
}
