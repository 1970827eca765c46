package stock

import (
	"fmt"
	"maps"
	"strings"

	"aliquot/planner/units"
)

// byFormula finds a salt by its atoms, so that CH3COONa and NaC2H3O2 are the same. ok is false if the text is no
// formula of a known salt, with any water.
func byFormula(text string) (s Salt, ok bool, err error) {
	text, dryMeant := cutAnhydrous(text)
	dry, waters, err := waterOf(text)
	if err != nil {
		return Salt{}, false, nil // no formula: a name, then
	}
	if dryMeant && waters != 0 {
		return Salt{}, true, fmt.Errorf("%q is called anhydrous and names %d waters; say which", clip(text), waters)
	}
	forms := formsOf(dry)
	if len(forms) == 0 {
		return Salt{}, false, nil
	}
	for _, f := range forms {
		if f.Waters != waters {
			continue
		}
		if names := candidatesOf(f.Name); waters == 0 && !dryMeant && len(names) > 0 {
			return Salt{}, true, ambiguousError(clip(text), names)
		}
		return f, true, nil
	}
	names := make([]string, len(forms))
	for i, f := range forms {
		names[i] = f.Formula
	}
	return Salt{}, true, fmt.Errorf("%q: this salt is not known with %d waters; known are %s", clip(text), waters, strings.Join(names, ", "))
}

// cutAnhydrous takes the word off a formula: "CaCl2 anhydrous".
func cutAnhydrous(text string) (rest string, found bool) {
	var keep []string
	for _, w := range strings.Fields(text) {
		if strings.EqualFold(w, "anhydrous") {
			found = true
		} else {
			keep = append(keep, w)
		}
	}
	return strings.Join(keep, " "), found
}

// formsOf gives the catalogue's salts with these atoms besides water, in its order.
func formsOf(dry map[string]int) []Salt {
	var list []Salt
	for _, entry := range saltTable {
		if found, _, err := waterOf(entry.Formula); err == nil && maps.Equal(found, dry) {
			if s, err := withMass(entry); err == nil {
				list = append(list, s)
			}
		}
	}
	return list
}

// candidatesOf gives what a salt's name without its water could mean, nil if that name is plain.
func candidatesOf(name string) []string {
	for _, a := range ambiguousSalts {
		for _, c := range a.candidates {
			if c == name {
				return a.candidates
			}
		}
	}
	return nil
}

// Form is one of the forms in which a salt is sold.
type Form struct {
	Salt Salt
	// Grams of it hold as much as 1 g of the salt that was asked for.
	Grams float64
}

// Forms gives every form of the named salt with the grams that stand for 1 g of it: for calcium chloride dihydrate 0.755
// of the anhydrous salt and 1.490 of the hexahydrate.
func Forms(name string) ([]Form, error) {
	s, err := Lookup(name)
	if err != nil {
		return nil, err
	}
	dry, _, err := waterOf(s.Formula)
	if err != nil {
		return nil, err
	}
	var list []Form
	for _, f := range formsOf(dry) {
		list = append(list, Form{f, f.MolarMass / s.MolarMass})
	}
	return list, nil
}

// HydrateMistake is what happens when one form of a salt is weighed for another: the solution has Factor times the
// intended strength.
type HydrateMistake struct {
	Factor float64
	Text   string
}

// MistakenHydrate compares the form that a recipe means with the one in the jar (H-33). It refuses two different
// salts.
func MistakenHydrate(meant, weighed string) (HydrateMistake, error) {
	a, err := Lookup(meant)
	if err != nil {
		return HydrateMistake{}, err
	}
	b, err := Lookup(weighed)
	if err != nil {
		return HydrateMistake{}, err
	}
	dryA, _, errA := waterOf(a.Formula)
	dryB, _, errB := waterOf(b.Formula)
	if errA != nil || errB != nil || !maps.Equal(dryA, dryB) {
		return HydrateMistake{}, fmt.Errorf("%s and %s are not forms of one salt", a.Name, b.Name)
	}
	m := HydrateMistake{Factor: a.MolarMass / b.MolarMass}
	switch {
	case a.Name == b.Name:
		m.Text = fmt.Sprintf("%s is what the recipe means", b.Name)
	default:
		m.Text = fmt.Sprintf("with %s instead of %s the solution has %.3f times the strength (%+.1f %%); take %.3f g for each gram of the recipe",
			b.Name, a.Name, m.Factor, (m.Factor-1)*100, 1/m.Factor)
	}
	return m, nil
}

// Brings is what one gram of a pure salt brings.
type Brings struct {
	AlkalinityMeq float64 // meq
	Ions          []IonMass
	// CarbonPerEquivalent is moles of inorganic carbon for each equivalent of alkalinity: 1 for bicarbonate, which lowers
	// pH a little at first, 0.5 for carbonate, 0 for hydroxide, which raise it; 0 without alkalinity.
	CarbonPerEquivalent float64
}

// IonMass is mg of what a quantity counts.
type IonMass struct {
	Quantity   units.Quantity
	Milligrams float64
}

// PerGram gives what 1 g of the salt brings.
func (s Salt) PerGram() Brings {
	b := Brings{AlkalinityMeq: 1000 * s.AlkEquivalents / s.MolarMass}
	if s.AlkEquivalents > 0 {
		b.CarbonPerEquivalent = s.CarbonPerMole / s.AlkEquivalents
	}
	for _, ion := range s.Ions {
		mass, _ := units.IonMass(ion.Quantity)
		b.Ions = append(b.Ions, IonMass{ion.Quantity, 1000 * ion.PerMole * mass / s.MolarMass})
	}
	return b
}
