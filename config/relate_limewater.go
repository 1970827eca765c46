package config

import (
	"fmt"
	"math"

	"aliquot/safety"
)

// checkLimewater holds all limewater of a system within what evaporates from it: more would make the water fresher, and
// the gate counts per_day whoever asks for a run.
func (p *plant) checkLimewater() {
	for i := range p.site.Systems {
		p.checkLimewaterOf(&p.site.Systems[i])
	}
}

func (p *plant) checkLimewaterOf(s *System) {
	sum, names := safety.Microlitres(0), []string{}
	for _, c := range p.pumps {
		if c.system != s || c.stock == nil || c.stock.Limewater == nil {
			continue
		}
		if _, there := p.places["systems."+s.ID+".evaporation"]; !there {
			p.at("systems."+s.ID+".evaporation", fmt.Sprintf("this key is missing, and the channel %s doses limewater", c.ID),
				"limewater replaces evaporation and nothing else", "say what evaporates, such as 3 L/day")
			return
		}
		before := sum
		sum += c.Limits.PerDay
		names = append(names, c.ID)
		if s.Evaporation == 0 || sum.Millilitres() <= s.Evaporation*(1+1e-9) {
			continue
		}
		found := fmt.Sprintf("per_day of limewater is %v", c.Limits.PerDay)
		if before > 0 {
			found = fmt.Sprintf("per_day of limewater is %v together (%s)", sum, joined(names))
		}
		p.at(c.path+".limits.per_day", fmt.Sprintf("%s, %s loses %s mL/day by evaporation", found, s.ID, num(math.Floor(s.Evaporation))),
			"per_day must not exceed evaporation", "what is more makes the water fresher: lower per_day")
		return
	}
}
