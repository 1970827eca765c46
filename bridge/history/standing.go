package history

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// codes are the words that a lockout's reason may begin with: everything for which a run can be withheld.
var codes = []safety.Code{
	safety.NotCalibrated, safety.NotPrimed, safety.ContainerEmpty, safety.ContainerMismatch, safety.NodeOffline, safety.Fault, safety.SupplyCut, safety.SupplyOff,
	safety.NoProof, safety.OutOfService, safety.OnHold, safety.InterlockActive, safety.ClockUntrusted, safety.SecondOwner,
	safety.LinkDown, safety.LedgerFault, safety.RetainedCommand, safety.NotAccepted, safety.ChannelBusy, safety.RestTime,
	safety.KeptApart, safety.DayCap, safety.QuantityCap, safety.RunCap, safety.RunTimeCap, safety.BelowSmallestRun,
	safety.BadVolume, safety.NoTest, safety.StaleTest, safety.AboveBand, safety.Treatment, safety.SlotMissed, safety.SlotServed,
	safety.TooManyRestarts, safety.LedgerRestored, safety.Stopping, safety.CourseNotBegun, safety.CourseOver,
}

// reasonOf splits a reason such as "fault: on 3 s beyond its time" into its code and the rest.
func reasonOf(reason string) (code safety.Code, text string, ok bool) {
	word, text, _ := strings.Cut(reason, ": ")
	if slices.Contains(codes, safety.Code(word)) {
		return safety.Code(word), text, true
	}
	return "", reason, false
}

// scope says what a standing condition covers: a channel, a system, or everything.
func (r *reader) scope(l *line) machine.Scope {
	return machine.Scope{Channel: r.name(l.text(fChannel)), System: r.name(l.text(fSystem))}
}

// checkScope refuses a condition that names two things: it is not said whether it covers both or what they share.
func checkScope(l *line) error {
	if named := l.has & setOf(fChannel, fSystem, fNode); named&(named-1) != 0 {
		return fmt.Errorf("%s stand together: name one of them, or none for everything", named)
	}
	return nil
}

// noEnd tells that an end time changes nothing where a condition has none.
func (r *reader) noEnd(l *line) {
	if l.has.has(fUntil) {
		r.remark(l.text(fType) + " has no end: until is left aside")
	}
}

func (r *reader) hold(l *line) (machine.Body, error) {
	if !l.until.After(l.time) {
		return nil, errors.New("until does not lie after time")
	}
	return machine.Hold{Scope: r.scope(l), Reason: strings.Clone(l.text(fReason)), Until: l.until,
		Length: safety.MillisecondsUp(l.until.Sub(l.time))}, nil
}

func (r *reader) release(l *line) (machine.Body, error) {
	r.noEnd(l)
	return machine.Release{Scope: r.scope(l)}, nil
}

func (r *reader) outOfService(l *line) (machine.Body, error) {
	r.noEnd(l)
	return machine.OutOfService{Scope: r.scope(l), Reason: strings.Clone(l.text(fReason))}, nil
}

func (r *reader) lockout(l *line) (machine.Body, error) {
	r.noEnd(l)
	code, text, ok := reasonOf(l.text(fReason))
	if !ok {
		code = safety.Fault
		r.remark("the reason begins with no known code: taken as fault, and cleared as fault")
	}
	return machine.Lockout{Scope: r.scope(l), Code: code, Text: strings.Clone(text)}, nil
}

// cleared must say what is cleared: a word that is not understood must free nothing.
func (r *reader) cleared(l *line) (machine.Body, error) {
	r.noEnd(l)
	code, _, ok := reasonOf(l.text(fReason))
	if !ok {
		return nil, fmt.Errorf("reason is %.40q, must begin with the code of what is cleared, such as fault or out_of_service", l.text(fReason))
	}
	return machine.Cleared{Scope: r.scope(l), Code: code}, nil
}

func (r *reader) proof(l *line) (machine.Body, error) {
	r.noEnd(l)
	if l.has.has(fSystem) || !(l.has.has(fChannel) || l.has.has(fNode)) {
		return nil, errors.New("self_stop_proof names the channel or the node that was seen to go off by itself")
	}
	return machine.Proof{Channel: r.name(l.text(fChannel)), Node: r.name(l.text(fNode))}, nil
}

func (r *reader) accepted(l *line) (machine.Body, error) {
	r.noEnd(l)
	if what, text, _ := strings.Cut(l.text(fReason), ": "); l.has.has(fChannel) && (what == machine.Placement || what == machine.Trials || what == machine.Commissioned) {
		return machine.Accepted{What: r.name(what), Channel: r.name(l.text(fChannel)), Text: strings.Clone(text)}, nil
	}
	if l.has&setOf(fChannel, fSystem, fNode) != 0 {
		r.remark("an acceptance covers the whole site: what it names besides is left aside")
	}
	return machine.Accepted{What: r.name(l.text(fReason))}, nil
}

var noteKinds = []string{"livestock_added", "livestock_removed", "medication", "lights_out", "salt_mix", "filter_media", "other"}

func (r *reader) note(l *line) (machine.Body, error) {
	if err := choice(l, fKind, noteKinds...); err != nil {
		return nil, err
	}
	return machine.Note{System: r.name(l.text(fSystem)), Note: r.name(l.text(fKind)), Text: strings.Clone(l.text(fText))}, nil
}
