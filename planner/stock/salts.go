package stock

import (
	"time"

	"aliquot/planner/units"
)

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
	// Waters is the moles of water of crystallisation in one mole.
	Waters int
	// CarbonPerMole is the moles of inorganic carbon that one mole brings in the end: an organic anion becomes
	// carbon dioxide and bicarbonate.
	CarbonPerMole float64
	// AppearsOver is how long the alkalinity takes to appear, 0 = at once. Two days for organic salts are common
	// practice.
	AppearsOver time.Duration
	// Note explains what is not plain about what the salt brings; empty if nothing.
	Note string
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
	irritantCaution  = "irritates eyes: goggles"
	iodideCaution    = "keep it dark and closed; harmful in quantity: gloves"
	nitrateCaution   = "the dry salt feeds fire: keep it away from anything that burns"
	quicklimeCaution = causticCaution + "; quicklime boils small amounts of water: only pinches into plenty of cold water"
	fluorideCaution  = "toxic if swallowed or breathed in: gloves, no dust, locked away"
	alkalineCaution  = "alkaline in water: irritates eyes and skin, goggles and gloves"
	boricCaution     = "harmful if swallowed or breathed in as dust: gloves, no dust; no calcium or magnesium in the same container"
)

// OrganicCaution is what holds for alkalinity that appears through bacteria, whatever salt brings it.
const OrganicCaution = "its alkalinity appears through bacteria within hours to two days and takes oxygen: strong aeration"

// Notes that explain a figure.
const (
	borateNote   = "one mole of tetraborate becomes two of borate, which count as alkalinity, and two of boric acid, which do not; a supplement of it shifts the share of borate in the system's alkalinity"
	hpo4Note     = "HPO4 counts as one equivalent of alkalinity by Dickson's definition, H2PO4 as none"
	acetateNote  = "a titration sees only part of the acetate itself; bacteria turn it into bicarbonate, one equivalent each"
	formateNote  = "formate itself is no alkalinity to a titration; bacteria turn it into bicarbonate, one equivalent each"
	organicHours = 48 * time.Hour
)

func one(q units.Quantity) []Ion { return []Ion{{q, 1}} }

func two(a, b units.Quantity) []Ion { return []Ion{{a, 1}, {b, 1}} }
