package stock

// solubilityPoint is one handbook value: grams of the dry salt in 100 g of water.
type solubilityPoint struct{ celsius, grams float64 }

// solubilityRow is what handbooks say about one dry salt. The tests hold it against the values they were taken from.
type solubilityRow struct {
	dry    string
	solid  string // solid phase at room temperature
	points []solubilityPoint
	spread float64 // see Solubility
	source string
	// density of the dry solid, g/mL, rounded down: handbook figures, used only to bound the room that it takes.
	density float64
}

const (
	crcTable  = "CRC Handbook of Chemistry and Physics, 91st ed. 2010, Aqueous solubility of inorganic compounds at various temperatures"
	perryList = "compiled solubility table after the Perry and Lange handbooks"
	srd106    = "IUPAC-NIST Solubility Database (SRD 106), calcium formate and water, after Lumsden 1902 and others"
)

// two values of the CRC table, at 20 and 25 °C.
func crc(at20, at25 float64) []solubilityPoint { return []solubilityPoint{{20, at20}, {25, at25}} }

var solubilityTable = []solubilityRow{
	{"NaHCO3", "NaHCO3", crc(9.57, 10.28), 0.03, crcTable, 2.1},
	{"Na2CO3", "Na2CO3.10H2O", crc(21.80, 30.72), 0.03, crcTable, 2.5},
	{"NaOH", "NaOH.H2O", crc(85.19, 100), 0.28, crcTable, 2.1},
	{"CaCl2", "CaCl2.6H2O", crc(72.80, 81.26), 0.03, crcTable, 2.1},
	{"MgCl2", "MgCl2.6H2O", crc(55.23, 56.01), 0.03, crcTable, 2.3},
	{"MgSO4", "MgSO4.7H2O", crc(33.51, 35.69), 0.05, crcTable, 2.6},
	{"KCl", "KCl", crc(34.03, 35.54), 0.03, crcTable, 1.9},
	{"KI", "KI", crc(143.90, 148.14), 0.03, crcTable, 3.1},
	{"KNO3", "KNO3", crc(31.93, 38.31), 0.03, crcTable, 2.1},
	{"NaNO3", "NaNO3", crc(87.27, 91.20), 0.03, crcTable, 2.2},
	{"K2HPO4", "K2HPO4.3H2O", crc(159.74, 168.10), 0.065, crcTable, 2.4},
	{"Na3PO4", "Na3PO4.12H2O", crc(12.11, 14.42), 0.03, crcTable, 1.6},
	{"SrCl2", "SrCl2.6H2O", crc(52.51, 54.73), 0.03, crcTable, 3.0},
	{"H3BO3", "H3BO3", crc(5.01, 5.80), 0.06, crcTable, 1.4},
	{"NaCl", "NaCl", crc(35.89, 35.96), 0.03, crcTable, 2.1},
	// Solubility falls with temperature. The CRC's other table has 0.160 at 20 °C.
	{"Ca(OH)2", "Ca(OH)2", []solubilityPoint{{0, 0.189}, {10, 0.182}, {20, 0.173}, {30, 0.160}}, 0.08, perryList, 2.2},
	{"Ca(CH3COO)2", "hydrate", []solubilityPoint{{0, 37.4}, {10, 36.0}, {20, 34.7}, {30, 33.8}}, 0.03, perryList, 1.5},
	{"Ca(HCOO)2", "Ca(HCOO)2", []solubilityPoint{{20, 16.6}, {30, 16.82}}, 0.03, srd106, 2.0},
}

// solidDensity is that of the table, or 1.4 g/mL where there is no row: few salts are lighter.
func (r solubilityRow) solidDensity() float64 {
	if r.density == 0 {
		return 1.4
	}
	return r.density
}

// dryMass is the molar mass of the dry salt that s becomes in water.
func (r solubilityRow) dryMass(s Salt) float64 {
	if r.dry == "" {
		return s.MolarMass - float64(s.Waters)*molar("H2O")
	}
	return molar(r.dry)
}
