package stock

// Calcification: Ca + 2 HCO3 becomes CaCO3 + CO2 + H2O. Alkalinity falls by two equivalents for one mole of calcium and
// one of inorganic carbon (S. V. Smith, G. S. Key 1975, Limnol. Oceanogr. 20:493; J. R. M. Chisholm, J.-P. Gattuso 1991,
// Limnol. Oceanogr. 36:1232).
//
// Strontium and magnesium that aragonite of stony corals takes in beside it, mol for each mol of calcium: reference
// material JCp-1 (Porites), E. C. Hathorne et al. 2013, Geochem. Geophys. Geosyst. 14:3730-3750.
const (
	srPerCa = 8.838e-3
	mgPerCa = 4.199e-3
	// mgShareMost is the most magnesium in high-magnesium calcite of coralline algae, mol MgCO3 in 1 mol (K. E. Chave 1954,
	// J. Geol. 62:266: 10 to 25 %).
	mgShareMost = 0.25
)

// CalciumPerDKH is the calcium in mg/L that goes with 1 dKH when calcium carbonate forms: 7.147.
func CalciumPerDKH() float64 { return molarCa / 2 / dkhPerMeq() }

// StrontiumPerDKH is the strontium in mg/L that coral aragonite takes in with 1 dKH: 0.138.
func StrontiumPerDKH() float64 { return CalciumPerDKH() / molarCa * srPerCa * molarSr }

// MagnesiumPerDKH is the magnesium in mg/L that coral aragonite takes in with 1 dKH: 0.018. Coralline algae take far more: see MagnesiumPerDKHMost.
func MagnesiumPerDKH() float64 { return CalciumPerDKH() / molarCa * mgPerCa * molarMg }

// MagnesiumPerDKHMost is the magnesium in mg/L that goes with 1 dKH if everything that calcifies is coralline algae
// with the highest share of magnesium: 1.08.
func MagnesiumPerDKHMost() float64 { return mgShareMost * molarMg / 2 / dkhPerMeq() }

// CarbonatePerDKH is the calcium carbonate in mg/L that takes 1 dKH: 17.8.
func CarbonatePerDKH() float64 { return molarCaCO3 / 2 / dkhPerMeq() }

// Strontium per calcium in coral skeletons falls with temperature, mmol/mol at °C: Sr/Ca = intercept + slope·T.
type SkeletonLine struct{ Intercept, Slope float64 }

// PoritesCylindrica is the line of A. Armid et al. 2011, Geochim. Cosmochim. Acta 75:4273, for 22 to 30 °C.
func PoritesCylindrica() SkeletonLine { return SkeletonLine{10.214, -0.0642} }

// Montastraea is the line of P. K. Swart et al. 2002, Geochem. Geophys. Geosyst. 3(11), for monthly means.
func Montastraea() SkeletonLine { return SkeletonLine{10.165, -0.0471} }

// At gives Sr/Ca in mmol/mol.
func (l SkeletonLine) At(celsius float64) float64 { return l.Intercept + l.Slope*celsius }

// Equivalents of alkalinity for one mole of nitrate (J. J. Middelburg, K. Soetaert, M. Hagens 2020, Rev. Geophys. 58,
// e2019RG000681, Table 2): mineralising organic nitrogen to ammonia +1, nitrifying ammonia −2, taking up or denitrifying
// nitrate +1.
const (
	eqPerMineralised = 1
	eqPerNitrified   = -2
	eqPerTakenUp     = 1
)

// NitrogenSource says where the nitrogen of nitrate came from.
type NitrogenSource int

// Sources of nitrogen. Food is organic; ammonium is dosed as such.
const (
	FromFood NitrogenSource = iota
	FromAmmonium
)

// AlkalinityOfNitrate gives the change of alkalinity in dKH that goes with a change of nitrate in mg/L NO3: nitrate that
// forms from food takes 1 dKH for 22 mg/L, from ammonium twice that; nitrate that is taken up by algae or
// denitrified gives 1 dKH back for 22 mg/L. No calcium goes with it. Nitrate that is dosed or changed with the
// water must not be counted.
func AlkalinityOfNitrate(riseMgL float64, from NitrogenSource) (dkh float64) {
	equivalents := -float64(eqPerTakenUp)
	if riseMgL > 0 {
		equivalents = eqPerMineralised + eqPerNitrified
		if from == FromAmmonium {
			equivalents = eqPerNitrified
		}
	}
	return equivalents * riseMgL / molar("NO3") * dkhPerMeq()
}
