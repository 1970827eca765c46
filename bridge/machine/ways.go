package machine

import (
	"strings"
	"time"
)

// brokerAlert is the alert of a lost broker. It can reach nobody over that broker: it is for the page, and for ways
// beside it.
const (
	brokerAlert = "broker"
	brokerAfter = 5 * time.Minute // spares people a broker that restarts
)

// wayAlert begins the name of the alert of a way that does not carry.
const wayAlert = "alert-way-"

// closedWay is a way on which alerts are not told at present.
type closedWay struct{ name, why string }

// alertWay is told by the shell when a way closes, and when it carries again.
func (t *turn) alertWay(e AlertWay) {
	kept := make([]closedWay, 0, len(t.ways)+1)
	for _, w := range t.ways {
		if w.name != e.Way {
			kept = append(kept, w)
		}
	}
	if e.Why != "" {
		kept = append(kept, closedWay{e.Way, e.Why})
	}
	t.ways = kept
}

// wayConditions speaks of the ways on which alerts go: the broker, and those beside it.
func (t *turn) wayConditions(add adder) {
	if gone := t.now.Mono - max(t.owner.linkMono, t.startMono); !t.linkUp && gone >= brokerAfter {
		add(brokerAlert, Warning, "there has been no connection to the broker for more than %s; nothing is dosed until it is back, and nothing missed is made up: look at the broker and the network", brokerAfter)
	}
	for _, w := range t.ways {
		add(wayAlert+w.name, Warning, "alerts are not told by %s: %s; try aliquot notify --test", w.name, strings.TrimRight(w.why, ".;"))
	}
}

// tryAlerts sends the test message when its time has come. A time that passed while no process ran, or while the clock was in
// doubt, is not made up: the next one comes.
func (t *turn) tryAlerts() {
	if t.site.AlertTest == nil {
		return
	}
	if !t.clock.Trusted() {
		t.nextTry = time.Time{}
		return
	}
	now := t.wall()
	if t.nextTry.IsZero() || now.Before(t.triedAt) {
		t.triedAt, t.nextTry = now, nextLocal(t.site.AlertTest, t.site.Zone, now)
		return
	}
	if now.Before(t.nextTry) {
		return
	}
	t.triedAt, t.nextTry = now, nextLocal(t.site.AlertTest, t.site.Zone, now)
	text := "this is only a test: alerts of " + t.site.Name + " would come on this way. The next test comes " + t.local(t.nextTry)
	t.do(TryAlerts{Text: text}, Happened{Kind: "alert_test", At: now, Data: AlertTestEvent{Next: t.nextTry.UTC()}})
	t.log(Info, "alert test", "next", t.local(t.nextTry))
}

// AlertTestEvent is the payload of the event `alert_test`.
type AlertTestEvent struct {
	Next time.Time `json:"next"` // when the next test message comes
}
