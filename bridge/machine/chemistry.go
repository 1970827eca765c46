package machine

import (
	"fmt"
	"strings"
	"time"

	"aliquot/planner/estimate"
	"aliquot/planner/seawater"
	"aliquot/planner/stock"
	"aliquot/planner/units"
	"aliquot/safety"
)

// Water is what the equilibria of a system depend on where no probe or test says better.
type Water struct {
	System      string
	Salinity    seawater.PSU
	Temperature seawater.Celsius
}

// waterOf is the water of a system; zero if nothing is known of it.
func (s *Site) waterOf(system string) Water {
	for _, w := range s.Waters {
		if w.System == system {
			return w
		}
	}
	return Water{System: system}
}

// chemistry is what the tests and probes of a system mean together. It is worked out now and then, decides over no
// dose but the size of a run, and is known live only.
type chemistry struct {
	water       Water
	unbalanced  bool // the measured uses cannot all be true, or could not and hardly can
	balance     *BalanceView
	aragonite   *float64 // saturation of aragonite, now; nil: not known
	high        safety.Interlock
	higher      safety.Interlock
	unknown     bool           // the saturation is not known,
	unknownFrom safety.Elapsed // since then
}

// chemistryEvery is how often saturations and measured bounds of runs are worked out.
const chemistryEvery = time.Minute

// lookAtChemistry works out what the water says: saturations every minute, the balance of uses after each plan.
func (t *turn) lookAtChemistry() {
	if t.chemistryMono == 0 {
		t.restoreChemistry()
	}
	if !t.lastPlan.Equal(t.balancedAt) && t.clock.Trusted() {
		t.balancedAt = t.lastPlan
		for i := range t.systems {
			t.lookAtBalance(&t.systems[i])
		}
	}
	if t.chemistryMono != 0 && t.now.Mono-t.chemistryMono < chemistryEvery {
		return
	}
	t.chemistryMono = max(1, t.now.Mono)
	for i := range t.systems {
		t.lookAtSaturation(&t.systems[i])
	}
	t.measureRuns()
}

// restoreChemistry takes up what the last process had raised: a restart is no reason to believe that it is over.
func (t *turn) restoreChemistry() {
	for i := range t.systems {
		y := &t.systems[i]
		if a := t.alert(balanceAlert(y)); a != nil {
			y.unbalanced = a.Raised
		}
		if a := t.alert(aragoniteAlert(y)); a != nil {
			y.high.Active, y.higher.Active = a.Raised, a.Raised && a.Level == Warning
		}
	}
}

func balanceAlert(y *systemState) string   { return "ionic-balance-" + y.cfg.ID }
func aragoniteAlert(y *systemState) string { return "aragonite-high-" + y.cfg.ID }

func (t *turn) chemistryConditions(y *systemState, add adder) {
	if y.unbalanced {
		add(balanceAlert(y), Warning, "%s: %s", y.cfg.ID, y.balance.text())
	}
	switch {
	case y.higher.Active:
		add(aragoniteAlert(y), Warning, "%s: %s, and was above %g for %.0f h: carbonate may precipitate on pumps and heaters; look at pH, alkalinity and calcium. This ends below %g",
			y.cfg.ID, saturationText(y.aragonite), aragoniteWarning, aragoniteHold.Hours(), aragoniteWarningOver)
	case y.high.Active:
		add(aragoniteAlert(y), Notice, "%s: %s; above %g is high. This ends below %g", y.cfg.ID, saturationText(y.aragonite), aragoniteNote, aragoniteNoteOver)
	}
}

// What a use must rest on before uses are compared. Our own choice.
const (
	balanceTests      = 3
	balanceSpan       = 14 * 24 * time.Hour
	balanceConfidence = 0.95
	balanceOver       = 0.80 // an alert ends when not even this confidence calls the uses impossible
)

// BalanceView is whether the measured uses of a system can all be true.
type BalanceView struct {
	Wrong    bool          `json:"wrong"`
	Findings []FindingView `json:"findings"`
}

// FindingView is one thing that the measured uses say.
type FindingView struct {
	Kind stock.BalanceKind `json:"kind"`
	Text string            `json:"text"`
}

// text puts what was found wrong into one line. Where something is, only the part of nitrate stands beside it.
func (v *BalanceView) text() string {
	if v == nil {
		return ""
	}
	var out []string
	for _, f := range v.Findings {
		if f.Kind != stock.NitratePart {
			out = append(out, f.Text)
		}
	}
	return strings.Join(out, "; ")
}

