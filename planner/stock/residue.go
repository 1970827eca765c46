package stock

import (
	"fmt"
	"math"
)

// Molar masses that the bookkeeping of ions needs, g/mol.
var (
	molarNaCl  = molar("NaCl")
	molarCaCO3 = molar("CaCO3")
	molarCa    = molar("Ca")
	molarMg    = molar("Mg")
	molarSr    = molar("Sr")
	molarCaO   = molar("CaO")
)

// dkhPerMeq is how many dKH 1 meq/L is: one degree is 10 mg/L CaO, which carries two equivalents.
func dkhPerMeq() float64 { return molarCaO / 20 }

// Reference-Composition Seawater at 35 psu: F. J. Millero, R. Feistel, D. G. Wright, T. J. McDougall 2008, Deep-Sea Res. I
// 55:50-72, Table 4; TEOS-10 Manual 2010, Table D.3.
const (
	seaSodiumPart   = 0.3065958 // mass fraction of the dissolved salt
	seaChloridePart = 0.5503396
	seaSulfate      = 0.0292643 // mol/kg of water
	seaChloride     = 0.5657647
	seaMagnesium    = 0.0547421
	seaCalcium      = 0.0106568
	seaStrontium    = 0.0000940
	// saltPerPSU is g of salt in 1 kg of seawater for each psu: 35.16504 g/kg at 35 psu.
	saltPerPSU = 35.16504 / 35
	// seawaterKgPerL is EOS-80 at 35 psu and 25 °C (N. P. Fofonoff, R. C. Millard 1983, UNESCO Tech. Pap. Mar. Sci. 44).
	seawaterKgPerL = 1.023341
)

// SaltLeftByTwoPart gives the sodium chloride in mg for each litre that stays behind when so much alkalinity (dKH) of
// a sodium salt and the matching calcium chloride have become calcium carbonate. CaCl2 + 2 NaHCO3 leaves 2 NaCl for 2
// equivalents, and so do carbonate and hydroxide; limewater and calcium formate leave nothing.
func SaltLeftByTwoPart(dkh float64) (mgPerLitre float64) { return dkh / dkhPerMeq() * molarNaCl }

// Spectators are the ions of a recipe that corals leave behind, in mmol for each mL of solution.
type Spectators struct {
	Sodium, Potassium, Chloride, Sulfate float64
}

// SpectatorsOf counts them from the formulas.
func SpectatorsOf(parts []Part) (Spectators, error) {
	salts, err := checkParts(parts)
	if err != nil {
		return Spectators{}, err
	}
	var x Spectators
	for i, s := range salts {
		found, err := atomsOf(s.Formula)
		if err != nil {
			return Spectators{}, err
		}
		moles := parts[i].pure() / s.MolarMass
		x.Sodium += moles * float64(found["Na"])
		x.Potassium += moles * float64(found["K"])
		x.Chloride += moles * float64(found["Cl"])
		x.Sulfate += moles * float64(found["S"])
	}
	return x, nil
}

// Creep is how salt left by two-part dosing raises salinity.
type Creep struct {
	GramsPerMonth float64 // NaCl in the whole system, 30 days
	PSUPerMonth   float64 // without any exchange
	// PSUAtLast is where the rise ends if a share of the water is exchanged every month; +Inf without exchange.
	PSUAtLast float64
	// FreshLitresPerMonth of salt water taken out and replaced by fresh water keep the salinity.
	FreshLitresPerMonth float64
}

// SalinityCreep gives the creep of a system of so many litres that gets dkhPerDay of alkalinity from a sodium salt and the
// matching calcium chloride, and has exchangedPerMonth (0..1) of its water changed in 30 days, at 35 psu. Sodium
// chloride is counted as sea salt by mass; its conductivity is a little higher.
func SalinityCreep(litres, dkhPerDay, exchangedPerMonth float64) (Creep, error) {
	if err := above(litres, litresOfSystemMost, "a system", "L"); err != nil {
		return Creep{}, err
	}
	if !(dkhPerDay >= 0 && dkhPerDay <= 20) {
		return Creep{}, fmt.Errorf("%g dKH a day is outside 0..20 dKH", dkhPerDay)
	}
	if !(exchangedPerMonth >= 0 && exchangedPerMonth <= 1) {
		return Creep{}, fmt.Errorf("an exchanged share of %g a month is outside 0..1", exchangedPerMonth)
	}
	gramsPerLitre := SaltLeftByTwoPart(dkhPerDay) * 30 / 1000
	c := Creep{GramsPerMonth: gramsPerLitre * litres, PSUPerMonth: gramsPerLitre / seawaterKgPerL / saltPerPSU, PSUAtLast: math.Inf(1)}
	if exchangedPerMonth > 0 {
		c.PSUAtLast = c.PSUPerMonth / exchangedPerMonth
	}
	c.FreshLitresPerMonth = c.PSUPerMonth / 35 * litres
	return c, nil
}

