package machine

import (
	"fmt"
	"sort"
	"strings"

	"aliquot/planner"
	"aliquot/safety"
)

// A configuration may lower what bounds the doses at any time. What it raises waits for the keeper: a slip of a digit
// reads like any other number (H-36). The first configuration that a ledger sees is taken as it is.

// How far a number may move without a word. Our own choice.
const (
	volumeChange = 0.10 // the volume of a system, up or down: each dose goes by it (H-33)
	dailyChange  = 0.25 // what is given in a day whatever the tests say, up
)

// bound is one number that waits for a word when it is raised.
type bound struct {
	key     string // as in the configuration
	unit    string
	value   float64
	scope   Scope
	more    float64 // how far it may rise without a word, as a share
	less    float64 // and fall; 0: as far as it likes
	appears bool    // that it is there at all, where the channel was there without it, needs a word
}

// bounds lists them in the order of the configuration.
func (s *Site) bounds() []bound {
	var out []bound
	for _, y := range s.Systems {
		at := Scope{System: y.ID}
		out = append(out, bound{key: "systems." + y.ID + ".net_volume", unit: "L", value: y.NetLitres, scope: at, more: volumeChange, less: volumeChange})
		for _, g := range y.Targets {
			if g.MaxDose > 0 {
				out = append(out, bound{key: fmt.Sprintf("systems.%s.quantities.%s.max_dose", y.ID, g.Quantity), unit: g.Quantity.Unit() + "/day", value: g.MaxDose, scope: at})
			}
		}
	}
	for i := range s.Channels {
		out = append(out, s.Channels[i].bounds()...)
	}
	return out
}

func (c *Channel) bounds() []bound {
	at, path := Scope{Channel: c.ID}, "channels."+c.ID
	most := func(key string, v safety.Microlitres) bound {
		return bound{key: path + key, unit: "mL", value: v.Millilitres(), scope: at}
	}
	out := []bound{most(perRunKey, c.Limits.PerRun), most(".limits.per_day", c.Limits.PerDay),
		most(".attended.per_run", c.Limits.AttendedPerRun), most(".attended.per_day", c.Limits.AttendedPerDay)}
	daily := func(key, unit string, v float64, appears bool) {
		out = append(out, bound{key: path + key, unit: unit, value: v, scope: at, more: dailyChange, appears: appears})
	}
	switch c.Mode {
	case planner.Fixed:
		daily(".fixed", "mL/day", c.FixedPerDay, true)
	case planner.Share:
		daily(".share.ratio", "mL for one mL", c.ShareRatio, true)
	}
	if c.Base != nil {
		daily(".base", "mL/day", c.Base.Millilitres(), false)
	}
	return out
}

// perRunKey is a key that every channel has.
const perRunKey = ".limits.per_run"

// needsWord says whether a value may not replace the accepted one without the keeper's word.
func (b bound) needsWord(accepted float64) bool {
	if b.less > 0 && b.value < accepted*(1-b.less) {
		return true
	}
	return !(b.value <= accepted*(1+b.more))
}

// compareBounds gives what is accepted from now on, and for each scope what waits. A value that waits keeps the one that
// was accepted, and so does a key that the site no longer has: to leave a channel out and put it back changes nothing.
// A small move keeps the accepted one too, so that many small ones do not add up.
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
		case !known && b.appears && s.hadChannel(b.scope):
			waiting[b.scope] = strings.TrimPrefix(waiting[b.scope]+"; "+fmt.Sprintf("%s is new: %g %s", b.key, b.value, b.unit), "; ")
		case !known || (b.less == 0 && b.value <= old):
			accepted[b.key] = b.value
		}
	}
	return accepted, waiting
}

// hadChannel says whether an earlier configuration had a channel.
func (s *State) hadChannel(at Scope) bool {
	_, known := s.bounds["channels."+at.Channel+perRunKey]
	return known
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
