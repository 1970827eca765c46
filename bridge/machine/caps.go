package machine

import (
	"fmt"
	"sort"
	"strings"
	"time"

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
	date    bool    // it is a date, in days since 1970
	exact   bool    // any other value needs a word
}

// say puts a value of the bound into words.
func (b bound) say(v float64) string {
	if b.date {
		return time.Unix(int64(v)*24*60*60, 0).UTC().Format(time.DateOnly)
	}
	return fmt.Sprintf("%g %s", v, b.unit)
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
	for _, b := range c.courseBounds() {
		if b.value > 0 {
			out = append(out, b)
		}
	}
	return out
}

// courseBounds lists what may bound a course; 0: it does not. Another first day begins another course, which forgets what
// was given of this one.
func (c *Channel) courseBounds() []bound {
	day := func(t time.Time) float64 {
		if t.IsZero() {
			return 0
		}
		return float64(t.Unix() / (24 * 60 * 60))
	}
	at, path := Scope{Channel: c.ID}, "channels."+c.ID+".course"
	return []bound{
		{key: path + ".from", value: day(c.Course.From), scope: at, date: true, exact: true},
		{key: path + ".until", value: day(c.Course.Until), scope: at, date: true},
		{key: path + ".total", unit: "mL", value: c.Course.Total.Millilitres(), scope: at},
	}
}

// goneBounds lists those that were accepted and that a channel, which is still there, no longer has.
func (s *State) goneBounds() []bound {
	var out []bound
	for i := range s.site.Channels {
		for _, b := range s.site.Channels[i].courseBounds() {
			if _, known := s.bounds[b.key]; known && b.value == 0 {
				out = append(out, b)
			}
		}
	}
	return out
}

// perRunKey is a key that every channel has.
const perRunKey = ".limits.per_run"

// needsWord says whether a value may not replace the accepted one without the keeper's word.
func (b bound) needsWord(accepted float64) bool {
	if b.exact {
		return b.value != accepted
	}
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
	waits := func(b bound, format string, args ...any) {
		waiting[b.scope] = strings.TrimPrefix(waiting[b.scope]+"; "+b.key+fmt.Sprintf(format, args...), "; ")
	}
	for _, b := range s.site.bounds() {
		old, known := s.bounds[b.key]
		switch {
		case known && b.needsWord(old):
			waits(b, " was %s and is %s", b.say(old), b.say(b.value))
		case !known && b.appears && s.hadChannel(b.scope):
			waits(b, " is new: %s", b.say(b.value))
		case !known || (b.less == 0 && b.value <= old):
			accepted[b.key] = b.value
		}
	}
	for _, b := range s.goneBounds() {
		waits(b, " was %s and is gone", b.say(s.bounds[b.key]))
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
	for _, b := range t.goneBounds() {
		delete(accepted, b.key)
	}
	t.record(Accepted{What: q.What, Text: q.Text, Bounds: accepted}, q.By)
	t.guardBounds(nil)
	var texts []string
	for _, scope := range sortedScopes(waiting) {
		texts = append(texts, waiting[scope])
	}
	return done("accepted: "+strings.Join(texts, "; "), nil)
}
