package stock

import "aliquot/planner/units"

// Class is a kind of content by which solutions are kept apart.
type Class string

// Classes of content.
const (
	Carbonate    Class = "carbonate" // carbonate or bicarbonate
	Hydroxide    Class = "hydroxide"
	Lime         Class = "lime" // calcium hydroxide
	CalciumSalt  Class = "calcium"
	Magnesium    Class = "magnesium"
	Phosphate    Class = "phosphate"
	Strontium    Class = "strontium"
	Metal        Class = "metal"
	Iodide       Class = "iodide"
	Acid         Class = "acid"
	Oxidiser     Class = "oxidiser"
	Sulfate      Class = "sulfate"
	OrganicSalt  Class = "organic" // formate or acetate: takes oxygen while bacteria use it
	NitrogenSalt Class = "nitrate"
)

// AllClasses gives every class in the fixed order in which Classes reports them.
func AllClasses() []Class {
	return []Class{
		Carbonate, Hydroxide, Lime, CalciumSalt, Magnesium, Phosphate, Strontium, Metal, Iodide, Acid, Oxidiser,
		Sulfate, OrganicSalt, NitrogenSalt,
	}
}

// pair is two classes that must not meet undiluted (H-25).
type pair struct {
	a, b   Class
	reason string
}

var pairs = []pair{
	{Carbonate, CalciumSalt, "carbonate and calcium precipitate as calcium carbonate"},
	{Hydroxide, CalciumSalt, "hydroxide and calcium precipitate as calcium carbonate in seawater"},
	{Lime, CalciumSalt, "lime and calcium precipitate as calcium carbonate in seawater"},
	{Carbonate, Lime, "carbonate and lime precipitate as calcium carbonate"},
	{Carbonate, Magnesium, "carbonate and magnesium precipitate"},
	{Hydroxide, Magnesium, "hydroxide and magnesium precipitate as magnesium hydroxide"},
	{Lime, Magnesium, "lime and magnesium precipitate as magnesium hydroxide"},
	{Phosphate, CalciumSalt, "phosphate and calcium precipitate as calcium phosphate"},
	{Phosphate, Lime, "phosphate and lime precipitate as calcium phosphate"},
	{Strontium, Carbonate, "strontium and carbonate precipitate as strontium carbonate"},
	{Metal, Carbonate, "metals and carbonate precipitate"},
	{Metal, Hydroxide, "metals and hydroxide precipitate"},
	{Metal, Lime, "metals and lime precipitate"},
	{Iodide, Oxidiser, "an oxidiser turns iodide into iodine"},
	{Acid, Carbonate, "acid and carbonate neutralise each other and give off carbon dioxide"},
	{Acid, Hydroxide, "acid and hydroxide neutralise each other and heat up"},
	{Acid, Lime, "acid and lime neutralise each other and heat up"},
}

// Incompatible says whether two solutions with these contents must be kept apart in time, and why (H-25). The
// order of the arguments does not matter.
func Incompatible(a, b []Class) (reason string, bad bool) {
	for _, p := range pairs {
		if has(a, p.a) && has(b, p.b) || has(a, p.b) && has(b, p.a) {
			return p.reason, true
		}
	}
	return "", false
}

// Classes gives the contents of a recipe, each once, in the order of AllClasses. Unknown salts add nothing:
// StrengthOf reports them.
func Classes(parts []Part) []Class {
	var found []Class
	for _, p := range parts {
		if s, err := Lookup(p.Salt); err == nil {
			found = append(found, s.Classes...)
		}
	}
	return ordered(found)
}

// ClassesOfClaim gives the contents to assume of a supplement known only by what its label claims to raise. A
// label that claims both alkalinity and calcium cannot hold carbonate, which would have precipitated in the
// bottle: it is taken as an organic calcium salt.
func ClassesOfClaim(quantities []units.Quantity) []Class {
	var found []Class
	alkalinity := false
	for _, q := range quantities {
		switch q {
		case units.Alkalinity:
			alkalinity = true
		case units.Calcium:
			found = append(found, CalciumSalt)
		case units.Magnesium:
			found = append(found, Magnesium)
		case units.Strontium:
			found = append(found, Strontium)
		case units.Phosphate:
			found = append(found, Phosphate)
		case units.Iron:
			found = append(found, Metal)
		case units.Iodide, units.Iodine:
			found = append(found, Iodide)
		case units.Nitrate:
			found = append(found, NitrogenSalt)
		}
	}
	if alkalinity && has(found, CalciumSalt) {
		found = append(found, OrganicSalt)
	} else if alkalinity {
		found = append(found, Carbonate)
	}
	return ordered(found)
}

func ordered(found []Class) []Class {
	var list []Class
	for _, c := range AllClasses() {
		if has(found, c) {
			list = append(list, c)
		}
	}
	return list
}

func has(list []Class, c Class) bool {
	for _, x := range list {
		if x == c {
			return true
		}
	}
	return false
}
