package units

// Quantity is one thing that a system has and that a test, a probe or a supplement can name.
type Quantity string

// Quantities by the name used in configurations and payloads.
const (
	Alkalinity  Quantity = "alkalinity"
	Calcium     Quantity = "calcium"
	Magnesium   Quantity = "magnesium"
	Potassium   Quantity = "potassium"
	Strontium   Quantity = "strontium"
	Nitrate     Quantity = "nitrate"   // as the ion NO3
	Phosphate   Quantity = "phosphate" // as the ion PO4
	Iodide      Quantity = "iodide"    // as the element I
	Iodine      Quantity = "iodine"    // total, as the element I
	Boron       Quantity = "boron"     // as the element B
	Fluoride    Quantity = "fluoride"
	Bromide     Quantity = "bromide"
	Iron        Quantity = "iron"
	Salinity    Quantity = "salinity"
	PH          Quantity = "pH"
	Temperature Quantity = "temperature"
	ORP         Quantity = "ORP"    // probes only
	Switch      Quantity = "switch" // on/off probes such as a leak sensor; has no level
)

// Quantities gives every known quantity in a fixed order.
func Quantities() []Quantity {
	return []Quantity{
		Alkalinity, Calcium, Magnesium, Potassium, Strontium, Nitrate, Phosphate, Iodide, Iodine, Boron,
		Fluoride, Bromide, Iron, Salinity, PH, Temperature, ORP, Switch,
	}
}

// Known says whether q is one of Quantities. Names are case-sensitive, as configurations are.
func (q Quantity) Known() bool {
	for _, k := range Quantities() {
		if q == k {
			return true
		}
	}
	return false
}

// Unit gives the canonical unit, in which every level of q is kept and shown: dKH for alkalinity, mg/L for
// dissolved substances, psu for salinity, "pH", degC, mV. It is empty for Switch and for unknown names.
func (q Quantity) Unit() string {
	if defs := unitsOf(q); len(defs) > 0 {
		return defs[0].name
	}
	return ""
}
