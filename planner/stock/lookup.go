package stock

import (
	"fmt"
	"slices"
	"strings"

	"aliquot/planner/nearest"
)

// SaltNames gives the names of the catalogue in a fixed order.
func SaltNames() []string {
	list := make([]string, len(saltTable))
	for i, s := range saltTable {
		list[i] = s.Name
	}
	return list
}

// Lookup finds a salt by its name or by its formula: "epsom salt", "MgSO4·7H2O". Case and the spelling sulphate do
// not matter in names. A name or formula without its water of crystallisation is refused where more than one form
// is sold ("CaCl2 anhydrous" says that there is none), an unknown name with the nearest ones.
func Lookup(name string) (Salt, error) {
	key := saltKey(name)
	for _, s := range saltTable {
		if s.Name == key || slices.Contains(s.also, key) {
			return withMass(s)
		}
	}
	for _, a := range ambiguousSalts {
		if a.name == key {
			return Salt{}, ambiguousError(a.name, a.candidates)
		}
	}
	if s, ok, err := byFormula(name); ok {
		return s, err
	}
	return Salt{}, fmt.Errorf("%q is no known salt; the nearest names are %s", clip(name), strings.Join(nearest.Names(clip(key), SaltNames(), 3), ", "))
}

// withMass fills in the molar mass and copies the slices, so that no caller can change the table.
func withMass(s Salt) (Salt, error) {
	mass, err := MolarMass(s.Formula)
	if err != nil {
		return Salt{}, fmt.Errorf("%s: %w", s.Name, err)
	}
	dry, waters, err := waterOf(s.Formula)
	if err != nil {
		return Salt{}, fmt.Errorf("%s: %w", s.Name, err)
	}
	s.MolarMass, s.Waters, s.CarbonPerMole = mass, waters, float64(dry["C"])
	s.Ions, s.Classes, s.also = slices.Clone(s.Ions), slices.Clone(s.Classes), nil
	return s, nil
}

func saltKey(name string) string {
	s := strings.ToLower(strings.Join(strings.Fields(name), " "))
	return strings.ReplaceAll(s, "sulphate", "sulfate")
}

func ambiguousError(name string, candidates []string) error {
	first, err := Lookup(candidates[0])
	if err != nil {
		return err
	}
	list := make([]string, 0, len(candidates))
	for _, c := range candidates {
		s, err := Lookup(c)
		if err != nil {
			return err
		}
		list = append(list, fmt.Sprintf("%s (%.3f g)", s.Name, s.MolarMass/first.MolarMass))
	}
	return fmt.Errorf("%q leaves the water of crystallisation open; the label says which: the same amount is in %s",
		name, strings.Join(list, ", or "))
}

// clip keeps messages short however long a hostile text is.
func clip(s string) string {
	const most = 60
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
