package stock

import "aliquot/planner/units"

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
		Formula: "Ca(HCOO)2", AlkEquivalents: 2, Ions: one(units.Calcium), Classes: []Class{CalciumSalt, OrganicSalt}, Caution: OrganicCaution,
		AppearsOver: organicHours, Note: formateNote,
	},
	{
		Name: "calcium acetate", also: []string{"calcium acetate anhydrous"},
		Formula: "Ca(CH3COO)2", AlkEquivalents: 2, Ions: one(units.Calcium), Classes: []Class{CalciumSalt, OrganicSalt}, Caution: OrganicCaution,
		AppearsOver: organicHours, Note: acetateNote,
	},
	{
		Name:    "calcium acetate monohydrate",
		Formula: "Ca(CH3COO)2.H2O", AlkEquivalents: 2, Ions: one(units.Calcium), Classes: []Class{CalciumSalt, OrganicSalt}, Caution: OrganicCaution,
		AppearsOver: organicHours, Note: acetateNote,
	},
	{Name: "calcium nitrate tetrahydrate", Formula: "Ca(NO3)2.4H2O", Ions: []Ion{{units.Calcium, 1}, {units.Nitrate, 2}}, Classes: []Class{CalciumSalt, NitrogenSalt}, Caution: nitrateCaution},
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
	{Name: "magnesium sulfate monohydrate", also: []string{"kieserite"}, Formula: "MgSO4.H2O", Ions: one(units.Magnesium), Classes: []Class{Magnesium, Sulfate}, Caution: warmCaution},
	{Name: "magnesium nitrate hexahydrate", Formula: "Mg(NO3)2.6H2O", Ions: []Ion{{units.Magnesium, 1}, {units.Nitrate, 2}}, Classes: []Class{Magnesium, NitrogenSalt}, Caution: nitrateCaution},
	{Name: "potassium chloride", Formula: "KCl", Ions: one(units.Potassium)},
	{Name: "potassium sulfate", Formula: "K2SO4", Ions: []Ion{{units.Potassium, 2}}, Classes: []Class{Sulfate}},
	{
		Name: "potassium carbonate", also: []string{"potassium carbonate anhydrous", "potash"},
		Formula: "K2CO3", AlkEquivalents: 2, Ions: []Ion{{units.Potassium, 2}}, Classes: []Class{Carbonate}, Caution: carbonateCaution,
	},
	{
		Name: "potassium bicarbonate", also: []string{"potassium hydrogen carbonate"},
		Formula: "KHCO3", AlkEquivalents: 1, Ions: one(units.Potassium), Classes: []Class{Carbonate},
	},
	{
		Name: "strontium chloride anhydrous", also: []string{"anhydrous strontium chloride"},
		Formula: "SrCl2", Ions: one(units.Strontium), Classes: []Class{Strontium}, Caution: irritantCaution,
	},
	{Name: "strontium chloride hexahydrate", Formula: "SrCl2.6H2O", Ions: one(units.Strontium), Classes: []Class{Strontium}, Caution: irritantCaution},
	{Name: "strontium chloride dihydrate", Formula: "SrCl2.2H2O", Ions: one(units.Strontium), Classes: []Class{Strontium}, Caution: irritantCaution},
	{Name: "sodium nitrate", Formula: "NaNO3", Ions: one(units.Nitrate), Classes: []Class{NitrogenSalt}, Caution: nitrateCaution},
	{Name: "potassium nitrate", Formula: "KNO3", Ions: two(units.Nitrate, units.Potassium), Classes: []Class{NitrogenSalt}, Caution: nitrateCaution},
	// H2PO4- is the zero level of phosphate in Dickson's definition: no alkalinity.
	{
		Name: "monopotassium phosphate", also: []string{"potassium dihydrogen phosphate"},
		Formula: "KH2PO4", Ions: two(units.Phosphate, units.Potassium), Classes: []Class{Phosphate},
	},
	// HPO4 stands one proton below that zero level: one equivalent.
	{
		Name: "dipotassium phosphate anhydrous", also: []string{"anhydrous dipotassium phosphate", "dipotassium hydrogen phosphate anhydrous"},
		Formula: "K2HPO4", AlkEquivalents: 1, Ions: []Ion{{units.Phosphate, 1}, {units.Potassium, 2}}, Classes: []Class{Phosphate}, Caution: alkalineCaution, Note: hpo4Note,
	},
	{
		Name: "dipotassium phosphate trihydrate", also: []string{"dipotassium hydrogen phosphate trihydrate"},
		Formula: "K2HPO4.3H2O", AlkEquivalents: 1, Ions: []Ion{{units.Phosphate, 1}, {units.Potassium, 2}}, Classes: []Class{Phosphate}, Caution: alkalineCaution, Note: hpo4Note,
	},
	{Name: "potassium iodide", Formula: "KI", Ions: two(units.Iodide, units.Potassium), Classes: []Class{Iodide}, Caution: iodideCaution},
	{Name: "sodium bromide", Formula: "NaBr", Ions: one(units.Bromide)},
	{Name: "potassium bromide", Formula: "KBr", Ions: two(units.Bromide, units.Potassium)},
	{Name: "sodium fluoride", Formula: "NaF", Ions: one(units.Fluoride), Caution: fluorideCaution},
	// Undissociated boric acid is the zero level of boron: no alkalinity.
	{Name: "boric acid", Formula: "H3BO3", Ions: one(units.Boron), Caution: boricCaution},
	// B4O7 + 7 H2O becomes 2 B(OH)3 + 2 B(OH)4, and B(OH)4 is alkalinity (A. G. Dickson 1981): two equivalents.
	{
		Name: "sodium tetraborate decahydrate", also: []string{"borax"},
		Formula: "Na2B4O7.10H2O", AlkEquivalents: 2, Ions: []Ion{{units.Boron, 4}}, Caution: boricCaution, Note: borateNote,
	},
	{Name: "sodium tetraborate pentahydrate", Formula: "Na2B4O7.5H2O", AlkEquivalents: 2, Ions: []Ion{{units.Boron, 4}}, Caution: boricCaution, Note: borateNote},
	{
		Name: "sodium tetraborate anhydrous", also: []string{"anhydrous sodium tetraborate"},
		Formula: "Na2B4O7", AlkEquivalents: 2, Ions: []Ion{{units.Boron, 4}}, Caution: boricCaution, Note: borateNote,
	},
	// Acetate of sodium: alkalinity and food for bacteria, no calcium.
	{
		Name: "sodium acetate anhydrous", also: []string{"anhydrous sodium acetate"},
		Formula: "CH3COONa", AlkEquivalents: 1, Classes: []Class{OrganicSalt}, Caution: OrganicCaution, AppearsOver: organicHours, Note: acetateNote,
	},
	{
		Name:    "sodium acetate trihydrate",
		Formula: "CH3COONa.3H2O", AlkEquivalents: 1, Classes: []Class{OrganicSalt}, Caution: OrganicCaution, AppearsOver: organicHours, Note: acetateNote,
	},
	{Name: "calcium oxide", also: []string{"quicklime"}, Formula: "CaO", AlkEquivalents: 2, Ions: one(units.Calcium), Classes: []Class{Lime}, Caution: quicklimeCaution},
}

// ambiguousSalts are names that leave the water of crystallisation open. The first candidate is the reference
// of the factors in the message.
var ambiguousSalts = []struct {
	name       string
	candidates []string
}{
	{"calcium chloride", []string{"calcium chloride anhydrous", "calcium chloride dihydrate", "calcium chloride hexahydrate"}},
	{"magnesium chloride", []string{"magnesium chloride anhydrous", "magnesium chloride hexahydrate"}},
	{"magnesium sulfate", []string{"magnesium sulfate anhydrous", "magnesium sulfate monohydrate", "magnesium sulfate heptahydrate"}},
	{"strontium chloride", []string{"strontium chloride anhydrous", "strontium chloride dihydrate", "strontium chloride hexahydrate"}},
	{"dipotassium phosphate", []string{"dipotassium phosphate anhydrous", "dipotassium phosphate trihydrate"}},
	{"dipotassium hydrogen phosphate", []string{"dipotassium phosphate anhydrous", "dipotassium phosphate trihydrate"}},
	{"sodium tetraborate", []string{"sodium tetraborate anhydrous", "sodium tetraborate pentahydrate", "sodium tetraborate decahydrate"}},
	{"sodium acetate", []string{"sodium acetate anhydrous", "sodium acetate trihydrate"}},
}
