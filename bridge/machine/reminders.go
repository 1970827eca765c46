package machine

import (
	"strings"
	"time"

	"aliquot/safety"
)

// How often an alert that nobody acknowledged is told again (H-41, INV-13). A critical one is told again soon, then
// each hour; a note about a hold as often as a hold may be long without a second word (H-42). Our own choice.
const (
	remindSoon  = 15 * time.Minute
	remindHour  = time.Hour
	remindDay   = 24 * time.Hour
	remindWeek  = 7 * 24 * time.Hour
	remindHold  = safety.HoldLong
	silenceMost = 24 * time.Hour
	silenceLeft = 2 * time.Hour // the most for a critical one
)

// reminder is when a raised alert was told last. It is known live only: a new process begins to count anew.
type reminder struct {
	level string // it was told on; empty: there is none
	at    time.Duration
	count int
}

// every is how long a reminder waits for the next time.
func (r reminder) every(a *AlertView) time.Duration {
	switch {
	case a.Level == Critical && r.count == 0:
		return remindSoon
	case a.Level == Critical:
		return remindHour
	case a.Level == Warning:
		return remindDay
	case strings.HasPrefix(a.Name, holdAlert):
		return remindHold
	}
	return remindWeek
}

// remind tells alerts again that stand and that nobody has acknowledged, as long as there is somebody to tell, and ends
// silences whose time is over.
func (t *turn) remind() {
	t.endSilences()
	if !t.linkUp && !t.site.Told {
		return
	}
	t.reminders = append(t.reminders, make([]reminder, len(t.alerts)-len(t.reminders))...)
	for i := range t.alerts {
		a := &t.alerts[i]
		if !a.Raised || a.Acknowledged {
			t.reminders[i] = reminder{}
			continue
		}
		r := t.reminder(i)
		if t.now.Mono-r.at >= r.every(a) {
			r.at, r.count = t.now.Mono, r.count+1
			t.do(ShowAlert{a.reminded(r.count)})
			t.log(Warn, "alert stands", "alert", a.Name, "level", a.Level, "reminders", r.count, "text", a.Text)
		}
		t.reminders[i] = r
	}
}

// reminder is that of an alert, by its place, or a new one: an alert that rose or fell to another level begins anew.
func (s *State) reminder(alert int) reminder {
	if level := s.alerts[alert].Level; alert >= len(s.reminders) || s.reminders[alert].level != level {
		return reminder{level: level, at: s.now.Mono}
	}
	return s.reminders[alert]
}

// reminded is the alert as it is told: a count that changes makes it a new message.
func (a AlertView) reminded(count int) AlertView {
	a.Reminders = count
	return a
}

// endSilences takes an acknowledgement back that was given for a while.
func (t *turn) endSilences() {
	for _, a := range t.alerts {
		if a.Raised && a.Acknowledged && a.silentEnds > 0 && a.silentEnds <= t.clock.Now() {
			t.changeAlert(AlertChanged{Name: a.Name, Level: a.Level, Raised: true, Text: a.Text}, "")
		}
	}
}

// silence reads for how long an acknowledgement shall hold; 0 means until the alert is over.
func (t *turn) silence(q Request, a *AlertView) (time.Duration, *reply) {
	if q.Minutes == nil {
		return 0, nil
	}
	most := silenceMost
	if a.Level == Critical {
		most = silenceLeft
	}
	if !(*q.Minutes > 0 && *q.Minutes <= most.Minutes()) {
		return 0, no(safety.OutOfRange, "minutes must be above 0 and at most %g for an alert of level %s", most.Minutes(), a.Level)
	}
	return time.Duration(*q.Minutes * float64(time.Minute)), nil
}

// holdAlert begins the name of the note about a hold.
const holdAlert = "hold-"

// holdConditions speaks of holds that have stood for long: whoever set one may have forgotten it.
func (t *turn) holdConditions(add adder) {
	for _, h := range t.holds {
		if t.clock.Now()-h.begun >= elapsed(safety.HoldLong) {
			add(holdAlert+scopeName(h.Scope), Notice, "%s is on hold until %s: %s", h.Scope, t.local(h.Until), h.Reason)
		}
	}
}
