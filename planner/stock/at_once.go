package stock

import "time"

// AtOnce gives the share of a solution's alkalinity that acts as soon as it is mixed in (0..1), and the moles of
// inorganic carbon that come with each equivalent of it (0 hydroxide, 0.5 carbonate, 1 bicarbonate): what decides over
// the pH right after a dose. Organic salts, whose alkalinity appears through bacteria, are not in it. Both are 0 for a
// solution without such alkalinity.
func AtOnce(parts []Part) (share, carbonPerEquivalent float64, err error) {
	var all, atOnce, carbon float64
	for _, p := range parts {
		s, err := Lookup(p.Salt)
		if err != nil {
			return 0, 0, err
		}
		if !(s.AlkEquivalents > 0) {
			continue
		}
		moles := p.pure() / s.MolarMass
		all += moles * s.AlkEquivalents
		if s.AppearsOver == 0 {
			atOnce += moles * s.AlkEquivalents
			carbon += moles * s.CarbonPerMole
		}
	}
	if !(atOnce > 0) {
		return 0, 0, nil
	}
	return atOnce / all, carbon / atOnce, nil
}

// Late gives the share of a solution's alkalinity that appears through bacteria (0..1), and over which time: the longest
// of its salts. Both are 0 for a solution without such alkalinity.
func Late(parts []Part) (share float64, over time.Duration, err error) {
	var all, late float64
	for _, p := range parts {
		s, err := Lookup(p.Salt)
		if err != nil {
			return 0, 0, err
		}
		if !(s.AlkEquivalents > 0) {
			continue
		}
		equivalents := p.pure() / s.MolarMass * s.AlkEquivalents
		all += equivalents
		if s.AppearsOver > 0 {
			late += equivalents
			over = max(over, s.AppearsOver)
		}
	}
	if !(late > 0) {
		return 0, 0, nil
	}
	return late / all, over, nil
}

// LateUsually is the time to take for organic salts of which no time is known: two days (common practice).
const LateUsually = organicHours

// IsLate says whether contents bring alkalinity of which at least a part appears through bacteria.
func IsLate(classes []Class) bool { return has(classes, OrganicSalt) }
