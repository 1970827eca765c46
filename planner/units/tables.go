package units

// Alkalinity: one German degree is 10 mg/L CaO (the definition of the former German hardness unit, DIN
// 38409-6), CaO and CaCO3 carry two equivalents. Weights: CIAAW 2021.
const (
	molarCaO   = 40.078 + 15.999
	molarCaCO3 = 40.078 + 12.011 + 3*15.999

	dkhPerMeq      = molarCaO / 20                // 2.80385 dKH for 1 meq/L
	dkhPerMgCaCO3  = molarCaO / (10 * molarCaCO3) // 0.0560288 dKH for 1 mg/L CaCO3
	millilitresGal = 3785.411784                  // US liquid gallon, 231 in³ exactly (NIST Handbook 44)
	millilitresImp = 4546.09                      // imperial gallon, exactly (UK Weights and Measures Act 1985)
)

var alkalinityUnits = []unitDef{
	{name: "dKH", also: []string{"kh", "degdkh", "degkh"}, factor: 1, suspect: true},
	{name: "meq/L", factor: dkhPerMeq, suspect: true},
	{name: "mmol/L", factor: dkhPerMeq}, // of alkalinity, so the same number as meq/L
	{name: "ppm CaCO3", also: []string{"ppm as caco3"}, factor: dkhPerMgCaCO3, suspect: true},
	{name: "mg/L CaCO3", also: []string{"mg/l as caco3"}, factor: dkhPerMgCaCO3},
}

var salinityUnits = []unitDef{{name: "psu", also: []string{"pss", "pss-78"}, factor: 1}, {name: "ppt", also: []string{"‰"}, factor: 1}}

var phUnits = []unitDef{{name: "pH", also: []string{""}, factor: 1}}

var orpUnits = []unitDef{{name: "mV", factor: 1}}

var temperatureUnits = []unitDef{
	{name: "degC", also: []string{"c", "celsius"}, factor: 1},
	{name: "degF", also: []string{"f", "fahrenheit"}, factor: 5.0 / 9, offset: -160.0 / 9, suspect: true},
}

// unitsOf lists the units of a quantity, the canonical one first. Empty for Switch and unknown names.
func unitsOf(q Quantity) []unitDef {
	switch q {
	case Alkalinity:
		return alkalinityUnits
	case Salinity:
		return salinityUnits
	case PH:
		return phUnits
	case Temperature:
		return temperatureUnits
	case ORP:
		return orpUnits
	case Nitrate:
		return append(ionUnits(q, "no3"), boundUnits(q, "n", "no3-n", atomicWeights["N"])...)
	case Phosphate:
		return append(ionUnits(q, "po4"), boundUnits(q, "p", "po4-p", atomicWeights["P"])...)
	}
	if symbol, ok := ionSymbols[q]; ok {
		return ionUnits(q, symbol)
	}
	return nil
}

var ionSymbols = map[Quantity]string{
	Calcium: "ca", Magnesium: "mg", Potassium: "k", Strontium: "sr", Iodide: "i", Iodine: "i", Boron: "b",
	Fluoride: "f", Bromide: "br", Iron: "fe",
}

// ionUnits are the units of a dissolved substance. ppm and ppb are taken as mg/L and µg/L, the common practice
// of the trade, though by mass they differ by the density (2.3 % at 35 psu).
func ionUnits(q Quantity, symbol string) []unitDef {
	mass, _ := IonMass(q)
	return []unitDef{
		{name: "mg/L", also: []string{"ppm", "mg/l " + symbol, "ppm " + symbol}, factor: 1, suspect: true},
		{name: "ug/L", also: []string{"ppb", "ug/l " + symbol, "ppb " + symbol}, factor: 1e-3, suspect: true},
		{name: "mmol/L", also: []string{"mmol/l " + symbol}, factor: mass, suspect: true},
		{name: "umol/L", also: []string{"umol/l " + symbol}, factor: mass / 1000},
	}
}

// boundUnits count only the nitrogen or phosphorus of the ion: mg/L N × 4.427 is mg/L NO3, mg/L P × 3.066 is
// mg/L PO4.
func boundUnits(q Quantity, element, ion string, weight float64) []unitDef {
	mass, _ := IonMass(q)
	upper := string(element[0] - 'a' + 'A')
	return []unitDef{
		{name: "mg/L " + upper, also: []string{"ppm " + element, "mg/l " + ion, "ppm " + ion, ion}, factor: mass / weight, suspect: true},
		{name: "ug/L " + upper, also: []string{"ppb " + element, "ug/l " + ion, "ppb " + ion}, factor: mass / weight / 1000, suspect: true},
	}
}

// UnitNames lists the spellings that are printed for the units of a quantity, the canonical one first.
func UnitNames(q Quantity) []string {
	var names []string
	for _, d := range unitsOf(q) {
		names = append(names, d.name)
	}
	return names
}
