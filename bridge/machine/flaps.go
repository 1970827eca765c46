package machine

import (
	"strings"
	"time"
)

// What comes and goes by itself may do so all night. An alert that is back within flapSoon of its end, or for the third
// time within flapDay, stays raised until its condition has been gone for twice as long as it was gone before, and for
// twice as long as the last time; at least flapLeast, at most flapMost (H-41). Our own choice.
const (
	flapSoon  = 30 * time.Minute
	flapDay   = 24 * time.Hour
	flapTimes = 2 // raises within flapDay that are told like any other
	flapLeast = 10 * time.Minute
	flapMost  = 12 * time.Hour
)

// flap is what is known of an alert that comes and goes. It is of this process only: a new one begins anew.
type flap struct {
	raised []time.Duration // when, within flapDay
	ended  time.Duration   // when it ended last; 0: not yet
	quiet  time.Duration   // how long its condition must be gone before it ends again; 0: not at all
	gone   time.Duration   // since when it is gone while the alert stands; 0: it holds
}

// selfClearing begin the names of alerts whose condition ends without anybody's doing. What a person ends, such as a
// lockout or an empty container, is over at once, however often.
var selfClearing = []string{brokerAlert, "clock", "second-owner", "node-offline-", "commands-unreadable-", "interlock-", "level-", "aragonite-", "under-dosed-", wayAlert}

func clearsItself(name string) bool {
	for _, p := range selfClearing {
		if strings.HasPrefix(name, p) {
			return true
		}
	}
	return false
}

// comesBack looks at a condition that begins to hold and says how long its alert will stay beyond it.
func (t *turn) comesBack(name string) time.Duration {
	if !clearsItself(name) {
		return 0
	}
	f, known := t.flap(name)
	if !known {
		t.flaps[name] = flap{raised: []time.Duration{t.now.Mono}}
		return 0
	}
	switch gap := t.now.Mono - f.ended; {
	case f.ended == 0: // raised by the process before
	case gap <= flapSoon || len(f.raised) >= flapTimes:
		f.quiet = min(max(flapLeast, 2*gap, 2*f.quiet), flapMost)
	default:
		f.quiet = 0
	}
	f.raised, f.gone = append(f.raised, t.now.Mono), 0
	t.flaps[name] = f
	return f.quiet
}

// flap is what is known of an alert that does not stand; what is older than a day counts as not known. There are no more of
// them than the site has things that alerts speak of.
func (t *turn) flap(name string) (flap, bool) {
	f, known := t.flaps[name]
	f.raised = without(f.raised, func(at time.Duration) bool { return t.now.Mono-at > flapDay })
	return f, known && (len(f.raised) > 0 || f.ended > 0 && t.now.Mono-f.ended <= flapSoon)
}

// lingers says that an alert stays although its condition is gone.
func (t *turn) lingers(name string) bool {
	f := t.flaps[name]
	if f.quiet == 0 {
		return false
	}
	if f.gone == 0 {
		f.gone = max(1, t.now.Mono)
		t.flaps[name] = f
	}
	return t.now.Mono-f.gone < f.quiet
}

// holdsAgain ends the quiet time of an alert that stands.
func (t *turn) holdsAgain(name string) {
	if f, ok := t.flaps[name]; ok && f.gone != 0 {
		f.gone = 0
		t.flaps[name] = f
	}
}

// ends remembers when an alert ended.
func (t *turn) ends(name string) {
	if !clearsItself(name) {
		return
	}
	f := t.flaps[name]
	f.ended, f.gone = max(1, t.now.Mono), 0
	t.flaps[name] = f
}

// flapText is what is added to the text of an alert that has come back.
func flapText(quiet time.Duration) string {
	return "; it comes and goes, so that this stands until it has been gone for " + quiet.Round(time.Minute).String()
}
