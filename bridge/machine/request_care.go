package machine

import (
	"fmt"
	"slices"
	"time"

	"aliquot/safety"
)

// askHold pauses a scope. A hold always ends; one longer than four hours is confirmed when it is set (H-42).
func (t *turn) askHold(q Request) reply {
	scope, bad := t.theScope(q)
	if bad != nil {
		return *bad
	}
	length := safety.HoldDefault
	switch {
	case q.Minutes != nil && *q.Minutes == 0:
		return t.askRelease(q)
	case q.Minutes != nil:
		if !(*q.Minutes > 0 && *q.Minutes <= safety.HoldMax.Minutes()) {
			return *no(safety.OutOfRange, "minutes must be above 0 and at most %g, or 0 to end the hold; for longer take it out of service", safety.HoldMax.Minutes())
		}
		length = time.Duration(*q.Minutes * float64(time.Minute))
	case q.Until != nil:
		length = q.Until.Sub(t.wall())
	}
	switch {
	case length <= 0:
		return *no(safety.InThePast, "the hold would end in the past")
	case length > safety.HoldMax:
		return *no(safety.OutOfRange, "a hold lasts at most 24 h; for longer take it out of service")
	case length > safety.HoldLong && !q.Confirm:
		return *no(safety.NeedsConfirm, "a hold of %s ends by itself, and nothing missed is made up; send it again with \"confirm\": true", length.Round(time.Minute))
	}
	reason := q.Reason
	if reason == "" {
		reason = "no reason given"
	}
	until := t.wall().Add(length)
	t.record(Hold{Scope: scope, Reason: reason, Until: until, Length: safety.MillisecondsUp(length)}, q.By)
	t.stopScope(scope)
	return done(fmt.Sprintf("hold on %s until %s", scope, t.local(until)), HoldResult{Until: until})
}

// HoldResult is the result of the request `hold`.
type HoldResult struct {
	Until time.Time `json:"until"`
}

// stopScope stops what runs in a scope.
func (t *turn) stopScope(scope Scope) {
	for i := range t.channels {
		if c := &t.channels[i]; scope.covers(c) {
			t.stopOutput(c.cfg, "*")
		}
	}
}

func (t *turn) askRelease(q Request) reply {
	scope, bad := t.theScope(q)
	if bad != nil {
		return *bad
	}
	before := len(t.holds)
	ended := 0
	for _, h := range t.holds {
		if (scope == Scope{}) || h.Scope == scope {
			ended++
		}
	}
	if ended == 0 {
		text := fmt.Sprintf("there is no hold on %s", scope)
		if before > 0 {
			text += fmt.Sprintf("; there is one on %s", t.holds[0].Scope)
		}
		return reply{code: safety.NothingToDo, text: text}
	}
	t.record(Release{Scope: scope}, q.By)
	return done(fmt.Sprintf("%s is released; what was missed is not made up", scope), nil)
}

func (t *turn) askOutOfService(q Request) reply {
	scope, bad := t.theScope(q)
	if bad != nil {
		return *bad
	}
	if q.Reason == "" {
		return *no(safety.BadPayload, "reason is missing: whoever finds it out of service will want to know")
	}
	t.record(OutOfService{Scope: scope, Reason: "out of service: " + q.Reason}, q.By)
	t.stopScope(scope)
	return done(fmt.Sprintf("%s is out of service until it is brought back with clear, code out_of_service", scope), nil)
}

// askStop stops pumps. It needs no ledger and no clock, and works while everything else is refused.
func (t *turn) askStop(q Request) reply {
	if q.Channel == "" && q.System == "" {
		q.All = true
	}
	scope, bad := t.theScope(q)
	if bad != nil {
		return *bad
	}
	t.stopScope(scope)
	return done(fmt.Sprintf("%s is told to stop; the plan goes on at the next slot: use hold to pause it", scope), nil)
}

// askClear ends a lockout, an out-of-service state or a latched interlock.
func (t *turn) askClear(q Request) reply {
	if n := t.node(q.What); n != nil && n.cfg.Style == Supply {
		return t.clearSupply(n, q)
	}
	if q.What != "" {
		return t.clearInterlock(q)
	}
	scope, bad := t.theScope(q)
	if bad != nil {
		return *bad
	}
	var codes []safety.Code
	for _, i := range t.stands.like(scope) {
		if k := &t.standing[i]; k.Scope == scope && k.code != safety.NotAccepted && (q.Code == "" || string(k.code) == q.Code) {
			codes = append(codes, k.code)
		}
	}
	if len(codes) == 0 {
		return reply{code: safety.NothingToDo, text: t.nothingToClear(scope, q.Code)}
	}
	for _, code := range codes {
		t.record(Cleared{Scope: scope, Code: code}, q.By)
	}
	return done(fmt.Sprintf("cleared for %s: %v", scope, codes), nil)
}

