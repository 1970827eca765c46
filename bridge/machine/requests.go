package machine

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"aliquot/planner/units"
	"aliquot/safety"
)

// reply is the answer to a request before it gets its reference.
type reply struct {
	code   safety.Code
	text   string
	result any // marshals to a JSON object
}

// ok says whether a code means that what was asked for was done.
func (r reply) ok() bool {
	switch r.code {
	case safety.OK, safety.Started, safety.Unconfirmed, safety.Provisional, safety.NothingToDo:
		return true
	}
	return false
}

func no(code safety.Code, format string, args ...any) *reply {
	return &reply{code: code, text: fmt.Sprintf(format, args...)}
}

func done(text string, result any) reply { return reply{code: safety.OK, text: text, result: result} }

// asked answers a request once: a repeat of its reference gets the first answer again and changes nothing. Only a stop
// is obeyed however often it comes (INV-11).
func (t *turn) asked(q Request) {
	if open, ok := strings.CutSuffix(q.Ref, OpenRef); ok {
		q.Ref = t.freshRef(open, q.Verb)
		if q.Ref == "" {
			t.do(Answer{Answered{Ref: open + OpenRef, Verb: string(q.Verb), Code: safety.BadPayload,
				Text: fmt.Sprintf("%s: a \"ref\" that ends in %s is for hold, release, stop, acknowledge and clock: anything else must not happen twice, so that it needs a reference of its own", q.Verb, OpenRef)}})
			return
		}
	}
	if before, ok := t.answers[q.Ref]; ok && q.Ref != "" {
		if q.Verb == VerbStop {
			t.handle(q)
		}
		t.do(Answer{before})
		return
	}
	r := t.handle(q)
	a := Answered{Ref: q.Ref, Verb: string(q.Verb), OK: r.ok(), Code: r.code, Text: r.text}
	if r.result != nil {
		if b, err := json.Marshal(r.result); err == nil {
			a.Result = string(b)
		}
	}
	if q.Ref != "" { // a stop that could not be read has none
		t.record(a, q.By)
		t.do(Answer{a})
	}
	t.do(Count{Metric: MetricRequests, Labels: [2]string{a.Verb, string(a.Code)}})
	t.log(Info, "request", "verb", a.Verb, "by", q.By, "ref", q.Ref, "code", string(a.Code), "text", a.Text)
}

// OpenRef ends the reference of a sender that can only say the same words each time, as a button or a switch of a
// dashboard does: each message is then a request of its own.
const OpenRef = "*"

// freshRef completes an open reference with the number of the row that will hold the answer, which comes once. It is
// empty for verbs that must not happen twice if the broker delivers one message twice.
func (t *turn) freshRef(open string, verb Verb) string {
	switch verb {
	case VerbHold, VerbRelease, VerbStop, VerbCut, VerbAcknowledge, VerbClock:
		return fmt.Sprintf("%s%s%d", open, OpenRef, t.seq+1)
	}
	return ""
}

func (t *turn) handle(q Request) reply {
	if t.stopping && q.Verb != VerbStop {
		return *no(safety.Stopping, "the service is stopping; ask again when it is back")
	}
	if t.ledgerBad != "" && q.Verb != VerbStop && q.Verb != VerbCut {
		return *no(safety.LedgerFault, "the ledger cannot be written (%s), so that nothing can be recorded; only stop and cut work", t.ledgerBad)
	}
	switch q.Verb {
	case VerbTest:
		return t.askTest(q)
	case VerbWaterChange:
		return t.askWaterChange(q)
	case VerbNote:
		return t.askNote(q)
	case VerbPrime, VerbRun:
		return t.askRun(q)
	case VerbCalibrate:
		return t.askCalibrate(q)
	case VerbProve:
		return t.askProve(q)
	case VerbPrimed:
		return t.askPrimed(q)
	case VerbTube:
		return t.askTube(q)
	case VerbRefill:
		return t.askRefill(q)
	case VerbSwap:
		return t.askSwap(q)
	}
	return t.handleCare(q)
}

