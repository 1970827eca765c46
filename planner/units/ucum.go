package units

// ucum are the codes of the Unified Code for Units of Measure (UCUM, the Regenstrief Institute's open standard, version
// 2.1) for those units that have one; what a unit counts stands in braces, which UCUM leaves to the user. There is none
// for German degrees, for practical salinity, for ppm that mean mg/L, for a specific gravity with its temperatures, nor
// for microatmospheres (UCUM's atm takes no prefix).
var ucum = map[string]string{
	"meq/L": "meq/L", "mmol/L": "mmol/L", "umol/L": "umol/L", "mg/L": "mg/L", "ug/L": "ug/L",
	"mg/L CaCO3": "mg{CaCO3}/L", "mg/L N": "mg{N}/L", "ug/L N": "ug{N}/L", "mg/L P": "mg{P}/L", "ug/L P": "ug{P}/L",
	"mg/kg": "mg/kg", "umol/kg": "umol/kg", "mmol/kg": "mmol/kg",
	"pH": "[pH]", "degC": "Cel", "degF": "[degF]", "mV": "mV", "ppt": "[ppth]", "mS/cm": "mS/cm",
	"mL": "mL", "L": "L", "uL": "uL", "US gal": "[gal_us]", "imp gal": "[gal_br]", "mL/day": "mL/d", "L/day": "L/d",
	"mL/min": "mL/min", "mL/s": "mL/s", "L/h": "L/h", "mL/h": "mL/h", "L/min": "L/min",
	"mm": "mm", "cm": "cm", "m": "m", "in": "[in_i]", "g": "g", "kg": "kg", "mg": "mg",
	"kg/L": "kg/L", "g/mL": "g/mL", "kg/m3": "kg/m3", "g/L": "g/L", "mg/mL": "mg/mL",
}

// UCUM gives the code of a unit of a quantity or a measure in the spelling that is printed, false if it has none.
func UCUM(unit string) (string, bool) {
	code, ok := ucum[unit]
	return code, ok
}
