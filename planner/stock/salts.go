package stock

import "aliquot/planner/units"

// Salt is a pure substance that a recipe may name.
type Salt struct {
	Name    string
	Formula string
	// MolarMass is g/mol, computed from Formula with the CIAAW 2021 weights.
	MolarMass float64
	// AlkEquivalents is the total alkalinity that one mole brings, in equivalents: by Dickson's definition
	// (1981, Deep-Sea Res. 28A:609-623), or for organic salts after bacteria have used the anion.
	AlkEquivalents float64
	Ions           []Ion
	Classes        []Class
	// Caution is what a person who handles the salt must be told; empty if there is nothing special.
	Caution string
	also    []string
}

// Ion is how many moles of what a quantity counts are in one mole of a salt.
type Ion struct {
	Quantity units.Quantity
	PerMole  float64
}

// Cautions, in our own words. Sources: the common hazard statements of each substance and common practice.
const (
	causticCaution   = "caustic: burns eyes and skin; goggles and gloves; add it slowly to cold water, never water onto it; keep it away from acids and children"
	limeCaution      = causticCaution + "; no more than about 1.7 g/L dissolves, let the rest settle and draw from above it; it weakens in air"
	carbonateCaution = "irritates eyes and skin: goggles and gloves; add it to water, not water onto it"
	heatCaution      = "heats strongly when dissolved: add it slowly to cold water in an open vessel, stir, let it cool; never close a hot bottle"
	warmCaution      = "warms when dissolved: add it slowly to cold water"
	organicCaution   = "its alkalinity appears through bacteria within hours to two days and takes oxygen: strong aeration"
	irritantCaution  = "irritates eyes: goggles"
	iodideCaution    = "keep it dark and closed; harmful in quantity: gloves"
	nitrateCaution   = "the dry salt feeds fire: keep it away from anything that burns"
	boricCaution     = "harmful if swallowed or breathed in as dust: gloves, no dust"
)