// IonShift is how creep held down with fresh water changes the salt's make-up: sodium chloride replaces whole sea salt.
// After a share x of the salt has been replaced, each ion besides sodium and chloride is at 1 − x of its natural level.
type IonShift struct {
	Replaced     float64 // share of the salt, 0..1
	OtherIons    float64 // 1 − Replaced
	ChloridePerG float64 // g chloride for each g sodium, 1.795 in the sea
}

// IonShiftAfter gives the shift after so many days without an exchange of water, salinity kept by fresh water.
func IonShiftAfter(dkhPerDay, days float64) (IonShift, error) {
	if !(dkhPerDay >= 0 && dkhPerDay <= 20) || !(days >= 0 && days <= 3650) {
		return IonShift{}, fmt.Errorf("%g dKH a day for %g days: allowed are 0..20 dKH and 0..3650 days", dkhPerDay, days)
	}
	// Each small amount replaces the mixture that is there by then, so what is left decays exponentially.
	perDay := SaltLeftByTwoPart(dkhPerDay) / 1000 / seawaterKgPerL / (35 * saltPerPSU)
	left := math.Exp(-perDay * days)
	sodium := molar("Na") / molarNaCl
	na := left*seaSodiumPart + (1-left)*sodium
	cl := left*seaChloridePart + (1-left)*(1-sodium)
	return IonShift{Replaced: 1 - left, OtherIons: left, ChloridePerG: cl / na}, nil
}

// MagnesiumBalance compares the sulfate of a magnesium solution with seawater's.
type MagnesiumBalance struct {
	SulfatePerChloride float64 // mol/mol; +Inf without chloride
	// OfSeawater is that over seawater's 0.0517: 1 keeps the sea's proportions.
	OfSeawater float64
	Text       string
}

// Bounds outside which a magnesium solution is called unbalanced: a factor of two, this program's own choice.
const balanceFactor = 2.0

// MagnesiumBalanceOf judges a recipe that holds magnesium.
func MagnesiumBalanceOf(parts []Part) (MagnesiumBalance, error) {
	x, err := SpectatorsOf(parts)
	if err != nil {
		return MagnesiumBalance{}, err
	}
	if !has(Classes(parts), Magnesium) {
		return MagnesiumBalance{}, fmt.Errorf("the solution holds no magnesium")
	}
	if !(x.Chloride+x.Sulfate > 0) {
		return MagnesiumBalance{}, fmt.Errorf("the solution holds neither chloride nor sulfate")
	}
	b := MagnesiumBalance{SulfatePerChloride: math.Inf(1), OfSeawater: math.Inf(1)}
	if x.Chloride > 0 {
		b.SulfatePerChloride = x.Sulfate / x.Chloride
		b.OfSeawater = b.SulfatePerChloride / (seaSulfate / seaChloride)
	}
	advice := fmt.Sprintf("; %.3f g of magnesium sulfate heptahydrate to 1 g of magnesium chloride hexahydrate keep the sea's proportions", BalancedMagnesium())
	switch {
	case b.OfSeawater > balanceFactor:
		b.Text = "sulfate builds up against chloride" + advice
	case b.OfSeawater < 1/balanceFactor:
		b.Text = "chloride builds up against sulfate" + advice
	default:
		b.Text = "sulfate and chloride are near the sea's proportions"
	}
	return b, nil
}

// BalancedMagnesium gives the grams of magnesium sulfate heptahydrate for 1 g of magnesium chloride hexahydrate with
// which sulfate and chloride stand as in seawater: x mol sulfate to 2 mol chloride.
func BalancedMagnesium() float64 {
	return 2 * seaSulfate / seaChloride * molar("MgSO4.7H2O") / molar("MgCl2.6H2O")
}