func (t *turn) handleCare(q Request) reply {
	switch q.Verb {
	case VerbHold:
		return t.askHold(q)
	case VerbRelease:
		return t.askRelease(q)
	case VerbOutOfService:
		return t.askOutOfService(q)
	case VerbStop:
		return t.askStop(q)
	case VerbCut:
		return t.askCut(q)
	case VerbClear:
		return t.askClear(q)
	case VerbAccept:
		return t.askAccept(q)
	case VerbAcknowledge:
		return t.askAcknowledge(q)
	case VerbClock:
		return t.askClock(q)
	}
	return *no(safety.UnknownVerb, "%q is no request; there are: %s", q.Verb, verbNames())
}

func verbNames() string {
	var names []string
	for _, v := range Verbs() {
		names = append(names, string(v))
	}
	return strings.Join(names, ", ")
}

// theSystem finds the system that a request means; a site with one system needs no name.
func (t *turn) theSystem(name string) (*systemState, *reply) {
	if name == "" && len(t.systems) == 1 {
		return &t.systems[0], nil
	}
	if y := t.system(name); y != nil {
		return y, nil
	}
	var names []string
	for _, y := range t.site.Systems {
		names = append(names, y.ID)
	}
	return nil, unknownName("system", name, names)
}

func (t *turn) theChannel(name string) (*channelState, *reply) {
	if c := t.channel(name); c != nil {
		return c, nil
	}
	var names []string
	for _, c := range t.site.Channels {
		names = append(names, c.ID)
	}
	return nil, unknownName("channel", name, names)
}

func (t *turn) theContainer(name string) (*containerState, *reply) {
	if k := t.container(name); k != nil {
		return k, nil
	}
	var names []string
	for _, k := range t.site.Containers {
		names = append(names, k.ID)
	}
	return nil, unknownName("container", name, names)
}

func unknownName(what, name string, known []string) *reply {
	if name == "" {
		return no(safety.UnknownName, "which %s? there are: %s", what, strings.Join(known, ", "))
	}
	return no(safety.UnknownName, "there is no %s %q; there are: %s", what, name, strings.Join(known, ", "))
}

// theScope finds what a request covers.
func (t *turn) theScope(q Request) (Scope, *reply) {
	named := 0
	for _, on := range []bool{q.Channel != "", q.System != "", q.All} {
		if on {
			named++
		}
	}
	if named != 1 {
		return Scope{}, no(safety.BadPayload, "name one of: a channel, a system, or \"all\": true")
	}
	if q.Channel != "" {
		c, bad := t.theChannel(q.Channel)
		if bad != nil {
			return Scope{}, bad
		}
		return Scope{Channel: c.cfg.ID}, nil
	}
	if q.System != "" {
		y, bad := t.theSystem(q.System)
		if bad != nil {
			return Scope{}, bad
		}
		return Scope{System: y.cfg.ID}, nil
	}
	return Scope{}, nil
}

// happenedAt checks the time that a request gives for what it reports; left out it is now. While the clock is in doubt
// nobody can say when that is: a test under a wrong date would have the plan go by it, or forget it (H-11, H-14).
func (t *turn) happenedAt(q Request) (time.Time, *reply) {
	const oldest = 400 * 24 * time.Hour
	now := t.wall()
	switch {
	case !t.clock.Trusted():
		return now, no(safety.ClockUntrusted, "it cannot be said when this was: %s; say it again when the clock is believed", t.clock.Distrust())
	case q.At == nil:
		return now, nil
	case q.At.After(now.Add(safety.FutureSkew)):
		return now, no(safety.InTheFuture, "\"at\" is %s, but it is only %s now", t.local(*q.At), t.local(now))
	case now.Sub(*q.At) > oldest:
		return now, no(safety.InThePast, "\"at\" is %s, more than 400 days ago", t.local(*q.At))
	}
	return q.At.UTC(), nil
}

// refused turns a unit error into an answer, with its hint about what was probably meant.
func refused(err error, field string) *reply {
	code := safety.OutOfRange
	var u *units.Error
	if errors.As(err, &u) {
		code = safety.Code(u.Reason)
	}
	return no(code, "%s: %s", field, err)
}

// millilitres checks a volume in a request.
func millilitres(v *float64, field string) (safety.Microlitres, *reply) {
	if v == nil {
		return 0, no(safety.BadPayload, "%s is missing", field)
	}
	ul, err := safety.MillilitresDown(*v)
	if err != nil {
		return 0, no(safety.OutOfRange, "%s: %s", field, err)
	}
	return ul, nil
}
