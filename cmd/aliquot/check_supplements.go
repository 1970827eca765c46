package main

import (
	"fmt"

	"aliquot/config"
	"aliquot/planner/stock"
)

// cautions are those that `mix` gives for the same salts, or where it refuses them those of the salts alone, and what
// holds for limewater and for a label's alkalinity that appears late.
func cautions(p config.Supplement) []string {
	out := append([]string{}, stock.Cautions(p.Parts())...)
	if p.Limewater == nil && len(p.Solution) > 0 {
		if r, err := stock.RecipeOf(p.Parts(), 1, roomC); err == nil {
			out = append([]string{}, r.Cautions...)
		}
	}
	if p.Limewater != nil {
		out = append(out, stock.LimewaterCaution)
	}
	if p.LateShare > 0 && len(p.Solution) == 0 {
		out = append(out, stock.OrganicCaution)
	}
	return out
}

// roomC is the temperature at which stock solutions are taken to stand, degC.
const roomC = 20

// dissolving says whether a solution of salts stays dissolved. Limewater is saturated by intent.
func dissolving(p config.Supplement) string {
	salts := p.Parts()
	if len(salts) == 0 || p.Limewater != nil {
		return ""
	}
	d, err := stock.Dissolve(salts, roomC)
	if err != nil {
		return err.Error()
	}
	return fmt.Sprintf("%s: %s", d.Verdict, d.Worst().Steps)
}

// contentsOf is the supplement that a channel doses.
func contentsOf(c *config.Site, ch config.Channel) (config.Supplement, bool) {
	for _, k := range c.Containers {
		for _, p := range c.Supplements {
			if k.ID == ch.Container && p.ID == k.Supplement {
				return p, true
			}
		}
	}
	return config.Supplement{}, false
}

// lateWords says how much of a supplement's alkalinity appears when.
func (p supplementView) lateWords() string {
	share := "all"
	if p.LateShare < 1 {
		share = fmt.Sprintf("%.0f %%", 100*p.LateShare)
	}
	return fmt.Sprintf("%s: %s of its alkalinity appears over %g h (95 %% by then); until then it is not dosed again", p.Supplement, share, p.AppearsOverH)
}

// daysOffSediment are those for which check says what limewater would still have.
const daysOffSediment = 7

// limewater says what each limewater is, and the most that it can do in a day to each system that gets it.
func limewater(l loaded) []string {
	var out []string
	for _, p := range l.Supplements {
		if p.Limewater != nil {
			out = append(out, limewaterWords(p))
		}
	}
	for _, y := range l.Systems {
		told := map[string]bool{}
		for _, ch := range l.Channels {
			if ch.System != y.ID {
				continue
			}
			p, ok := contentsOf(l.Site, ch)
			if !ok || p.Limewater == nil || told[p.ID] {
				continue
			}
			told[p.ID] = true
			if day, err := p.Limewater.PerDay(y.NetLitres, y.Evaporation); err == nil {
				out = append(out, fmt.Sprintf("%s: at most %g L a day, all that evaporates, of %s: alkalinity %+.2f dKH and calcium %+.1f mg/L",
					y.ID, significant(day.MostML/1000), p.ID, day.DKH, day.CalciumMgL))
			}
		}
	}
	return out
}

func limewaterWords(p config.Supplement) string {
	w := p.Limewater
	text := fmt.Sprintf("%s: saturated at %g degC, %.1f meq/L (handbooks: %.1f to %.1f)", p.ID, significant(w.Celsius), w.MeqPerLitre, w.Low, w.High)
	covered, err := w.WeakenedAfter(daysOffSediment, true)
	open, also := w.WeakenedAfter(daysOffSediment, false)
	if err != nil || also != nil {
		return text
	}
	return text + fmt.Sprintf("; it weakens in air and is counted in full: after %d days off its sediment about %.0f meq/L covered, %.0f open",
		daysOffSediment, covered.MeqPerLitre, open.MeqPerLitre)
}

// doses says whether a system gets alkalinity from a channel of ours that leaves salt behind; limewater leaves none.
func doses(l loaded, system string) bool {
	for _, ch := range l.Channels {
		if ch.System != system {
			continue
		}
		if p, found := contentsOf(l.Site, ch); found && p.Limewater == nil {
			if _, ok := channelAcidity(l.Site, ch); ok {
				return true
			}
		}
	}
	return false
}

// creepOf says how much salt each dKH a day leaves behind, where a system is dosed with alkalinity from sodium salts.
func creepOf(y config.System) string {
	c, err := stock.SalinityCreep(y.NetLitres, 1, 0)
	if err != nil {
		return ""
	}
	return fmt.Sprintf("%s: each dKH a day from a sodium salt, with the calcium chloride that goes with it, leaves %.0f g of salt a month, %.2f psu; taking out and replacing %.1f L by fresh water a month holds it", y.ID, c.GramsPerMonth, c.PSUPerMonth, c.FreshLitresPerMonth)
}
