package config

import (
	"fmt"
	"time"

	"aliquot/planner/stock"
	"aliquot/planner/units"
)

// Bounds of appears_over: bacteria take hours to two days (common practice); twice that is the most.
const (
	minAppears = time.Hour
	maxAppears = 96 * time.Hour
)

// Bounds of the water that stands over lime, degC, as planner/stock knows its solubility.
const leastLimeC, mostLimeC = 15, 30

// readLimewater reads a saturated solution: its strength follows from its temperature.
func readLimewater(v value, s *Supplement) {
	m, ok := v.open()
	if !ok {
		return
	}
	var celsius float64
	if !take(m, "temperature", &celsius, measure(units.ParseTemperature, leastLimeC, mostLimeC, "degC")) {
		return
	}
	w, err := stock.SaturatedLimewater(celsius)
	if err != nil {
		v.problem(err.Error(), v.wantedType(), "")
		return
	}
	s.Limewater = &w
	for _, p := range w.Parts() {
		s.Solution = append(s.Solution, Salt{p.Salt, p.GramsPerLitre, p.Purity})
	}
	if s.Strength, err = stock.StrengthOf(s.Parts()); err != nil {
		v.problem(err.Error(), "", "")
		return
	}
	s.Classes = stock.Classes(s.Parts())
}

// readAppears reads over which time alkalinity appears that is not there at once. Without the key organic salts take
// stock.LateUsually, and that is said.
func readAppears(m mapping, s *Supplement) {
	take(m, "appears_over", &s.AppearsOver, duration(minAppears, maxAppears))
	if s.Strength == nil {
		return // what is wrong with it is reported where it stands
	}
	share, why := lateShare(*s)
	v, declared := m.get("appears_over")
	switch {
	case declared && share == 0:
		v.problem("appears_over has no meaning here: "+why, "only alkalinity that bacteria set free appears late", "remove it")
		return
	case !declared && share > 0 && stock.IsLate(s.Classes):
		s.AppearsOver = stock.LateUsually
		m.r.warn(childPath(m.path, "appears_over"), "not declared", fmt.Sprintf("the alkalinity of organic salts is taken to appear over %s", span(stock.LateUsually)), "")
	}
	if s.AppearsOver > 0 {
		s.LateShare = share
	}
}

// lateShare is the share of a supplement's alkalinity that may appear late; where it is 0, why says the reason. What a
// label's alkalinity comes from is not known, so that all of it may.
func lateShare(s Supplement) (share float64, why string) {
	if !(s.Strength[units.Alkalinity] > 0) {
		return 0, "the supplement brings no alkalinity"
	}
	if s.Solution == nil {
		return 1, ""
	}
	share, _, err := stock.Late(s.Parts())
	if err != nil || !(share > 0) {
		return 0, "all of its alkalinity is there at once"
	}
	return share, ""
}
