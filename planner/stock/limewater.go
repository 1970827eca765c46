package stock

import (
	"fmt"
	"math"
)

// Limewater is a saturated solution of calcium hydroxide, drawn clear from above the sediment.
type Limewater struct {
	Celsius       float64
	GramsPerLitre float64 // Ca(OH)2
	MeqPerLitre   float64
	// Low and High bound MeqPerLitre by what handbooks say; MeqPerLitre is their middle.
	Low, High     float64
	CalciumPerL   float64 // mg/L
	StrengthDKH   float64 // of 1 mL in 1 L
	CalciumPerML  float64 // mg/L, of 1 mL in 1 L
	SourceOfTable string
}

// SaturatedLimewater gives the strength at a temperature from 15 to 30 °C. Lime dissolves less well in warm water. Two
// handbooks are 8 % apart (0.173 and 0.160 g at 20 °C): the middle is taken and both ends are given.
func SaturatedLimewater(celsius float64) (Limewater, error) {
	sol, err := SolubilityOf("calcium hydroxide", celsius)
	if err != nil {
		return Limewater{}, err
	}
	// So dilute a solution has the volume of its water: ions of lime even draw it together a little.
	high := sol.GramsPer100 * 10 * waterKgPerL
	low := high * (1 - sol.Spread)
	mass := molar("Ca(OH)2")
	w := Limewater{Celsius: celsius, GramsPerLitre: (low + high) / 2, Low: 2000 * low / mass, High: 2000 * high / mass, SourceOfTable: sol.Source}
	w.MeqPerLitre = 2000 * w.GramsPerLitre / mass
	w.CalciumPerL = w.MeqPerLitre / 2 * molarCa
	w.StrengthDKH = w.MeqPerLitre / 1000 * dkhPerMeq()
	w.CalciumPerML = w.CalciumPerL / 1000
	return w, nil
}

// LimewaterCaution is what holds for dosing saturated limewater (common practice); its salt has a caution of its own.
const LimewaterCaution = "limewater replaces evaporation and nothing else: slowly, mostly at night, into strong flow, drawn from above the sediment; it weakens in air; a stuck pump with limewater kills a tank: have a pH interlock"

// Parts gives limewater as the recipe that it is.
func (w Limewater) Parts() []Part {
	return []Part{{Salt: "calcium hydroxide", GramsPerLitre: w.GramsPerLitre, Purity: 1}}
}

// LimewaterDay is the most that limewater can do in a day.
type LimewaterDay struct {
	MostML     float64 // all of the evaporation, and no more: the salinity falls otherwise
	DKH        float64
	CalciumMgL float64
}

// PerDay gives what replacing all evaporation by limewater does to a system: 1 % of the volume a day is common practice and
// brings 1.1 to 1.3 dKH.
func (w Limewater) PerDay(systemLitres, evaporationMLPerDay float64) (LimewaterDay, error) {
	if err := above(systemLitres, litresOfSystemMost, "a system", "L"); err != nil {
		return LimewaterDay{}, err
	}
	if !(evaporationMLPerDay > 0 && evaporationMLPerDay <= 0.1*1000*systemLitres) {
		return LimewaterDay{}, fmt.Errorf("an evaporation of %g mL a day is not above 0 and at most a tenth of the system (%g mL)", evaporationMLPerDay, 100*systemLitres)
	}
	return LimewaterDay{evaporationMLPerDay, w.StrengthDKH * evaporationMLPerDay / systemLitres, w.CalciumPerML * evaporationMLPerDay / systemLitres}, nil
}

// Days after which limewater without sediment has lost 63 % of its strength to the carbon dioxide of the air. There is no
// published figure for a keeper's container: both are this program's own choice, from common practice that a
// closed container lasts weeks and an open, moving one days.
const (
	limeCoveredDays = 30.0
	limeOpenDays    = 5.0
)

// WeakenedAfter gives the strength of limewater, taken off its sediment, after so many days in a covered or an open
// container. Carbon dioxide turns hydroxide into a crust of carbonate; undisturbed sediment below makes up for it.
func (w Limewater) WeakenedAfter(days float64, covered bool) (Limewater, error) {
	if !(days >= 0 && days <= 365) {
		return Limewater{}, fmt.Errorf("%g days are outside 0..365", days)
	}
	tau := limeOpenDays
	if covered {
		tau = limeCoveredDays
	}
	left := math.Exp(-days / tau)
	w.GramsPerLitre *= left
	w.MeqPerLitre *= left
	w.Low *= left
	w.High *= left
	w.CalciumPerL *= left
	w.StrengthDKH *= left
	w.CalciumPerML *= left
	return w, nil
}
