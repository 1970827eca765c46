package tank

import (
	"math"
	"time"

	"aliquot/planner/seawater"
	"aliquot/planner/units"
)

// Where the equations of seawater hold, less a margin. A tank outside is given the pH of the edge: it is far beyond
// what anybody should read a pH from.
const (
	leastPSU, mostPSU         = 19.0, 40.0
	leastCelsius, mostCelsius = 9.0, 33.0
	mostCalcium               = 30000 // µmol/kg
	mostBoron                 = 2000  // µmol/kg
	milligramsPerMillimoleCa  = 40.078
	milligramsPerMillimoleB   = 10.81
)

// scarceCarbon is the inorganic carbon, µmol/kg, below which calcification and photosynthesis fade to nothing.
const scarceCarbon = 500

// carbonate is what the equations need of the carbonate system.
type carbonate struct {
	ph         float64 // total scale
	co2        float64 // µmol/kg
	perMicroat float64 // µmol/kg of CO2 at equilibrium with 1 µatm
	pco2       float64 // µatm
	aragonite  float64
}

// water is what the equilibria depend on.
func (t *Tank) water(s *state, age time.Duration) seawater.Water {
	perLitre := 1000 / t.density // µmol/kg for 1 mmol/m³
	return seawater.Water{
		Salinity:    seawater.PSU(clamp(s.levels[salinity], leastPSU, mostPSU)),
		Temperature: seawater.Celsius(clamp(t.temperature(s, age), leastCelsius, mostCelsius)),
		Calcium:     seawater.MicromolPerKg(clamp(s.levels[calcium]/milligramsPerMillimoleCa*1000*perLitre, 1, mostCalcium)),
		Boron:       seawater.MicromolPerKg(clamp(s.levels[boron]/milligramsPerMillimoleB*1000*perLitre, 1e-3, mostBoron)),
	}
}

// system prepares the equilibria. The water is inside of what they hold for, so that it cannot fail.
func system(w seawater.Water) seawater.System {
	s, err := seawater.NewSystem(w)
	if err != nil {
		return seawater.System{}
	}
	return s
}

// solve gives the carbonate system at an alkalinity in dKH and inorganic carbon in µmol/kg. What has no solution inside
// of pH 6.5 to 9.5 is given the nearer end.
func (t *Tank) solve(s *seawater.System, dkh, carbon float64) carbonate {
	a := seawater.MicromolPerKg(clamp(dkh*t.perDKH, float64(seawater.LowestAlkalinity), float64(seawater.HighestAlkalinity)))
	c := seawater.MicromolPerKg(clamp(carbon, float64(seawater.LowestCarbon), float64(seawater.HighestCarbon)))
	got, err := s.AlkalinityCarbon(a, c)
	if err != nil {
		end := seawater.HighestPH
		if c > a {
			end = seawater.LowestPH
		}
		if got, err = s.CarbonPH(c, end); err != nil {
			return carbonate{ph: float64(end)}
		}
	}
	return carbonate{ph: float64(got.PH), co2: float64(got.CO2), perMicroat: float64(got.CO2 / seawater.MicromolPerKg(got.PCO2)),
		pco2: float64(got.PCO2), aragonite: got.Aragonite}
}

// carbonateNow solves for a state.
func (t *Tank) carbonateNow(s *state, age time.Duration) carbonate {
	sys := system(t.water(s, age))
	return t.solve(&sys, s.levels[alkalinity], s.levels[carbon])
}

// ph is what an ideal probe calibrated in NBS buffers shows.
func (t *Tank) ph(s *state, age time.Duration) float64 {
	w := t.water(s, age)
	scales, err := w.PHScales()
	if err != nil {
		return math.NaN() // the water is inside of what the scales hold for
	}
	sys := system(w)
	return float64(scales.NBS(seawater.TotalPH(t.solve(&sys, s.levels[alkalinity], s.levels[carbon]).ph)))
}

// carbonAt gives the inorganic carbon, µmol/kg, of a water with an alkalinity in dKH and a pH on the NBS scale.
func (t *Tank) carbonAt(w seawater.Water, dkh, nbs float64) (float64, error) {
	scales, err := w.PHScales()
	if err != nil {
		return 0, err
	}
	s, err := seawater.NewSystem(w)
	if err != nil {
		return 0, err
	}
	total, _ := scales.FromNBS(seawater.NBSPH(nbs))
	c, err := s.AlkalinityPH(seawater.MicromolPerKg(dkh*t.perDKH), total)
	return float64(c.Carbon), err
}

// Carbonate is the true carbonate system of the tank at one instant.
type Carbonate struct {
	Carbon    float64 // dissolved inorganic carbon, µmol/kg
	PCO2      float64 // µatm
	Aragonite float64 // saturation
	TotalPH   float64
}

// Carbonate gives the true present carbonate system.
func (t *Tank) Carbonate() Carbonate {
	s := t.present()
	c := t.carbonateNow(s, t.age)
	return Carbonate{Carbon: s.levels[carbon], PCO2: c.pco2, Aragonite: c.aragonite, TotalPH: c.ph}
}

// pool is alkalinity that was dosed and has not appeared yet.
type pool struct {
	dkh    float64
	carbon float64 // mol for each eq that appears
	over   time.Duration
}

// constantsPerOver: what Late.Over names is three time constants, after which 95 % has appeared.
const constantsPerOver = 3

// appeared gives what of the pools has appeared after a part of a day: alkalinity in dKH and carbon in dKH of equivalents.
func appeared(late []pool, h float64) (dkh, carbon float64) {
	for _, p := range late {
		part := -p.dkh * math.Expm1(-constantsPerOver*h/days(p.over))
		dkh += part
		carbon += part * p.carbon
	}
	return dkh, carbon
}

// scaled gives new pools with each part times what factor says of it; what is negligible is let go.
func scaled(late []pool, factor func(pool) float64) []pool {
	const negligible = 1e-12 // dKH
	var out []pool
	for _, p := range late {
		if p.dkh *= factor(p); p.dkh > negligible {
			out = append(out, p)
		}
	}
	return out
}

// with gives new pools with one more part.
func with(late []pool, more pool) []pool {
	out := append([]pool(nil), late...)
	for i := range out {
		if out[i].over == more.over && out[i].carbon == more.carbon {
			out[i].dkh += more.dkh
			return out
		}
	}
	return append(out, more)
}

func clamp(v, least, most float64) float64 { return min(most, max(least, v)) }

// densityOf is that of the water at the start, in which alkalinity by volume and by mass are converted, kg/m³.
func densityOf(levels map[units.Quantity]float64) (float64, error) {
	s := clamp(given(levels, units.Salinity, ordinary(units.Salinity)), leastPSU, mostPSU)
	c := clamp(given(levels, units.Temperature, ordinary(units.Temperature)), leastCelsius, mostCelsius)
	rho, err := seawater.DensityOf(seawater.PSU(s), seawater.Celsius(c))
	return float64(rho), err
}
