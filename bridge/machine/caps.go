package machine

import (
	"fmt"
	"sort"
	"strings"

	"aliquot/safety"
)

// A configuration may lower what bounds the doses at any time. What it raises waits for the keeper: a slip of a digit
// reads like any other number (H-36). The first configuration that a ledger sees is taken as it is.

// volumeChange is how far the volume of a system may move without a word, percent, up or down: each dose goes by it
// (H-33). Our own choice.
const volumeChange = 10

// bound is one number that waits for a word when it is raised.
type bound struct {
	key   string // as in the configuration
	unit  string
	value float64
	scope Scope
	near  bool // a volume of water: it may move a little either way
}

// bounds lists them in the order of the configuration.
func (s *Site) bounds() []bound {
	var out []bound
	for _, y := range s.Systems {
		at := Scope{System: y.ID}
		out = append(out, bound{"systems." + y.ID + ".net_volume", "L", y.NetLitres, at, true})
		for _, g := range y.Targets {
			if g.MaxDose > 0 {
				out = append(out, bound{fmt.Sprintf("systems.%s.quantities.%s.max_dose", y.ID, g.Quantity), g.Quantity.Unit() + "/day", g.MaxDose, at, false})
			}
		}
	}
	for _, c := range s.Channels {
		at, path := Scope{Channel: c.ID}, "channels."+c.ID
		out = append(out, bound{path + ".limits.per_run", "mL", c.Limits.PerRun.Millilitres(), at, false},
			bound{path + ".limits.per_day", "mL", c.Limits.PerDay.Millilitres(), at, false},
			bound{path + ".attended.per_run", "mL", c.Limits.AttendedPerRun.Millilitres(), at, false},
			bound{path + ".attended.per_day", "mL", c.Limits.AttendedPerDay.Millilitres(), at, false})
	}
	return out
}

// needsWord says whether a value may not replace the accepted one without the keeper's word.
func (b bound) needsWord(accepted float64) bool {
	if b.near && b.value < accepted*(1-volumeChange/100.) {
		return true
	}
	if b.near {
		accepted *= 1 + volumeChange/100.
	}
	return !(b.value <= accepted)
}

// compareBounds gives what is accepted from now on, and for each scope what waits. A value that waits keeps the one that
// was accepted, and so does a key that the site no longer has: to leave a channel out and put it back changes nothing.
// A small move of a volume keeps the accepted one too, so that many small ones do not add up.
func (s *State) compareBounds() (accepted map[string]float64, waiting map[Scope]string) {
	accepted, waiting = map[string]float64{}, map[Scope]string{}
	for key, v := range s.bounds {
		accepted[key] = v
	}
	for _, b := range s.site.bounds() {
		old, known := s.bounds[b.key]
		switch {
		case known && b.needsWord(old):
			waiting[b.scope] = strings.TrimPrefix(waiting[b.scope]+"; "+fmt.Sprintf("%s was %g %s and is %g %s", b.key, old, b.unit, b.value, b.unit), "; ")
		case !known || !b.near:
			accepted[b.key] = b.value
		}
	}
	return accepted, waiting
}

// guardBounds locks out what waits, and lets go of what no longer does.
func (t *turn) guardBounds(waiting map[Scope]string) {
	for _, k := range append([]standing(nil), t.standing...) {
		if k.code == safety.NotAccepted && waitingText(waiting[k.Scope]) != k.text {
			t.record(Cleared{Scope: k.Scope, Code: k.code}, "")
		}
	}
	for _, scope := range sortedScopes(waiting) {
		t.lockOut(scope, safety.NotAccepted, waitingText(waiting[scope]))
	}
}

func waitingText(changes string) string {
	if changes == "" {
		return ""
	}
	return changes + ": if that is meant, say accept configuration"
}

func sortedScopes(m map[Scope]string) []Scope {
	var out []Scope
	for scope := range m {
		out = append(out, scope)
	}
	sort.Slice(out, func(i, j int) bool {
		return out[i].System < out[j].System || (out[i].System == out[j].System && out[i].Channel < out[j].Channel)
	})
	return out
}

// acceptConfiguration takes the bounds of the configuration as they are.
func (t *turn) acceptConfiguration(q Request) reply {
	_, waiting := t.compareBounds()
	if len(waiting) == 0 {
		return reply{code: safety.NothingToDo, text: "nothing in the configuration waits to be accepted"}
	}
	accepted := map[string]float64{}
	for key, v := range t.bounds {
		accepted[key] = v
	}
	for _, b := range t.site.bounds() {
		accepted[b.key] = b.value
	}
	t.record(Accepted{What: q.What, Text: q.Text, Bounds: accepted}, q.By)
	t.guardBounds(nil)
	var texts []string
	for _, scope := range sortedScopes(waiting) {
		texts = append(texts, waiting[scope])
	}
	return done("accepted: "+strings.Join(texts, "; "), nil)
}