func (t *turn) nothingToClear(scope Scope, code string) string {
	switch safety.Code(code) {
	case safety.NotPrimed:
		return "not_primed ends with primed: prime the line, look at the outlet, then say primed"
	case safety.NotCalibrated:
		return "not_calibrated ends with a calibration: see calibrate"
	case safety.ContainerEmpty:
		return "container_empty ends with a refill: see refill"
	case safety.NotAccepted:
		return "not_accepted ends with accept: look at what the configuration changes, then say accept configuration"
	}
	text := fmt.Sprintf("nothing stands for %s", scope)
	for _, k := range t.standing {
		text += fmt.Sprintf("; %s stands for %s", k.code, k.Scope)
	}
	return text
}

func (t *turn) clearInterlock(q Request) reply {
	i, ok := t.index.interlock[q.What]
	if !ok {
		var names []string
		for _, l := range t.site.Interlocks {
			names = append(names, l.Name)
		}
		return *unknownName("interlock or supply relay", q.What, append(names, t.supplies()...))
	}
	l := t.site.Interlocks[i]
	if !t.locks[i].Active {
		return reply{code: safety.NothingToDo, text: fmt.Sprintf("interlock %s does not block", l.Name)}
	}
	if t.locks[i].Clear(l.Rule, t.lockReading(&l)).Active {
		return *no(safety.InterlockActive, "the condition of interlock %s still holds, or probe %s has no good reading", l.Name, l.Probe)
	}
	t.record(Cleared{Scope: Scope{Interlock: l.Name}, Code: safety.InterlockActive}, q.By)
	return done(fmt.Sprintf("interlock %s is cleared", l.Name), nil)
}

// askAccept records that the keeper accepts something that waits for it.
func (t *turn) askAccept(q Request) reply {
	switch q.What {
	case "configuration":
		return t.acceptConfiguration(q)
	case Placement, Trials, Commissioned:
		return t.acceptChannel(q)
	case "ledger":
	default:
		return *unknownName("thing to accept", q.What, []string{"configuration", "ledger", Placement, Trials, Commissioned})
	}
	for _, k := range t.standing {
		if k.code == safety.LedgerRestored {
			t.record(Cleared{Scope: k.Scope, Code: k.code}, q.By)
			t.record(Accepted{What: q.What, Text: q.Text}, q.By)
			return done("the ledger is accepted as it is; what it does not know of counts in no cap", nil)
		}
	}
	return reply{code: safety.NothingToDo, text: "the ledger is not in doubt"}
}

func (t *turn) askAcknowledge(q Request) reply {
	if q.All {
		return t.acknowledgeAll(q)
	}
	a := t.alert(q.Alert)
	if a == nil || !a.Raised {
		var names []string
		for _, a := range t.alerts {
			if a.Raised {
				names = append(names, a.Name)
			}
		}
		return *unknownName("raised alert", q.Alert, names)
	}
	length, bad := t.silence(q, a)
	if bad != nil {
		return *bad
	}
	t.changeAlert(AlertChanged{Name: a.Name, Level: a.Level, Raised: true, Acknowledged: true, Silence: safety.MillisecondsUp(length), Text: a.Text}, q.By)
	if length > 0 {
		return done(fmt.Sprintf("alert %s is acknowledged until %s", a.Name, t.local(t.wall().Add(length))), nil)
	}
	return done(fmt.Sprintf("alert %s is acknowledged", a.Name), nil)
}

// acknowledgeAll acknowledges what is raised and not known of yet, a critical alert for as long as one may be silent.
func (t *turn) acknowledgeAll(q Request) reply {
	if q.Alert != "" {
		return *no(safety.BadPayload, "name an alert, or \"all\": true, not both")
	}
	known := 0
	for _, a := range slices.Clone(t.alerts) {
		if !a.Raised || a.Acknowledged {
			continue
		}
		one := q
		if most := silenceLeft.Minutes(); a.Level == Critical && (q.Minutes == nil || *q.Minutes > most) {
			one.Minutes = &most
		}
		length, bad := t.silence(one, &a)
		if bad != nil {
			return *bad
		}
		t.changeAlert(AlertChanged{Name: a.Name, Level: a.Level, Raised: true, Acknowledged: true, Silence: safety.MillisecondsUp(length), Text: a.Text}, q.By)
		known++
	}
	switch known {
	case 0:
		return reply{code: safety.NothingToDo, text: "no alert is raised that nobody has acknowledged"}
	case 1:
		return done("1 alert is acknowledged", nil)
	}
	return done(fmt.Sprintf("%d alerts are acknowledged; a critical one is told again after 2 h at most", known), nil)
}

// askClock takes the keeper's word for the clock, where the configuration lets a keeper give it.
func (t *turn) askClock(q Request) reply {
	if t.clock.Trusted() {
		return reply{code: safety.NothingToDo, text: fmt.Sprintf("the clock is believed already: it is %s", t.local(t.wall()))}
	}
	t.clock = t.clock.Confirm()
	if !t.clock.Trusted() {
		return *no(safety.ClockUntrusted, "%s; the configuration says clock.trust: synced, so that only the system can settle it", t.clock.Distrust())
	}
	t.record(ClockConfirmed{}, q.By)
	return done(fmt.Sprintf("the clock is confirmed: it is %s", t.local(t.wall())), nil)
}