// saltTable is the catalogue, in the order in which it is listed to people.
var saltTable = []Salt{
	{
		Name: "sodium carbonate", also: []string{"sodium carbonate anhydrous", "anhydrous sodium carbonate", "soda ash"},
		Formula: "Na2CO3", AlkEquivalents: 2, Classes: []Class{Carbonate}, Caution: carbonateCaution,
	},
	{Name: "sodium carbonate monohydrate", Formula: "Na2CO3.H2O", AlkEquivalents: 2, Classes: []Class{Carbonate}, Caution: carbonateCaution},
	{Name: "sodium carbonate decahydrate", Formula: "Na2CO3.10H2O", AlkEquivalents: 2, Classes: []Class{Carbonate}, Caution: carbonateCaution},
	{
		Name: "sodium bicarbonate", also: []string{"sodium hydrogen carbonate", "baking soda"},
		Formula: "NaHCO3", AlkEquivalents: 1, Classes: []Class{Carbonate},
	},
	{Name: "sodium hydroxide", Formula: "NaOH", AlkEquivalents: 1, Classes: []Class{Hydroxide}, Caution: causticCaution},
	{Name: "calcium hydroxide", Formula: "Ca(OH)2", AlkEquivalents: 2, Ions: one(units.Calcium), Classes: []Class{Lime}, Caution: limeCaution},
	{
		Name: "calcium chloride anhydrous", also: []string{"anhydrous calcium chloride"},
		Formula: "CaCl2", Ions: one(units.Calcium), Classes: []Class{CalciumSalt}, Caution: heatCaution,
	},
	{Name: "calcium chloride dihydrate", Formula: "CaCl2.2H2O", Ions: one(units.Calcium), Classes: []Class{CalciumSalt}, Caution: heatCaution},
	{Name: "calcium chloride hexahydrate", Formula: "CaCl2.6H2O", Ions: one(units.Calcium), Classes: []Class{CalciumSalt}, Caution: irritantCaution},
	{
		Name:    "calcium formate",
		Formula: "Ca(HCOO)2", AlkEquivalents: 2, Ions: one(units.Calcium), Classes: []Class{CalciumSalt, OrganicSalt}, Caution: organicCaution,
	},
	{
		Name: "calcium acetate", also: []string{"calcium acetate anhydrous"},
		Formula: "Ca(CH3COO)2", AlkEquivalents: 2, Ions: one(units.Calcium), Classes: []Class{CalciumSalt, OrganicSalt}, Caution: organicCaution,
	},
	{
		Name: "magnesium chloride anhydrous", also: []string{"anhydrous magnesium chloride"},
		Formula: "MgCl2", Ions: one(units.Magnesium), Classes: []Class{Magnesium}, Caution: heatCaution,
	},
	{Name: "magnesium chloride hexahydrate", Formula: "MgCl2.6H2O", Ions: one(units.Magnesium), Classes: []Class{Magnesium}},
	{
		Name: "magnesium sulfate anhydrous", also: []string{"anhydrous magnesium sulfate"},
		Formula: "MgSO4", Ions: one(units.Magnesium), Classes: []Class{Magnesium, Sulfate}, Caution: warmCaution,
	},
	{
		Name: "magnesium sulfate heptahydrate", also: []string{"epsom salt"},
		Formula: "MgSO4.7H2O", Ions: one(units.Magnesium), Classes: []Class{Magnesium, Sulfate},
	},
	{Name: "potassium chloride", Formula: "KCl", Ions: one(units.Potassium)},
	{
		Name: "strontium chloride anhydrous", also: []string{"anhydrous strontium chloride"},
		Formula: "SrCl2", Ions: one(units.Strontium), Classes: []Class{Strontium}, Caution: irritantCaution,
	},
	{Name: "strontium chloride hexahydrate", Formula: "SrCl2.6H2O", Ions: one(units.Strontium), Classes: []Class{Strontium}, Caution: irritantCaution},
	{Name: "sodium nitrate", Formula: "NaNO3", Ions: one(units.Nitrate), Classes: []Class{NitrogenSalt}, Caution: nitrateCaution},
	{Name: "potassium nitrate", Formula: "KNO3", Ions: two(units.Nitrate, units.Potassium), Classes: []Class{NitrogenSalt}, Caution: nitrateCaution},
	// H2PO4- is the zero level of phosphate in Dickson's definition: no alkalinity.
	{
		Name: "monopotassium phosphate", also: []string{"potassium dihydrogen phosphate"},
		Formula: "KH2PO4", Ions: two(units.Phosphate, units.Potassium), Classes: []Class{Phosphate},
	},
	{Name: "potassium iodide", Formula: "KI", Ions: two(units.Iodide, units.Potassium), Classes: []Class{Iodide}, Caution: iodideCaution},
	// Undissociated boric acid is the zero level of boron: no alkalinity.
	{Name: "boric acid", Formula: "H3BO3", Ions: one(units.Boron), Caution: boricCaution},
}

func one(q units.Quantity) []Ion { return []Ion{{q, 1}} }

func two(a, b units.Quantity) []Ion { return []Ion{{a, 1}, {b, 1}} }

// ambiguousSalts are names that leave the water of crystallisation open. The first candidate is the reference
// of the factors in the message.
var ambiguousSalts = []struct {
	name       string
	candidates []string
}{
	{"calcium chloride", []string{"calcium chloride anhydrous", "calcium chloride dihydrate", "calcium chloride hexahydrate"}},
	{"magnesium chloride", []string{"magnesium chloride anhydrous", "magnesium chloride hexahydrate"}},
	{"magnesium sulfate", []string{"magnesium sulfate anhydrous", "magnesium sulfate heptahydrate"}},
	{"strontium chloride", []string{"strontium chloride anhydrous", "strontium chloride hexahydrate"}},
}