func (s *State) systemView(y *systemState) SystemView {
	v := SystemView{ID: y.cfg.ID, NetL: y.cfg.NetLitres, Withheld: s.systemBlocks(y), HoldUntil: s.holdUntil(Scope{System: y.cfg.ID})}
	if b := y.balance; b != nil {
		v.Balance = &BalanceView{Wrong: b.Wrong, Findings: append([]FindingView{}, b.Findings...)}
	}
	if y.aragonite != nil {
		omega := *y.aragonite
		v.AragoniteSaturation = &omega
	}
	return v
}

// lookAtBalance compares the uses. What cannot be compared any more is not called wrong any longer.
func (t *turn) lookAtBalance(y *systemState) {
	uses, ok := t.uses(y, t.wall())
	if !ok {
		y.balance, y.unbalanced = nil, false
		return
	}
	y.judge(uses)
}

// judge says whether uses cannot be true, with the alert's hysteresis.
func (y *systemState) judge(uses stock.Uses) {
	y.balance = balanceOf(uses)
	switch {
	case y.balance == nil:
		y.unbalanced = false
	case y.balance.Wrong:
		y.unbalanced = true
	case y.unbalanced:
		b, err := stock.Check(uses, balanceOver)
		y.unbalanced = err == nil && b.Wrong()
	}
}

// balanceOf is nil where the uses are no numbers that can be compared.
func balanceOf(uses stock.Uses) *BalanceView {
	b, err := stock.Check(uses, balanceConfidence)
	if err != nil {
		return nil
	}
	v := &BalanceView{Wrong: b.Wrong(), Findings: []FindingView{}}
	for _, f := range b.Findings {
		v.Findings = append(v.Findings, FindingView{f.Kind, f.Text})
	}
	return v
}

// uses gathers what a system was found to use. Nitrate counts only where nobody doses it.
func (s *State) uses(y *systemState, at time.Time) (stock.Uses, bool) {
	alk, ok := y.use(units.Alkalinity, at)
	ca, also := y.use(units.Calcium, at)
	if !ok || !also {
		return stock.Uses{}, false
	}
	u := stock.Uses{Alkalinity: alk, Calcium: ca}
	if mg, ok := y.use(units.Magnesium, at); ok {
		u.Magnesium = &mg
	}
	if no3, ok := y.use(units.Nitrate, at); ok && !s.brings(y, units.Nitrate) {
		u.NitrateRise = &stock.Use{PerDay: -no3.PerDay, SD: no3.SD}
	}
	return u, true
}

// use is the estimated use of a quantity, if it rests on enough tests over enough days.
func (y *systemState) use(q units.Quantity, at time.Time) (stock.Use, bool) {
	e := y.filter.At(at, q)
	if !e.Known || e.TestsUsed < balanceTests || e.LastAccepted.Sub(e.FirstAccepted) < balanceSpan {
		return stock.Use{}, false
	}
	return stock.Use{PerDay: e.Use, SD: e.ConsumptionSD}, true
}

// brings says whether a channel of the system brings a quantity.
func (s *State) brings(y *systemState, q units.Quantity) bool {
	for _, i := range s.index.into[y.cfg.ID] {
		if s.strength(&s.channels[i])[q] != 0 {
			return true
		}
	}
	return false
}

// level is the estimated level of a quantity that has a target, unless the last test of it is stale.
func (y *systemState) level(q units.Quantity, at time.Time) (float64, bool) {
	for _, g := range y.cfg.Targets {
		if g.Quantity != q {
			continue
		}
		e := y.filter.At(at, q)
		level := e.LevelNow()
		return level, fresh(e, g.Test.StaleAfter, at) && level > 0
	}
	return 0, false
}

func fresh(e estimate.Estimate, staleAfter time.Duration, at time.Time) bool {
	return e.Known && (staleAfter == 0 || at.Sub(e.LastAccepted) <= staleAfter)
}

// chemistryNotes says what the tests and readings of a history mean together, and which runs are smaller for it.
func (s *State) chemistryNotes(at time.Time) []string {
	var out []string
	for i := range s.systems {
		y := &s.systems[i]
		if uses, ok := s.uses(y, at); ok {
			if b := balanceOf(uses); b != nil {
				for _, f := range b.Findings {
					out = append(out, "system "+y.cfg.ID+": "+f.Text)
				}
			}
		}
		if omega, ok := s.saturation(y, at); ok && omega > aragoniteNote {
			out = append(out, fmt.Sprintf("system %s: %s; above %g is high", y.cfg.ID, saturationText(&omega), aragoniteNote))
		}
	}
	for i := range s.channels {
		if note := s.gentleNote(&s.channels[i]); note != "" {
			out = append(out, note)
		}
	}
	return out
}
