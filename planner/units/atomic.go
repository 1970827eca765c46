package units

// atomicWeights are the standard atomic weights of CIAAW/IUPAC 2021 (Prohaska et al. 2022, Pure Appl. Chem.
// 94:573-600); the conventional value where the standard is an interval.
var atomicWeights = map[string]float64{
	"H": 1.008, "B": 10.81, "C": 12.011, "N": 14.007, "O": 15.999, "F": 18.99840316, "Na": 22.98976928,
	"Mg": 24.305, "Si": 28.085, "P": 30.973762, "S": 32.06, "Cl": 35.45, "K": 39.0983, "Ca": 40.078,
	"Mn": 54.938043, "Fe": 55.845, "Br": 79.904, "Sr": 87.62, "I": 126.90447,
}

// AtomicWeight gives the standard atomic weight of an element in g/mol, false for elements that no salt of
// the trade contains.
func AtomicWeight(symbol string) (float64, bool) {
	w, ok := atomicWeights[symbol]
	return w, ok
}

// IonMass gives the molar mass in g/mol of what a level in mg/L of q counts: the element, or NO3 and PO4.
// It is false for quantities that are no dissolved substance.
func IonMass(q Quantity) (float64, bool) {
	w := atomicWeights
	switch q {
	case Calcium:
		return w["Ca"], true
	case Magnesium:
		return w["Mg"], true
	case Potassium:
		return w["K"], true
	case Strontium:
		return w["Sr"], true
	case Nitrate:
		return w["N"] + 3*w["O"], true
	case Phosphate:
		return w["P"] + 4*w["O"], true
	case Iodide, Iodine:
		return w["I"], true
	case Boron:
		return w["B"], true
	case Fluoride:
		return w["F"], true
	case Bromide:
		return w["Br"], true
	case Iron:
		return w["Fe"], true
	}
	return 0, false
}
